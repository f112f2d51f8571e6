"""The demo from the empty folder to the running pages, through the commands that a person would type.

Flow: history -> broker -> `wellhand review --store` -> people -> watch, serve, plants, one logger a site.
"""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime

from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

from samples.demo.boards import board_file
from samples.demo.broker import START_S_MAX, broker_command, wait_for_port
from samples.demo.processes import Processes
from samples.demo.stage import Stage
from samples.demo.stop import Stop
from samples.scenario import SampleSite, scenario

WELLHAND = [sys.executable, "-m", "logger.cli"]
WORKERS = 2


@contextmanager
def running(stage: Stage, broker: str, say: Callable[[str], None], stop: Stop) -> Iterator[Processes]:
    """Everything up and live inside; nothing left after. RuntimeError, TimeoutError: something did not come up. Stopped: somebody asked."""
    processes = Processes(stage.folder / "logs", stop)
    try:
        say("First the months before, for a few minutes: pumps and sun simulated, and every day of them judged.")
        with Progress(
            TextColumn("{task.description:38}"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn()
        ) as progress:
            processes.start("broker", broker_command(broker, stage.broker_port, stage.folder / "broker"))
            sites = _history(stage, processes, progress)
            _judge(stage, sites, processes, progress)
        _people(stage, processes)
        wait_for_port(stage.broker_port, "the broker", stop)
        say("Starting the plants, their loggers, the analysis and the pages ...")
        _live(stage, sites, processes)
        wait_for_port(stage.page_port, "the pages", stop)
        yield processes
    finally:
        processes.stop()


def _history(stage: Stage, processes: Processes, progress: Progress) -> list[SampleSite]:
    """Write the months before, some sites a process."""
    sites = scenario(stage.live_start, stage.history_days)
    task = progress.add_task("The months before, simulated", total=len(sites))

    def count() -> None:
        written = sum((stage.plants / site.id / "hand_over.json").exists() for site in sites)  # the last of its files
        progress.update(task, completed=written)

    for worker in range(WORKERS):
        own = ",".join(site.id for site in sites[worker::WORKERS])
        processes.start(
            f"history-{worker}",
            [sys.executable, "-m", "samples.history", "--folder", str(stage.plants), "--start", stage.live_start.isoformat(),
             "--days", str(stage.history_days), "--sites", own],
        )  # fmt: skip
    for worker in range(WORKERS):
        processes.finish(f"history-{worker}", count)
    count()
    return sites


def _judge(stage: Stage, sites: list[SampleSite], processes: Processes, progress: Progress) -> None:
    """Put each site's past into the store and judge it."""
    task = progress.add_task("Judged, and put into the store", total=len(sites))
    for site in sites:
        folder = stage.plants / site.id
        processes.run(
            f"review-{site.id}",
            [*WELLHAND, "review", "--site", str(folder / "site.toml"), "--readings", str(folder / "readings.parquet"),
             "--out", str(stage.folder / "reviews" / site.id), "--store", stage.store_url],
        )  # fmt: skip
        progress.advance(task)


def _people(stage: Stage, processes: Processes) -> None:
    for person in stage.people:
        file = stage.folder / f"password-{person.name}"
        file.touch(mode=0o600)
        file.write_text(person.password)
        sites = ["--sites", ",".join(person.sites)] if person.sites else []
        processes.run(
            f"add-{person.name}",
            [*WELLHAND, "serve", "--store", stage.store_url, "--add-user", person.name, "--role", person.role, *sites,
             "--password-file", str(file)],
        )  # fmt: skip


def _live(stage: Stage, sites: list[SampleSite], processes: Processes) -> None:
    """Start what runs on; all share one invented clock."""
    real_start = datetime.now(UTC)
    clock = ["--clock-epoch", stage.live_start.isoformat(), "--clock-from", real_start.isoformat()]
    clock += ["--clock-rate", str(stage.speed)]
    processes.start(
        "watch",
        [*WELLHAND, "watch", "--store", stage.store_url, "--broker", f"127.0.0.1:{stage.broker_port}", *clock],
    )
    # What a broker takes while nobody is subscribed is lost, and comes again only ten minutes later.
    processes.wait_for("watch", "Connected to the broker", START_S_MAX)
    processes.start(
        "pages",
        [*WELLHAND, "serve", "--store", stage.store_url, "--port", str(stage.page_port), "--no-watch", *clock,
         "--secret-file", str(stage.folder / "secret"), "--service-name", "the pump workshop at Dustmill"],
    )  # fmt: skip
    processes.start(
        "plants",
        [sys.executable, "-m", "samples.live", "--folder", str(stage.plants), "--start", stage.live_start.isoformat(),
         "--speed", str(stage.speed), "--from", real_start.isoformat(), "--history-days", str(stage.history_days)],
    )  # fmt: skip
    processes.wait_for("plants", '"ready"', START_S_MAX)
    for site in sites:
        if site.speaks != "none":
            folder = stage.folder / "boards" / site.id
            folder.mkdir(parents=True)
            (folder / "board.toml").write_text(board_file(site, stage, real_start))
            processes.start(f"log-{site.id}", [*WELLHAND, "log", str(folder / "board.toml")])
