"""The one command: its subcommands are found, and a missing extra is named."""

import argparse
import builtins
from importlib.metadata import entry_points

import pytest

from logger import cli

COMMANDS = sorted(entry_points(group=cli.GROUP), key=lambda entry: entry.name)


def test_help_lists_every_command(capsys):
    with pytest.raises(SystemExit) as stop:
        cli.main(["--help"])
    assert stop.value.code == 0
    printed = capsys.readouterr().out
    assert all(entry.name in printed for entry in COMMANDS)


@pytest.mark.parametrize("entry", COMMANDS, ids=lambda entry: entry.name)
def test_each_command_has_help_arguments_and_run(entry):
    module = entry.load()
    assert module.HELP
    assert callable(module.run)
    module.arguments(argparse.ArgumentParser())


@pytest.mark.parametrize(
    "entry", [e for e in COMMANDS if e.module.partition(".")[0] in cli.EXTRA_OF], ids=lambda e: e.name
)
def test_a_missing_extra_is_named(entry, capsys):
    error = ModuleNotFoundError("No module named 'pandas'", name="pandas")
    assert cli._explain_missing(entry, error) == 2
    extra = cli.EXTRA_OF[entry.module.partition(".")[0]]
    assert capsys.readouterr().err == (
        f"wellhand {entry.name}: the package 'pandas' is not installed here\n    fix: pip install 'wellhand[{extra}]'\n"
    )


def test_a_missing_module_of_our_own_is_a_bug_and_not_explained_away():
    with pytest.raises(ModuleNotFoundError):
        cli._explain_missing(COMMANDS[0], ModuleNotFoundError("No module named 'analysis.gone'", name="analysis.gone"))


def test_loading_the_commands_imports_nothing_that_the_base_install_lacks(monkeypatch):
    """Each command's module, imported anew, takes the standard library and `logger` only."""
    import sys

    heavy = (
        "numpy",
        "pandas",
        "scipy",
        "sqlalchemy",
        "fastapi",
        "pvlib",
        "sklearn",
        "rich",
        "amqtt",
        "uvicorn",
        "httpx",
    )
    for name in [n for n in sys.modules if n.partition(".")[0] in {*cli.EXTRA_OF, *heavy}]:
        monkeypatch.delitem(sys.modules, name)
    real = builtins.__import__

    def without_extras(name, *rest):
        if name.partition(".")[0] in heavy:
            raise ModuleNotFoundError(f"No module named {name!r}", name=name)
        return real(name, *rest)

    monkeypatch.setattr(builtins, "__import__", without_extras)
    for entry in COMMANDS:
        entry.load()


def test_a_reader_that_goes_away_early_is_no_traceback(repository):
    import subprocess
    import sys

    site = repository / "samples/sites/ochre-pan.toml"
    command = f"{sys.executable} -m logger.cli check {site} | head -n 1"
    done = subprocess.run(["bash", "-c", f"set -o pipefail; {command}"], capture_output=True, text=True, cwd=repository)
    assert done.stderr == ""
    assert done.stdout.count("\n") == 1
