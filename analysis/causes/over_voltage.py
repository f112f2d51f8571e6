"""Over-voltage: array voltage above the controller's rating, on cold bright mornings before the pump loads the array."""

from dataclasses import dataclass

import numpy as np

from analysis.causes.registry import Advice, CauseFile, beware, register
from analysis.solar_days import up_to_minute
from analysis.symptoms import DayView, Episode


@dataclass(frozen=True)
class OverVoltageLimits:
    """`above`: the input meter's own class (common practice, no source). `rows`: one reading may be a glitch."""

    above: float = 0.004
    rows: int = 2
    tripped_below: float = 0.02  # a controller that stops with a code so near below its rating measured more
    mended_below: float = 0.15  # of the rating: a hot day takes less from the open voltage of a whole morning


LIMITS = OverVoltageLimits()


def watch(view: DayView) -> list[Episode]:
    """Judged when: every reading of the array's voltage. Shows as: more than the controller's rating."""
    seen = view.columns
    if seen is None or "pv_voltage_v" not in seen.rows.values:
        return []
    rating = view.facts.controller.max_input_voltage_v
    volts = seen.rows["pv_voltage_v"]
    with np.errstate(invalid="ignore"):
        coded = (seen.rows["fault_code"] > 0) & ~seen.turning & (volts > rating * (1 - LIMITS.tripped_below))
        high = np.flatnonzero((volts > rating * (1 + LIMITS.above)) | coded)
    if len(high) < LIMITS.rows:
        return []
    flag = int(high[LIMITS.rows - 1])
    above = np.maximum(volts[high] - rating, 0.0)
    return [
        Episode(
            "over-voltage",
            began_ms=int(seen.time_ms[high[0]]),
            flag_ms=up_to_minute(int(seen.time_ms[flag])),
            seen_ms=int(seen.time_ms[high[-1]]),
            hours=float(seen.dt_h[high].sum()),
            at_flag={"above_v": float(above[: LIMITS.rows].max())},
            whole={"above_v": float(above.max()), "rating_v": rating},
            cause="over-voltage",
            size=float(above.max()),
        )
    ]


def far_below_rating(view: DayView) -> bool:
    """Whether the day's highest voltage says that the strings are shorter now, however warm it is."""
    seen = view.columns
    if seen is None or "pv_voltage_v" not in seen.rows.values:
        return False
    volts = seen.rows["pv_voltage_v"]
    most = (1.0 - LIMITS.mended_below) * view.facts.controller.max_input_voltage_v
    return bool(np.isfinite(volts).any() and np.nanmax(volts) < most)


def evidence(figures: dict[str, float]) -> str:
    """One sentence with the figures."""
    return (
        f"The array stood at up to {figures.get('size', figures.get('above_v', 0.0)):.0f} V above the controller's rating of "
        f"{figures.get('rating_v', 0.0):.0f} V, before the pump loaded it."
    )


register(
    CauseFile(
        "over-voltage",
        per_year=0.05,
        judged="minute",
        check="From outside, count the modules in each string and compare with the site file and the controller's plate. Touch no plug and open no box; "
        "have a licensed person come before the next cold bright morning.",
        advice=Advice(
            own=("Count the modules in each string from outside and compare with the site file.",),
            technician=(
                "Work out open-circuit voltage at the coldest morning; take one module out of each string if it passes the rating.",
                "Look at the controller's input for damage.",
            ),
            cautions=(
                beware("Count from the ground: nobody climbs or steps on panels.", "height"),
                beware(
                    "Never pull a plug under load, direct current draws an arc; string voltages can kill: licensed people only.",
                    "sunlit",
                ),
            ),
        ),
        evidence=evidence,
        watch=watch,
        limits=LIMITS,
    )
)
