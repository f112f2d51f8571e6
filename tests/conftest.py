"""What every test may count on: the programs that we did not write are there, or the test says what it lacks."""

import ctypes.util
import os
import shutil
from pathlib import Path

import pytest
from hypothesis import settings

PEERS = ("mosquitto", "mosquitto_sub", "mosquitto_pub", "socat", "mbpoll", "tshark", "openssl")
BROWSERS = ("chromium",)

# Under CI the same examples each time, so that a run says something of the change and not of the draw; elsewhere new ones.
settings.register_profile("ci", derandomize=True, deadline=None)
settings.register_profile("local", deadline=None, print_blob=True)
settings.load_profile("ci" if os.environ.get("CI") else "local")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Skip what lacks its program, by name; with CI set nothing is skipped, so that it fails instead."""
    if os.environ.get("CI"):
        return
    missing = {"peer": [name for name in PEERS if not found(name)], "browser": [b for b in BROWSERS if not found(b)]}
    if ctypes.util.find_library("modbus") is None:
        missing["peer"].append("libmodbus5")
    for item in items:
        for marker, names in missing.items():
            if names and item.get_closest_marker(marker):
                item.add_marker(pytest.mark.skip(reason=f"not on this machine: {', '.join(names)}"))


def found(program: str) -> str | None:
    """Where a program lies; servers lie in sbin, which an ordinary user's PATH leaves out."""
    return shutil.which(program) or shutil.which(program, path="/usr/sbin:/usr/local/sbin")


@pytest.fixture
def mosquitto() -> str:
    """The path of the Mosquitto broker."""
    path = found("mosquitto")
    assert path, "mosquitto is not installed"
    return path


@pytest.fixture
def repository() -> Path:
    """The root of the source tree."""
    return Path(__file__).parent.parent


def pytest_sessionfinish(session: pytest.Session) -> None:
    """With CI set a skipped test fails the run: nothing may be left out there without being noticed."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if os.environ.get("CI") and reporter is not None and reporter.stats.get("skipped"):
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
        print("\nskipped under CI:", *sorted({report.nodeid for report in reporter.stats["skipped"]}), sep="\n  ")
