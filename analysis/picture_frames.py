"""The pictures as tables: one row a mark, a point of the curve, a day or an instant.

Flow: pictures.py, course.py, summary.py -> HERE -> explanation.py (CSV, JSON, notebooks).
"""

from dataclasses import asdict
from typing import TYPE_CHECKING

from analysis.course import Course
from analysis.pictures import ArrayPicture, FlowPicture
from analysis.solar_days import iso
from analysis.summary import DaySummary

if TYPE_CHECKING:
    import pandas as pd


def frame_of(picture: FlowPicture | ArrayPicture | Course | tuple[DaySummary, ...]) -> "pd.DataFrame":
    """Columns with their units; `what` of a curve picture is expected, before or after."""
    import pandas as pd

    if isinstance(picture, FlowPicture):
        return _of_curve(picture, picture.power_w, picture.expected_m3_h, "power_w", "flow", "m3_h")
    if isinstance(picture, ArrayPicture):
        return _of_curve(picture, picture.sun_w_m2, picture.expected_w, "sun_w_m2", "power", "w")
    if isinstance(picture, Course):
        columns = dict(vars(picture))
        times = [iso(int(at)) for at in columns.pop("time_ms")]
        names = {"low": "low_m3_h", "high": "high_m3_h"}
        return pd.DataFrame({"time": times, **{names.get(name, name): column for name, column in columns.items()}})
    days = [asdict(day) for day in picture]
    for day in days:
        lost = day.pop("lost_m3")
        day["lost_m3"] = round(sum(lost.values()), 6)
    return pd.DataFrame(days)


def _of_curve(picture: FlowPicture | ArrayPicture, at, expected, x: str, y: str, unit: str) -> "pd.DataFrame":
    import pandas as pd

    names = {"x": x, "y": f"{y}_{unit}", "low": f"low_{unit}", "high": f"high_{unit}", "hours": "hours"}
    curve = pd.DataFrame(
        {"what": "expected", x: at, names["y"]: expected, names["low"]: picture.low, names["high"]: picture.high}
    )
    marks = [
        pd.DataFrame({"what": what, **{names[key]: column for key, column in vars(points).items()}})
        for what, points in (("before", picture.before), ("after", picture.after))
    ]
    parts = [part for part in (curve.dropna(), *marks) if len(part)]
    return pd.concat(parts, ignore_index=True) if parts else curve.iloc[:0]
