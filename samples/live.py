"""The plants of the scenario, alive: they run in (quickened) time and answer as their controllers would.

`python -m samples.live --folder DIR --speed 60 --start 2026-02-10T07:00:00Z` serves every site that speaks, each at the
link DIR/<site>.port, until SIGTERM or Ctrl-C; then nothing is left. Simulated time is start + speed x (real - from).
Faults are switched on through the socket DIR/control.sock, a JSON object a line:
`{"site": "ochre-pan", "fault": "dry-running"}`, `{"site": "ochre-pan", "clear": true}`, `{"state": true}`.

Flow: scenario.py, hand_over.json -> live_plant.py -> HERE -> controller_server.py, text_printer.py -> pseudo-terminals.
Never: analysis; a port of the machine.
"""

import argparse
import contextlib
import json
import selectors
import signal
import socket
import sys
import time
from collections.abc import Callable
from datetime import UTC, datetime
from importlib.resources import files
from pathlib import Path
from types import FrameType
from typing import Any

from samples.controller_server import ControllerServer, RegisterImage
from samples.history import taken_over
from samples.live_plant import LivePlant
from samples.pseudo_terminal import PseudoTerminal
from samples.scenario import HISTORY_DAYS, SampleSite, scenario
from samples.text_printer import line_of

MAP = Path(str(files("logger.controllers") / "example-drive.toml"))
TURN_S = 0.1
REFRESH_S = 0.25
LINE_S = 1.0
LINE_PLANT_S = 20.0
"""A printer prints once a second of ours, and once in so many seconds of its plant where time runs faster."""
QUIET_S = 0.1


class Station:
    """One live site: plant, line, and the voice of its controller."""

    def __init__(self, plant: LivePlant, terminal: PseudoTerminal):
        self.plant, self.terminal = plant, terminal
        speaks = plant.site.speaks
        self.server = ControllerServer(RegisterImage.from_file(MAP)) if speaks == "modbus" else None
        self._refreshed = self._printed = self._heard = 0.0
        self._printed_of_plant = 0.0

    def turn(self, simulated_s: float, real_s: float) -> None:
        """Bring the plant up to now, print a line if one is due."""
        self.plant.advance(simulated_s)
        if self.server is not None:
            if real_s - self._heard > QUIET_S:
                self.server.quiet()
        elif real_s - self._printed >= LINE_S or simulated_s - self._printed_of_plant >= LINE_PLANT_S:
            fitted = set(self.plant.site.facts.sensors.channels) | {"input_power_w", "controller_temp_c"}
            values = {name: value for name, value in self.plant.values().items() if name in fitted}
            self.terminal.write(line_of(values))
            self._printed, self._printed_of_plant = real_s, simulated_s

    def hear(self, real_s: float) -> None:
        """Answer what has been asked."""
        chunk = self.terminal.read()
        if self.server is not None and chunk:
            self._heard = real_s
            if real_s - self._refreshed >= REFRESH_S:  # only when somebody asks: working the values out takes some ms
                self.server.image.update(self.plant.values())
                self._refreshed = real_s
            answer = self.server.feed(chunk)
            if answer:
                self.terminal.write(answer)


class Control:
    """The socket through which faults are switched; one JSON object a line, one answer a line."""

    def __init__(self, path: Path, stations: dict[str, Station], selector: selectors.BaseSelector):
        self._path, self._stations, self._selector = path, stations, selector
        with contextlib.suppress(FileNotFoundError):
            path.unlink()
        self._listening = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self._listening.bind(str(path))
        self._listening.listen(8)
        self._listening.setblocking(False)
        self._open: dict[socket.socket, bytes] = {}
        selector.register(self._listening, selectors.EVENT_READ, self._accept)

    def _accept(self) -> None:
        caller, _ = self._listening.accept()
        caller.setblocking(False)
        self._open[caller] = b""
        self._selector.register(caller, selectors.EVENT_READ, lambda: self._read(caller))

    def _read(self, caller: socket.socket) -> None:
        try:
            chunk = caller.recv(4096)
        except ConnectionError:
            chunk = b""
        if not chunk or len(self._open[caller]) > 65536:
            self._hang_up(caller)
            return
        *lines, self._open[caller] = (self._open[caller] + chunk).split(b"\n")
        for line in lines:
            answer = json.dumps(self.obey(line)).encode() + b"\n"
            with contextlib.suppress(ConnectionError):
                caller.sendall(answer)

    def obey(self, line: bytes) -> dict[str, Any]:
        """Do what one line asks; `{"ok": true, ...}` or `{"ok": false, "wrong": ...}`."""
        try:
            asked = json.loads(line)
            if not isinstance(asked, dict):
                return {"ok": False, "wrong": "not a JSON object"}
            if asked.get("state"):
                return {"ok": True, "sites": {name: _state(station) for name, station in self._stations.items()}}
            station = self._stations.get(str(asked.get("site")))
            if station is None:
                return {"ok": False, "wrong": f"no live site {asked.get('site')!r}; there are {sorted(self._stations)}"}
            if asked.get("clear"):
                return {"ok": True, "ended": station.plant.clear()}
            more = {k: v for k, v in asked.items() if k not in ("site", "fault", "severity")}
            fault = station.plant.switch_on(str(asked.get("fault")), asked.get("severity"), **more)
        except (ValueError, TypeError, KeyError) as problem:
            return {"ok": False, "wrong": str(problem)}
        return {"ok": True, "fault": fault.cause, "begins": fault.begins.isoformat()}

    def _hang_up(self, caller: socket.socket) -> None:
        self._selector.unregister(caller)
        del self._open[caller]
        caller.close()

    def close(self) -> None:
        """Hang up on all and take the socket away."""
        for caller in list(self._open):
            self._hang_up(caller)
        self._selector.unregister(self._listening)
        self._listening.close()
        with contextlib.suppress(FileNotFoundError):
            self._path.unlink()


