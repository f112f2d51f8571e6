"""The README names every command, channel and cause, and prints the two commands that people run."""

from importlib.metadata import entry_points

import pytest

from logger.cli import GROUP
from logger.record.causes import CAUSES
from logger.record.channels import CHANNELS


@pytest.fixture
def readme(repository):
    return (repository / "README.md").read_text()


@pytest.mark.parametrize("command", sorted(entry.name for entry in entry_points(group=GROUP)))
def test_each_command_has_its_heading(readme, command):
    assert f"\n### {command}\n" in readme


def test_each_channel_stands_with_unit_and_meaning(readme):
    for channel in CHANNELS.values():
        assert f"| `{channel.name}` | {channel.unit} | {channel.meaning} |" in readme


def test_each_cause_stands_with_meaning_and_size(readme):
    for cause in CAUSES.values():
        size = f"{cause.quantity}, {cause.unit}" if cause.quantity else "-"
        assert f"| `{cause.name}` | {cause.meaning} | {size} |" in readme


def test_the_two_commands_stand_each_on_one_line(readme):
    assert "\nbash tests/run\n" in readme
    assert "\npython3 -m venv .venv && .venv/bin/pip install --quiet '.[demo]' && .venv/bin/wellhand demo\n" in readme


def test_the_ci_calls_the_test_command_and_nothing_else(repository):
    lines = [line for line in (repository / ".ci/run").read_text().splitlines() if line and not line.startswith("#")]
    assert lines == ['cd "$(dirname "$0")/.." && exec bash tests/run']
