"""The pictures as tables: one row a mark, a point of the curve, a day or an instant.

Flow: pictures.py, course.py, summary.py -> HERE -> explanation.py (CSV, JSON, notebooks).
"""

from dataclasses import asdict
from typing import TYPE_CHECKING

import numpy as np

from analysis.course import Course
from analysis.pictures import ArrayPicture, FlowPicture
from analysis.shares import Shares
from analysis.solar_days import iso
from analysis.summary import DaySummary

if TYPE_CHECKING:
    import pandas as pd


def frame_of(picture: FlowPicture | ArrayPicture | Shares | Course | tuple[DaySummary, ...]) -> "pd.DataFrame":
    """Columns with their units; `what` of a curve picture is expected, before or after; of shares before, after, usual or now."""
    import pandas as pd

    if isinstance(picture, FlowPicture):
        return _of_curve(picture, picture.power_w, picture.expected_m3_h, "power_w", "flow", "m3_h")
    if isinstance(picture, ArrayPicture):
        return _of_curve(picture, picture.sun_w_m2, picture.expected_w, "sun_w_m2", "power", "w")
    if isinstance(picture, Shares):
        return _of_shares(picture)
    if isinstance(picture, Course):
        return _of_course(picture)
    days = [asdict(day) for day in picture]
    for day in days:
        lost = day.pop("lost_m3")
        day["lost_m3"] = round(sum(lost.values()), 6)
    return pd.DataFrame(days)


def _of_course(course: Course) -> "pd.DataFrame":
    """After the channel that tells: `usual`, with 95 % of it, what it read before where the others read the same; `limit`: its rating."""
    import pandas as pd

    names = {"low": "low_m3_h", "high": "high_m3_h"}
    kept = ("flow_m3_h", "expected_m3_h", "low", "high", "power_w", "offered_w")
    columns = {names.get(name, name): getattr(course, name) for name in kept}
    if course.channel is not None:
        columns[course.channel] = course.told
        if np.isfinite(course.usual).any():
            named = {"usual": course.usual, "usual_low": course.usual_low, "usual_high": course.usual_high}
            columns |= {f"{name}_{course.channel}": column for name, column in named.items()}
        if course.limit is not None:
            columns["limit"] = [course.limit] * len(course.time_ms)
    return pd.DataFrame({"time": [iso(int(at)) for at in course.time_ms], **columns})


def _of_shares(shares: Shares) -> "pd.DataFrame":
    """`by`: day (then `time`), hour (then `hour_from_noon`) or power (then `power`: low, middle, high)."""
    import pandas as pd

    part, named = (
        ("hour", {"hour_from_noon": lambda at: at})
        if shares.of == "array"
        else ("power", {"power": lambda at: _POWERS[int(at)]})
    )
    marks = [
        (what, by, points)
        for by in ("day", part)
        for what in ("before", "after")
        for points in (getattr(shares, f"{what}_by_{'day' if by == 'day' else 'part'}"),)
    ]
    rows: list[dict[str, object]] = []
    for what, by, points in marks:
        for at, share, low, high, hours in zip(points.x, points.y, points.low, points.high, points.hours, strict=True):
            place = {"time": iso(int(at))} if by == "day" else {name: said(at) for name, said in named.items()}
            rows.append({"what": what, "by": by, **place, "share": share, "low": low, "high": high, "hours": hours})
    rows.append(
        {"what": "usual", "by": "day", "share": shares.usual, "low": shares.usual_low, "high": shares.usual_high}
    )
    rows.append({"what": "now", "by": "day", "share": shares.now})
    return pd.DataFrame(rows, columns=["what", "by", "time", *named, "share", "low", "high", "hours"])


_POWERS = ("low", "middle", "high")


def _of_curve(picture: FlowPicture | ArrayPicture, at, expected, x: str, y: str, unit: str) -> "pd.DataFrame":
    import pandas as pd

    names = {"x": x, "y": f"{y}_{unit}", "low": f"low_{unit}", "high": f"high_{unit}", "hours": "hours"}
    curve = pd.DataFrame(
        {"what": "expected", x: at, names["y"]: expected, names["low"]: picture.low, names["high"]: picture.high,
         "scale": picture.scale}
    )  # fmt: skip
    marks = [
        pd.DataFrame({"what": what, **{names[key]: column for key, column in vars(points).items()}})
        for what, points in (("before", picture.before), ("after", picture.after))
    ]
    parts = [part for part in (curve.dropna(), *marks) if len(part)]
    return pd.concat(parts, ignore_index=True) if parts else curve.iloc[:0]
