"""Sets the stage, plays the demo until Ctrl-C or until it is checked, and clears everything away.

Flow: commands/demo.py -> HERE -> show.py, check.py.
"""

import shutil
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from samples.demo.check import Checked, check
from samples.demo.morning import last_fair_morning
from samples.demo.processes import Processes
from samples.demo.show import running
from samples.demo.stage import Person, Stage
from samples.demo.stop import Stop, Stopped
from samples.scenario import scenario

FARMER_SITES = ("thornwell", "ochre-pan")
WATCH_EVERY_S = 1.0


def play(folder: Path | None, broker: str, speed: float, days: int, checking: bool) -> int:
    """The exit code: 0 well, 1 something did not come up, broke, or a check failed."""
    stop = Stop()
    stop.listen()
    with _folder(folder) as place:
        farmers = tuple(Person(f"farmer-{site}", "farmer", (site,)) for site in FARMER_SITES)
        people = (*farmers, Person("service", "service"), Person("engineer", "engineer"))
        stage = Stage(place, speed, days, last_fair_morning(), people)
        try:
            with running(stage, broker, _say, stop) as processes:
                return _check(stage, processes, stop) if checking else _show(stage, processes, stop)
        except (RuntimeError, TimeoutError, OSError) as error:
            print(f"wellhand demo: {error}", file=sys.stderr)
            return 1
        except Stopped:
            print("\nStopped; nothing is left running.")
            return 0


def _say(words: str) -> None:
    print(words, flush=True)  # a log that somebody follows shows it at once, too


@contextmanager
def _folder(folder: Path | None) -> Iterator[Path]:
    if folder is not None:
        folder = folder.resolve()
        if folder.exists() and any(folder.iterdir()):
            raise SystemExit(f"wellhand demo: {folder} is not empty\n    fix: name a new folder")
        folder.mkdir(parents=True, exist_ok=True)
        yield folder
        return
    made = Path(tempfile.mkdtemp(prefix="wellhand-demo-"))
    try:
        yield made
    finally:
        shutil.rmtree(made, ignore_errors=True)


def _show(stage: Stage, processes: Processes, stop: Stop) -> int:
    print(f"\n  {stage.page_url}\n")
    for person in stage.people:
        print(f"  {person.role:9} name {person.name:20} password {person.password}")
    print(
        f"\n  In the invented landscape it is {stage.live_start:%Y-%m-%d %H:%M} UTC now, and time runs {stage.speed:g} times"
        " as fast.\n  Ctrl-C ends everything.\n"
    )
    while True:
        stop.rest(WATCH_EVERY_S)
        _all_alive(processes)


def _all_alive(processes: Processes) -> None:
    name = processes.ended()
    if name is not None:
        raise RuntimeError(f"{name} ended by itself; its last words:\n{processes.last_words(name)}")


def _check(stage: Stage, processes: Processes, stop: Stop) -> int:
    failed: list[Checked] = []

    def told(one: Checked) -> None:
        stop.look()
        print(f"{'ok    ' if one.held else 'FAILED'}  {one.what}" + (f": {one.seen}" if one.seen else ""), flush=True)
        if not one.held:
            failed.append(one)

    held = check(stage, scenario(stage.live_start, stage.history_days), told, stop)
    try:
        _all_alive(processes)
    except RuntimeError as error:
        told(Checked("everything that was started still runs", False, str(error)))
        held = False
    print("All checks held." if held else f"{len(failed)} check(s) failed.")
    return 0 if held else 1
