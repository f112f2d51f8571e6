"""Recorded cases: `<cause>/<what it shows>/` with site.toml, readings.csv (or readings.csv.gz) and findings.json; a new case needs no code.

findings.json: `expected`, a list of {cause, flagged_after, began_before, and where it must be quick flagged_before}: one finding of
each, flagged within the times; no other cause is found. An empty list: nothing is found.
Drawn cases (`drawn`: of which plant and seed, chosen by what is true of them and never by what the engine says) carry `truth` and `fitouts`
instead: the same readings with the sensors of each fit-out alone, and what is expected of each. There {cause, or}: what its sensors cannot
tell apart; one of these is found, and the true one is named or among what is also possible. `wrong_today`: what is said instead, with its
figures; once that is mended the test fails until the line is taken out.
So each case is also a look-alike on which its rivals stay quiet; `LOOK_ALIKES` says which cases those are for each cause.
"""

import csv
import gzip
import json
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from analysis.rows import Rows
from logger.record.site_facts import SiteFacts
from logger.record.site_file import read_site

HERE = Path(__file__).parent
KINDS = {"helical": "helical-rotor", "centrifugal": "multistage-centrifugal"}
"""How folders of drawn cases begin, and the pump kind in each; `-second` where the first draw shows too little of the cause."""

POWER = ("pv_voltage_v", "pv_current_a", "input_power_w")
METER = ("volume_m3", "flow_m3_h")
SWITCH = "switched_on"
FITOUTS: dict[str, tuple[str, ...] | None] = {
    "full": None,
    "middle": (*POWER, "motor_current_a", "motor_speed_rpm", *METER, "motor_running", "fault_code", SWITCH),
    "lean": (*POWER, *METER, SWITCH),
}
"""Which of the channels recorded are left in each; None: all. The switch where one is read: nothing else tells a hand from a fault."""

LOOK_ALIKES = {
    "dry-running": ("broken-shaft", "closed-delivery", "reverse-rotation"),
    "clogging": ("falling-water-level", "worn-pump", "riser-leak", "closed-delivery"),
    "closed-delivery": ("broken-shaft", "dry-running", "clogging"),
    "worn-pump": ("riser-leak", "clogging", "falling-water-level"),
    "broken-shaft": ("dry-running", "closed-delivery", "reverse-rotation"),
    "riser-leak": ("worn-pump", "clogging", "falling-water-level"),
    "falling-water-level": ("clogging", "worn-pump", "riser-leak"),
    "panel-soiling": ("string-out", "shading", "cable-fault", "controller-derating"),
    "shading": ("panel-soiling", "string-out", "controller-derating"),
    "string-out": ("panel-soiling", "shading", "cable-fault"),
    "controller-derating": ("panel-soiling", "shading", "none"),
    "cable-fault": ("string-out", "panel-soiling", "unexplained"),
    "reverse-rotation": ("broken-shaft", "closed-delivery", "worn-pump"),
    "failed-start": ("stalled-motor", "silent", "none"),
    "stalled-motor": ("failed-start", "controller-trip", "none"),
    "over-voltage": ("controller-trip", "none"),
    "controller-trip": ("over-voltage", "short-cycling", "failed-start"),
    "short-cycling": ("controller-trip", "none"),
    "sensor-fault": ("dry-running", "broken-shaft", "worn-pump"),
    "silent": ("failed-start", "none"),
    "unexplained": ("clogging", "cable-fault", "none"),
}
"""By cause, what looks like it: on the cases of these, of either pump kind, it stays quiet."""


@dataclass(frozen=True)
class Recorded:
    """One case with the sensors of one fit-out. `wanted`: of findings.json, what is expected of it."""

    folder: Path
    fitout: str | None
    wanted: dict[str, Any]

    @property
    def name(self) -> str:
        """For people."""
        return "/".join((*self.folder.parts[-2:], *([self.fitout] if self.fitout else [])))


def case_folders() -> list[Path]:
    """Every recorded case."""
    return sorted(path.parent for path in HERE.glob("*/*/findings.json"))


def told_of(folder: Path) -> dict[str, Any]:
    """findings.json as it stands."""
    return dict(json.loads((folder / "findings.json").read_text()))


def recorded_cases() -> list[Recorded]:
    """Every recorded case with each of its fit-outs."""
    found = []
    for folder in case_folders():
        told = told_of(folder)
        if "fitouts" in told:
            found += [Recorded(folder, fitout, wanted) for fitout, wanted in told["fitouts"].items()]
        else:
            found.append(Recorded(folder, None, told))
    return found


def read_case(folder: Path, fitout: str | None = None) -> tuple[SiteFacts, Rows, list[dict[str, Any]]]:
    """Site facts, readings and what is expected of them; of a drawn case with the sensors of a fit-out, of the full one where none is said."""
    facts = read_site((folder / "site.toml").read_text(), "site.toml")
    packed = folder / "readings.csv.gz"
    with (
        gzip.open(packed, "rt", newline="") if packed.is_file() else (folder / "readings.csv").open(newline="") as file
    ):
        lines = list(csv.reader(file))
    header, body = lines[0], lines[1:]
    time_ms = np.array([round(datetime.fromisoformat(line[0]).timestamp() * 1000) for line in body], np.int64)
    values = {
        name: np.array([float(line[k]) if line[k] else np.nan for line in body])
        for k, name in enumerate(header)
        if name != "time"
    }
    told = told_of(folder)
    expected = told["fitouts"][fitout or "full"]["expected"] if "fitouts" in told else told["expected"]
    facts, rows = fitted(facts, Rows(time_ms, values), FITOUTS[fitout or "full"])
    return facts, rows, expected


def fitted(facts: SiteFacts, rows: Rows, channels: tuple[str, ...] | None) -> tuple[SiteFacts, Rows]:
    """Site and rows as they were, had no more than these channels been fitted."""
    if channels is None:
        return facts, rows
    kept = tuple(name for name in facts.sensors.channels if name in channels)
    narrowed = replace(facts, sensors=replace(facts.sensors, channels=kept))
    return narrowed, Rows(rows.time_ms, {name: column for name, column in rows.values.items() if name in channels})
