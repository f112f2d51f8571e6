"""Recorded cases: `<cause>/<what it shows>/` with site.toml, readings.csv and findings.json; a new case needs no code.

findings.json: `expected`, a list of {cause, flagged_after, began_before, and where it must be quick flagged_before}: one finding of
each, flagged within the times; no other finding asks for a visit. An empty list: nothing is found.
"""

import csv
import json
from datetime import datetime
from pathlib import Path

import numpy as np

from analysis.rows import Rows
from logger.record.site_facts import SiteFacts
from logger.record.site_file import read_site

HERE = Path(__file__).parent


def case_folders() -> list[Path]:
    """Every recorded case."""
    return sorted(path.parent for path in HERE.glob("*/*/findings.json"))


def read_case(folder: Path) -> tuple[SiteFacts, Rows, list[dict[str, str]]]:
    """Site facts, readings and what is expected of them."""
    facts = read_site((folder / "site.toml").read_text(), "site.toml")
    with (folder / "readings.csv").open(newline="") as file:
        lines = list(csv.reader(file))
    header, body = lines[0], lines[1:]
    time_ms = np.array([round(datetime.fromisoformat(line[0]).timestamp() * 1000) for line in body], np.int64)
    values = {
        name: np.array([float(line[k]) if line[k] else np.nan for line in body])
        for k, name in enumerate(header)
        if name != "time"
    }
    return facts, Rows(time_ms, values), json.loads((folder / "findings.json").read_text())["expected"]
