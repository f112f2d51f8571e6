"""Controller trip: it stops itself again and again with a fault code of its own."""

from dataclasses import dataclass

import numpy as np

from analysis.causes.over_voltage import LIMITS as OVER_VOLTAGE
from analysis.causes.registry import Advice, CauseFile, register
from analysis.look import Columns
from analysis.solar_days import HOUR_MS, up_to_minute
from analysis.symptoms import DayView, Episode


@dataclass(frozen=True)
class TripLimits:
    """Trips within a day that are a fault: one or two happen (common practice, no source)."""

    trips: int = 3


LIMITS = TripLimits()


def watch(view: DayView) -> list[Episode]:
    """Judged when: the code is read. Shows as: a code other than 0 that stops a running pump, goes, and comes again.

    A code without running in between is a motor that does not turn, and one at the rating's edge an array of too many modules:
    both have a cause of their own.
    """
    seen = view.columns
    if seen is None or "fault_code" not in seen.rows.values:
        return []
    code = np.nan_to_num(seen.rows["fault_code"])
    probe_dry = seen.rows["low_level_probe_wet"] < 0.5
    with np.errstate(invalid="ignore"):
        high = seen.rows["pv_voltage_v"] > view.facts.controller.max_input_voltage_v * (1 - OVER_VOLTAGE.tripped_below)
    coded = (code > 0) & ~probe_dry & ~high
    tripped = coded & ~seen.turning
    starts = _stops(seen, tripped)
    if len(starts) < LIMITS.trips:
        return []
    flag = int(starts[LIMITS.trips - 1])
    last = int(np.flatnonzero(tripped)[-1])
    begun = int(np.count_nonzero(coded & ~np.concatenate([[False], coded[:-1]])))
    trips = float(max(begun, len(starts)))
    should = np.nan_to_num(seen.expected.flow_of_sun_m3_h) * seen.dt_h
    return [
        Episode(
            "controller-trip",
            began_ms=int(seen.time_ms[starts[0]]),
            flag_ms=up_to_minute(int(seen.time_ms[flag])),
            seen_ms=int(seen.time_ms[last]),
            hours=max(float(seen.time_ms[last] - seen.time_ms[starts[0]]) / HOUR_MS, 0.1),
            at_flag={"trips": float(LIMITS.trips), "code": float(code[starts[0]])},
            whole={"trips": trips, "code": float(np.median(code[starts]))},
            cause="controller-trip",
            size=trips,
            lost_m3=float(should[tripped].sum()),
        )
    ]


def _stops(seen: Columns, tripped: np.ndarray) -> np.ndarray:
    """First rows of trips before which the pump had turned since the last one."""
    starts = np.flatnonzero(tripped & ~np.concatenate([[False], tripped[:-1]]))
    ran = np.cumsum(seen.turning)[starts]
    return starts[np.diff(ran, prepend=0) > 0]


def evidence(figures: dict[str, float]) -> str:
    """One sentence with the figures."""
    return (
        f"The controller stopped itself about {figures.get('trips', 0.0):.0f} times a day with its fault code {figures.get('code', 0.0):.0f}, sun "
        "enough and the well not low."
    )


register(
    CauseFile(
        "controller-trip",
        per_year=0.3,
        judged="minute",
        check="Look the code up in the controller's manual and read its display.",
        advice=Advice(
            own=("Look the code up in the manual; write down at what time of day it comes.",),
            technician=(
                "Read the controller's journal; check motor current and insulation, input voltage and temperature at the time of the trip.",
            ),
            cautions=(
                "Do not reset again and again: the controller protects motor and itself.",
                "Licensed people only inside the box.",
            ),
        ),
        evidence=evidence,
        watch=watch,
        limits=LIMITS,
    )
)