def _state(station: Station) -> dict[str, Any]:
    plant = station.plant
    return {
        "time": datetime.fromtimestamp(plant.now_s, UTC).isoformat(), "values": plant.values(),
        "faults": [fault.cause for fault in plant.faults if fault.ends is None or fault.ends.timestamp() > plant.now_s],
    }  # fmt: skip


def open_station(folder: Path, site: SampleSite, start_s: float) -> Station:
    """A site on its line; takes over from DIR/<site>/hand_over.json where there is one."""
    path, held = folder / site.id / "hand_over.json", None
    if path.exists():
        found = json.loads(path.read_text())
        held = (taken_over(found), int(found["day"]), float(found["volume_m3"]))
    return Station(LivePlant(site, start_s, held), PseudoTerminal(folder / f"{site.id}.port"))


def serve(
    folder: Path, start: datetime, speed: float, real_from_s: float | None = None, sites: list[str] | None = None,
    history_days: int = HISTORY_DAYS, stop: Callable[[], bool] = lambda: False,
    ready: Callable[[dict[str, Station]], None] | None = None,
) -> None:  # fmt: skip
    """Run until `stop`. `real_from_s` (seconds since 1970 of the machine's clock): when `start` is; now if None."""
    folder.mkdir(parents=True, exist_ok=True)
    chosen = [s for s in scenario(start, history_days) if s.speaks != "none" and (sites is None or s.id in sites)]
    stations: dict[str, Station] = {}
    with selectors.DefaultSelector() as selector:
        try:
            for site in chosen:
                stations[site.id] = open_station(folder, site, start.timestamp())
                selector.register(stations[site.id].terminal.fd, selectors.EVENT_READ, stations[site.id])
            control = Control(folder / "control.sock", stations, selector)
            begun = time.time() if real_from_s is None else real_from_s
            if ready is not None:
                ready(stations)
            try:
                _run(stations, selector, lambda: start.timestamp() + speed * (time.time() - begun), stop)
            finally:
                control.close()
        finally:
            for station in stations.values():
                station.terminal.close()


def _run(
    stations: dict[str, Station],
    selector: selectors.BaseSelector,
    simulated_s: Callable[[], float],
    stop: Callable[[], bool],
) -> None:
    while not stop():
        for key, _ in selector.select(TURN_S):
            if isinstance(key.data, Station):
                key.data.hear(time.monotonic())
            else:
                key.data()
        for station in stations.values():
            station.turn(simulated_s(), time.monotonic())


def _instant(text: str) -> datetime:
    when = datetime.fromisoformat(text)
    if when.tzinfo is None:
        raise argparse.ArgumentTypeError(f"{text!r} has no time zone; write for example 2026-02-10T07:00:00Z")
    return when


def main(words: list[str] | None = None) -> int:
    """The command; prints one JSON line with the links when all lines are open."""
    parser = argparse.ArgumentParser(prog="python -m samples.live", description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--folder", type=Path, required=True, help="where the links and the control socket go")
    parser.add_argument("--start", type=_instant, required=True, help="simulated instant at which the run starts")
    parser.add_argument("--speed", type=float, default=1.0, help="simulated seconds a second")
    parser.add_argument("--from", dest="real_from", type=_instant, help="real instant of the start; now if left out")
    parser.add_argument("--site", action="append", help="only this site; may be repeated")
    parser.add_argument("--history-days", type=int, default=HISTORY_DAYS, help="as the history was written with")
    args = parser.parse_args(words)
    ended: list[int] = []

    def end(number: int, _: FrameType | None) -> None:
        ended.append(number)

    signal.signal(signal.SIGTERM, end)
    signal.signal(signal.SIGINT, end)

    def ready(stations: dict[str, Station]) -> None:
        links = {name: str(station.terminal.link) for name, station in stations.items()}
        print(json.dumps({"ready": links, "control": str(args.folder / "control.sock")}), flush=True)

    real_from = None if args.real_from is None else args.real_from.timestamp()
    serve(args.folder, args.start, args.speed, real_from, args.site, args.history_days, lambda: bool(ended), ready)
    return 0


if __name__ == "__main__":
    sys.exit(main())
