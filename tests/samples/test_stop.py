"""The demo's way to end: what is asked while anything runs is done at the next look, and what runs then is gone."""

import os
import signal
import sys
import time

import pytest

from samples.demo.processes import Processes
from samples.demo.stop import Stop, Stopped


@pytest.fixture
def stop():
    """Listening; the signals are given back after."""
    before = {wanted: signal.getsignal(wanted) for wanted in (signal.SIGINT, signal.SIGTERM)}
    one = Stop()
    one.listen()
    yield one
    for wanted, handler in before.items():
        signal.signal(wanted, handler)


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM])
def test_what_is_asked_where_an_exception_would_be_swallowed_is_not_lost(stop, how):
    class Gone:
        def __del__(self):
            os.kill(os.getpid(), how)
            time.sleep(0.01)  # the handler runs here, at the latest

    stop.look()
    Gone()
    with pytest.raises(Stopped):
        stop.look()


def test_a_rest_ends_soon_after_it_was_asked(stop):
    signal.signal(signal.SIGALRM, stop.ask)
    signal.setitimer(signal.ITIMER_REAL, 0.1)
    began = time.monotonic()
    with pytest.raises(Stopped):
        stop.rest(60.0)
    assert time.monotonic() - began < 10.0
    signal.signal(signal.SIGALRM, signal.SIG_DFL)


def test_a_rest_that_nobody_ends_lasts(stop):
    began = time.monotonic()
    stop.rest(0.3)
    assert time.monotonic() - began >= 0.3


def test_what_runs_when_it_is_asked_is_gone_after(stop, tmp_path):
    processes = Processes(tmp_path, stop)
    processes.start("beside", [sys.executable, "-c", "import time; time.sleep(600)"])
    asked = []

    def ask() -> None:
        asked.append(1)
        stop.ask()

    processes.start("slow", [sys.executable, "-c", "import time; time.sleep(600)"])
    with pytest.raises(Stopped):
        processes.finish("slow", ask)
    assert asked == [1]
    running = list(processes._running.values())
    processes.stop()
    assert all(one.poll() is not None for one in running)


def test_one_that_fails_says_its_last_words(stop, tmp_path):
    processes = Processes(tmp_path, stop)
    with pytest.raises(RuntimeError, match="(?s)odd failed with 3:.*the last word"):
        processes.run("odd", [sys.executable, "-c", "import sys; print('the last word'); sys.exit(3)"])
    assert processes.ended() is None
