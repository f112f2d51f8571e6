"""Writes the season before the live run: readings, site file, truth, and the state that the live run takes over.

Flow: scenario.py -> season.py -> FOLDER/<site>/{readings.parquet, site.toml, truth.json, hand_over.json}.
`python -m samples.history --folder F --start TIME --days N --sites A,B` writes that of some sites.
Never: analysis.
"""

import argparse
import json
from collections.abc import Callable
from dataclasses import asdict
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pandas as pd

from samples.plant.sky import day_origin_s
from samples.plant.state import State
from samples.scenario import HISTORY_DAYS, SampleSite, scenario
from samples.season import Season, live_season
from samples.site_text import site_text
from samples.truth import Truth


def write_history(
    folder: Path, live_start: datetime, days: int = HISTORY_DAYS, step_s: int = 60, sites: list[str] | None = None,
    told: Callable[[str, int, int], None] | None = None,
) -> list[SampleSite]:  # fmt: skip
    """The scenario's history up to `live_start`; `told(site, done, of)` after each site. Returns the sites written."""
    chosen = [site for site in scenario(live_start, days) if sites is None or site.id in sites]
    for done, site in enumerate(chosen, 1):
        write_site(folder / site.id, site, live_start, days, step_s)
        if told is not None:
            told(site.id, done, len(chosen))
    return chosen


def write_site(folder: Path, site: SampleSite, live_start: datetime, days: int, step_s: int) -> Season:
    """One site's history."""
    season = live_season(
        site.facts,
        list(site.faults),
        live_start - timedelta(days=days),
        live_start,
        step_s,
        site.seed,
        likeness=site.likeness,
    )
    folder.mkdir(parents=True, exist_ok=True)
    write_season(folder, season, site_text(site.facts))
    (folder / "hand_over.json").write_text(json.dumps(hand_over(season, live_start), indent=1))
    return season


def write_season(folder: Path, season: Season, site_file: str, form: str = "parquet") -> None:
    """Readings (`parquet` or `csv`), site file and truth of a season."""
    if form == "parquet":
        season.frame.to_parquet(folder / "readings.parquet", index=False)
    else:
        write_csv(season.frame, folder / "readings.csv")
    (folder / "site.toml").write_text(site_file)
    (folder / "truth.json").write_text(json.dumps([truth_json(truth) for truth in season.truths], indent=1))


def write_csv(frame: pd.DataFrame, path: Path) -> None:
    """The contract's CSV: ISO 8601 with Z, empty for null."""
    text = frame.assign(time=frame["time"].dt.strftime("%Y-%m-%dT%H:%M:%S.%f").str.slice(0, 23) + "Z")
    text.to_csv(path, index=False)


def truth_json(truth: Truth) -> dict:
    """With instants as ISO 8601 text."""
    plain = asdict(truth)
    for key in ("began", "ended"):
        plain[key] = plain[key].isoformat().replace("+00:00", "Z") if plain[key] else None
    return plain


def hand_over(season: Season, live_start: datetime) -> dict:
    """The state at the beginning of the live start's solar day, and the meter's exact volume at the start itself."""
    lived = season.lived
    day = _day_of(lived.plant.facts.site.longitude_deg, live_start)
    which = int(np.clip(day - lived.days[0], 0, len(lived.days) - 1))
    state = lived.begins.take(np.array([which])) if day <= lived.days[-1] else lived.ends.take(np.array([which]))
    held = {name: np.asarray(value).ravel().tolist() for name, value in state.__dict__.items()}
    return {"day": day, "state": held, "volume_m3": season.volume_m3}


def _day_of(longitude_deg: float, when: datetime) -> int:
    return int(np.floor((when.timestamp() - day_origin_s(longitude_deg)) / 86400))


def taken_over(held: dict) -> State:
    """The state out of hand_over.json."""
    state = {name: np.array(value) for name, value in held["state"].items()}
    state["wells"] = state["wells"][:, None]
    return State(**state)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--folder", type=Path, required=True)
    parser.add_argument("--start", type=datetime.fromisoformat, required=True)
    parser.add_argument("--days", type=int, required=True)
    parser.add_argument("--sites", type=lambda text: text.split(","), required=True)
    asked = parser.parse_args()
    write_history(asked.folder, asked.start, asked.days, sites=asked.sites)
