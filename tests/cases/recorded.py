"""Recorded cases: `<cause>/<what it shows>/` with site.toml, readings.csv (or readings.csv.gz) and findings.json; a new case needs no code.

findings.json: `expected`, a list of {cause, flagged_after, began_before, and where it must be quick flagged_before}: one finding of
each, flagged within the times; no other cause is found. An empty list: nothing is found.
So each case is also a look-alike on which its rivals stay quiet; `LOOK_ALIKES` says which case that is for each cause.
"""

import csv
import gzip
import json
from datetime import datetime
from pathlib import Path

import numpy as np

from analysis.rows import Rows
from logger.record.site_facts import SiteFacts
from logger.record.site_file import read_site

HERE = Path(__file__).parent

LOOK_ALIKES = {
    "dry-running": "broken-shaft/helical_full",
    "clogging": "falling-water-level/helical_full",
    "closed-delivery": "broken-shaft/centrifugal_full",
    "worn-pump": "riser-leak/helical_full",
    "broken-shaft": "dry-running/centrifugal_middle",
    "riser-leak": "worn-pump/centrifugal_full",
    "falling-water-level": "clogging/centrifugal_full",
    "panel-soiling": "string-out/centrifugal_full",
    "shading": "panel-soiling/helical_full",
    "string-out": "panel-soiling/helical_full",
    "controller-derating": "none/helical_middle",
    "cable-fault": "string-out/centrifugal_full",
    "reverse-rotation": "broken-shaft/helical_full",
    "failed-start": "stalled-motor/centrifugal_full",
    "stalled-motor": "failed-start/centrifugal_full",
    "over-voltage": "controller-trip/helical_full",
    "controller-trip": "over-voltage/centrifugal_middle",
    "short-cycling": "controller-trip/helical_full",
    "sensor-fault": "dry-running/centrifugal_middle",
    "silent": "none/helical_lean",
    "unexplained": "none/helical_middle",
}
"""By cause, a recorded case that looks like it and on which it stays quiet."""


def case_folders() -> list[Path]:
    """Every recorded case."""
    return sorted(path.parent for path in HERE.glob("*/*/findings.json"))


def read_case(folder: Path) -> tuple[SiteFacts, Rows, list[dict[str, str]]]:
    """Site facts, readings and what is expected of them."""
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
    return facts, Rows(time_ms, values), json.loads((folder / "findings.json").read_text())["expected"]
