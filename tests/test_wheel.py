"""What people install: the wheel, with the source tree out of reach; and the board's base install, pure Python."""

import os
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path

import pytest

pytestmark = pytest.mark.slow
TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "pyproject.toml",
    "LICENSE",
    "logger",
    "analysis",
    "dashboard",
    "tests",
    "samples",
}


def run(*command: str | Path, cwd: Path, **environment: str) -> str:
    """What a command printed. AssertionError with its last words where it failed."""
    clean = {name: value for name, value in os.environ.items() if not name.startswith(("PYTHON", "VIRTUAL_ENV"))}
    done = subprocess.run(command, cwd=cwd, env=clean | environment, capture_output=True, text=True)
    assert done.returncode == 0, f"{command}: {done.returncode}\n{done.stdout[-3000:]}\n{done.stderr[-3000:]}"
    return done.stdout


@pytest.fixture(scope="module")
def wheel(tmp_path_factory) -> Path:
    """The wheel, built from what git tracks, so that stray files cannot help it."""
    root, out = Path(__file__).parent.parent, tmp_path_factory.mktemp("wheel")
    source = out / "source"
    source.mkdir()
    subprocess.run(f"git ls-files -z | tar --null -cf - -T - | tar -xf - -C {source}", shell=True, cwd=root, check=True)
    run(sys.executable, "-m", "build", "--wheel", "--outdir", out, source, cwd=out)
    return next(out.glob("wellhand-*.whl"))


def fresh_environment(folder: Path, requirement: str) -> Path:
    """A new virtual environment with one requirement in it; its folder of programs."""
    run(sys.executable, "-m", "venv", folder / "venv", cwd=folder)
    programs = folder / "venv" / "bin"
    run(programs / "pip", "install", "--quiet", requirement, cwd=folder)
    return programs


def test_the_base_install_logs_and_names_the_missing_extra(wheel, tmp_path):
    programs = fresh_environment(tmp_path, str(wheel))
    compiled = list((tmp_path / "venv").rglob("site-packages/**/*.so"))
    assert not compiled, f"compiled packages in the board's install: {compiled}"
    assert "BOARD" in run(programs / "wellhand", "log", "--help", cwd=tmp_path)
    done = subprocess.run(
        [programs / "wellhand", "review", "--site", "a", "--readings", "b", "--out", "c"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        env={},
    )
    assert done.returncode == 2
    assert "fix: pip install 'wellhand[server]'" in done.stderr
    assert "Traceback" not in done.stderr


def test_the_base_dependencies_exist_for_a_32_bit_arm_board(tmp_path, repository):
    wanted = tomllib.loads((repository / "pyproject.toml").read_text())["project"]["dependencies"]
    only = ["--platform", "linux_armv7l", "--only-binary=:all:", "--python-version", "3.11", "--dest", str(tmp_path)]
    run(sys.executable, "-m", "pip", "download", "--quiet", *only, *wanted, cwd=tmp_path)
    assert all(path.name.endswith("-none-any.whl") for path in tmp_path.iterdir())


def test_the_wheel_alone_runs_the_demo_and_passes_its_checks(wheel, tmp_path):
    programs = fresh_environment(tmp_path, f"{wheel}[demo]")
    run(programs / "wellhand", "demo", "--check", cwd=tmp_path)


def test_the_wheel_holds_the_four_packages_and_nothing_else(wheel):
    names = {name.partition("/")[0] for name in zipfile.ZipFile(wheel).namelist()}
    assert {name for name in names if not name.endswith(".dist-info")} == {"logger", "analysis", "dashboard", "samples"}


def test_the_top_level_holds_what_the_house_allows(repository):
    tracked = subprocess.run(["git", "ls-files"], cwd=repository, capture_output=True, text=True, check=True).stdout
    top = {line.partition("/")[0] for line in tracked.splitlines()}
    assert {name for name in top if not name.startswith(".")} <= TOP_LEVEL
