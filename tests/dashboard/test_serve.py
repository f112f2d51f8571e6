"""`wellhand serve` as people start it: a process, a port, a signal."""

import re
import signal
import subprocess
import sys
import time
import urllib.error
import urllib.request

import pytest

from dashboard.supervise import Supervised
from logger.cli import main
from tests.dashboard import scene as made

PROGRAM = [sys.executable, "-c", "import sys; from logger.cli import main; sys.exit(main(sys.argv[1:]))"]
WAIT_S = 30


@pytest.fixture
def store_url(farm):
    return farm.store.url


@pytest.fixture
def serving(store_url, tmp_path):
    """A function: start serving; the process and the address that it printed."""
    running = []

    def start(*options):
        process = subprocess.Popen(
            [*PROGRAM, "serve", "--store", store_url, "--port", "0", "--secret-file", str(tmp_path / "secret"), *options],
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
        running.append(process)
        line = process.stdout.readline()
        found = re.fullmatch(r"wellhand serve: (http://\S+)\n", line)
        assert found, line + process.stderr.read()
        return process, found[1]

    yield start
    for process in running:
        process.kill()
        process.communicate()


def test_it_serves_on_this_machine_only_and_ends_at_once_when_told(serving):
    process, address = serving()
    assert address.startswith("http://127.0.0.1:")
    assert b'"well":true' in urllib.request.urlopen(f"{address}/healthz", timeout=WAIT_S).read()
    process.send_signal(signal.SIGTERM)
    out, err = process.communicate(timeout=WAIT_S)
    assert process.returncode == 0, err
    assert (out, err) == ("", "")


def test_an_open_stream_does_not_keep_it_alive(serving):
    process, address = serving()
    opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
    opener.open(f"{address}/sign-in", f"name=ansie&password={made.PASSWORD.replace(' ', '+')}".encode(), timeout=WAIT_S)
    with opener.open(f"{address}/api/live", timeout=WAIT_S) as stream:
        assert stream.readline().startswith(b"retry:")
        process.send_signal(signal.SIGTERM)
        rest = stream.read()
    assert b"change" not in rest
    process.communicate(timeout=WAIT_S)
    assert process.returncode == 0


def test_an_address_that_others_reach_is_warned_of(serving):
    process, _ = serving("--host", "0.0.0.0")
    process.send_signal(signal.SIGTERM)
    _, err = process.communicate(timeout=WAIT_S)
    assert "passwords would cross the network unhidden" in err
    assert "fix: listen on 127.0.0.1" in err


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--add-user", "Nomsa", "--role", "king"], "no such role: 'king'"),
        (["--add-user", "Nomsa"], "a farmer needs to be told which sites are theirs"),
        (["--host", "192.0.2.1"], "cannot listen on 192.0.2.1"),
        (["--secret-file", "/no/such/folder/secret"], "cannot be made"),
        (["--port", "99999"], "cannot listen on 127.0.0.1 port 99999"),
    ],
)
def test_what_is_wrong_is_said_and_nothing_starts(store_url, tmp_path, capsys, options, said):
    code = main(["serve", "--store", store_url, "--port", "0", "--secret-file", str(tmp_path / "secret"), *options])
    err = capsys.readouterr().err
    assert code == 2
    assert said in err
    assert "\n    fix: " in err


def test_a_store_that_cannot_be_opened(capsys):
    assert main(["serve", "--store", "sqlite:////no/such/folder/x.db"]) == 2
    assert "fix" in capsys.readouterr().err


def test_the_first_person_is_added(store_url, tmp_path, capsys):
    (tmp_path / "pw").write_text("long enough")
    options = ["--add-user", "baas", "--role", "admin", "--password-file", str(tmp_path / "pw")]
    assert main(["serve", "--store", store_url, *options]) == 0
    assert capsys.readouterr().out == "baas may sign in as admin and sees every site.\n"


def wait_for(true):
    until = time.monotonic() + WAIT_S
    while not true():
        assert time.monotonic() < until
        time.sleep(0.01)


def test_a_watcher_that_ends_is_started_again_and_stopped_with_us(tmp_path, monkeypatch):
    monkeypatch.setattr("dashboard.supervise.PAUSE_FIRST_S", 0.01)
    marks = tmp_path / "marks"
    script = (
        "import pathlib, sys, time\n"
        "marks = pathlib.Path(sys.argv[1]); done = marks.read_text() if marks.exists() else ''\n"
        "marks.write_text(done + 'x')\n"
        "time.sleep(60 if len(done) >= 2 else 0)"
    )
    watcher = Supervised([str(marks)], (sys.executable, "-c", script))
    watcher.start()
    wait_for(lambda: marks.exists() and marks.read_text() == "xxx")
    child = watcher._child
    assert child.poll() is None
    watcher.stop()
    assert child.poll() is not None
    assert watcher.starts == 3
