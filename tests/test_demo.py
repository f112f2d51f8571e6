"""The demo as people run it, without a person: everything through the embedded broker; the wheel's test takes Mosquitto."""

import signal
import subprocess
import sys
import time

import psutil
import pytest

pytestmark = pytest.mark.slow


def test_the_demo_passes_its_checks_through_the_embedded_broker(tmp_path):
    folder = tmp_path / "demo"
    command = [sys.executable, "-m", "logger.cli", "demo", "--check", "--broker", "embedded", "--folder", str(folder)]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True)
    assert done.returncode == 0, f"{done.stdout[-4000:]}\n{done.stderr[-4000:]}"
    assert "All checks held." in done.stdout
    left = [one.info for one in psutil.process_iter(["cmdline"]) if str(folder) in " ".join(one.info["cmdline"] or ())]
    assert not left, f"left behind: {left}"


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL])
def test_nothing_is_left_behind_however_the_demo_ends(tmp_path, how):
    folder = tmp_path / "demo"
    command = [sys.executable, "-m", "logger.cli", "demo", "--broker", "embedded", "--folder", str(folder)]
    with (tmp_path / "said.txt").open("wb") as said:
        process = subprocess.Popen(command, cwd=tmp_path, stdout=said, stderr=said)
    while not list((folder / "logs").glob("broker.log")) if (folder / "logs").exists() else True:
        assert process.poll() is None, (tmp_path / "said.txt").read_text()
        time.sleep(0.2)
    time.sleep(1.0)
    children = psutil.Process(process.pid).children(recursive=True)
    assert children
    process.send_signal(how)
    process.wait(60)
    _, alive = psutil.wait_procs(children, timeout=30)
    assert not alive, f"left behind: {alive}"


def test_what_is_asked_wrongly_is_said(capsys):
    from logger.cli import main

    assert main(["demo", "--speed", "0"]) == 2
    assert main(["demo", "--days", "139"]) == 2
    said = capsys.readouterr().err
    assert "--speed must be 0.1 to 600" in said
    assert "fix: --days 150" in said
