"""The review of months: rows of one site in, findings and days out; the same engine as live, fed from a file or a frame.

Flow: files.py or a data frame -> HERE -> pipeline.advance -> commands/review.py, notebooks.
Never: printing; the store.
"""

from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from analysis import pipeline
from analysis.merge import merged
from analysis.rows import Rows
from analysis.solar_days import iso
from analysis.summary import DaySummary
from logger.record.channels import CHANNELS, EXTREMES
from logger.record.finding import Finding
from logger.record.site_facts import SiteFacts
from logger.record.site_file import load_site

if TYPE_CHECKING:
    import pandas as pd

STEP_MS = 24 * 86_400_000
"""How much the engine is fed at once: often enough for a progress bar, seldom enough to cost nothing."""


@dataclass(frozen=True)
class Review:
    """What a season gave. `rows`: admitted, each time once; `coverage`: share of the daylight with readings, None without.

    notes, not_judged
        What is worth saying of the files, and what they are too few or too poor to tell of; sentences without a full stop.
    """

    facts: SiteFacts
    from_ms: int
    to_ms: int
    rows: int
    dropped: dict[str, int]
    coverage: float | None
    findings: tuple[Finding, ...]
    days: tuple[DaySummary, ...]
    notes: tuple[str, ...] = field(default=())
    not_judged: tuple[str, ...] = field(default=())

    def as_dict(self) -> dict[str, Any]:
        """The JSON object of findings.json."""
        return {
            "site": self.facts.site.id,
            "from": iso(self.from_ms),
            "to": iso(self.to_ms),
            "readings": {
                "rows": self.rows,
                "dropped": self.dropped,
                "coverage": None if self.coverage is None else round(self.coverage, 4),
            },
            "findings": [finding.as_dict() for finding in self.findings],
        } | ({"not_judged": list(self.not_judged)} if self.not_judged else {})

    def days_frame(self) -> "pd.DataFrame":
        """A row a day; water that went missing as a column `lost_<where>_m3` each."""
        import pandas as pd

        plain = [asdict(day) for day in self.days]
        where = sorted({name for day in plain for name in day["lost_m3"]})
        for day in plain:
            lost = day.pop("lost_m3")
            day |= {f"lost_{name.replace('-', '_')}_m3": lost.get(name, 0.0) for name in where}
        names = [name for name in DaySummary.__dataclass_fields__ if name != "lost_m3"]
        frame = pd.DataFrame(plain, columns=[*names, *(f"lost_{name.replace('-', '_')}_m3" for name in where)])
        return frame.astype({name: float for name in frame.columns if name not in ("site", "date")})


def review_rows(
    facts: SiteFacts,
    rows: Rows,
    to_ms: int | None = None,
    dropped: dict[str, int] | None = None,
    told: Callable[[int, int], None] | None = None,
) -> Review:
    """Judge rows that rise strictly in time (`merged`). `to_ms` None: up to the last row. `told(done, of)` rows.

    ValueError: no rows, or none up to `to_ms`.
    """
    if to_ms is not None:
        rows = rows.take(slice(0, int(np.searchsorted(rows.time_ms, to_ms, "right"))))
    if not len(rows):
        raise ValueError("no rows to judge")
    first_ms, end_ms = int(rows.time_ms[0]), int(rows.time_ms[-1]) if to_ms is None else to_ms
    state = pipeline.begin(facts)
    done = 0
    for start_ms in range(first_ms, end_ms + 1, STEP_MS):
        until_ms = min(start_ms + STEP_MS - 1, end_ms)
        upto = int(np.searchsorted(rows.time_ms, until_ms, "right"))
        state = pipeline.advance(state, rows.take(slice(done, upto)), until_ms)
        done = upto
        if told is not None:
            told(done, len(rows))
    counts = {"duplicate": 0, "conflicting": 0, "unreadable": 0} | (dropped or {})
    return Review(facts, first_ms, end_ms, len(rows), counts, state.coverage, state.findings, state.days)


def review_season(
    site: SiteFacts | str | Path,
    readings: "pd.DataFrame | Rows",
    from_time: datetime | None = None,
    to_time: datetime | None = None,
) -> Review:
    """Findings and days of one site's readings: the way in for notebooks.

    Parameters
    ----------
    site : SiteFacts, or the path of a site file
    readings : DataFrame or Rows
        Columns by channel name; times in UTC or with an offset, in a column `time` or as the index. Any order, doubles allowed.
    from_time, to_time : datetime with time zone, optional
        Rows from `from_time` on, judged up to `to_time`.

    Returns
    -------
    Review
        `.findings`, `.days`, `.days_frame()`, `.as_dict()`.

    Raises
    ------
    ValueError
        No rows, no column `time`, times without a time zone.
    SiteFileError
        The site file is wrong.
    """
    facts = site if isinstance(site, SiteFacts) else load_site(site)
    given = readings if isinstance(readings, Rows) else rows_of_frame(readings)
    clean = merged(given)
    counts = {"duplicate": len(clean.duplicate_ms), "conflicting": len(clean.conflicting_ms)}
    rows = clean.rows
    if from_time is not None:
        rows = rows.take(rows.time_ms >= _ms_of(from_time))
    return review_rows(facts, rows, None if to_time is None else _ms_of(to_time), counts)


def rows_of_frame(frame: "pd.DataFrame") -> Rows:
    """A data frame with the contract's columns as rows; other columns are left out. ValueError: its times cannot be used."""
    import pandas as pd

    times = pd.DatetimeIndex(frame["time"] if "time" in frame.columns else frame.index)
    if times.tz is None:
        raise ValueError("the frame's times have no time zone: use frame['time'].dt.tz_localize(...)")
    if times.hasnans:
        raise ValueError("the frame's times hold nulls: drop those rows first")
    names = [
        name
        for name in frame.columns
        if name in CHANNELS or name.removesuffix(EXTREMES[0]).removesuffix(EXTREMES[1]) in CHANNELS
    ]
    return Rows(
        times.as_unit("ms").asi8,
        {name: frame[name].to_numpy(float, na_value=np.nan) for name in names},
        frame["seq"].fillna(-1).to_numpy(np.int64) if "seq" in frame.columns else None,
        (frame["clock"] != "unsure").to_numpy(bool) if "clock" in frame.columns else None,
    )


def _ms_of(instant: datetime) -> int:
    if instant.tzinfo is None:
        raise ValueError(f"{instant} has no time zone")
    return round(instant.timestamp() * 1000)
