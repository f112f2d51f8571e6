"""Unexplained: the figures leave what this pump does when healthy, and no cause above explains them.

One form of it is known: something drags (bearings, sand, a rubbing shaft). The motor needs more torque for the same speed, while flow
per turn, level and pressure say that the water is lifted as ever.
"""

from dataclasses import dataclass

import numpy as np

from analysis.causes.registry import Advice, CauseFile, beware, register, shifts
from analysis.estimates.bench import bench_of
from analysis.estimates.effects import Effect, current_of_load, shift
from analysis.estimates.vector import MEANING
from analysis.plant import Plant


@dataclass(frozen=True)
class DragLimits:
    """Log of the torque needed."""

    least: float = 0.1
    most: float = 1.0
    usual: float = 0.3  # half of all stay below (a guess)
    rate: float = 1.0  # of what is unexplained otherwise (a guess): a wet splice, which is a cause of the list, looks much the same


LIMITS = DragLimits()
TELL_TORQUE = {"motor_speed_rpm", "motor_current_a"}
DRAG_SEEN = 0.3  # of the amount: the torque itself must have risen for it to be called drag


def effect(plant: Plant) -> list[Effect]:
    """A torque more, at all speeds about alike, and so the larger a share of what a centrifugal pump takes, the slower it turns; the water knows nothing of it. None where neither speed nor current tells of a torque."""
    if not plant.has & TELL_TORQUE:
        return []
    bench = bench_of(plant)
    share = np.ones(3) if plant.helical else np.sqrt(bench.power_w[-1] / bench.power_w)
    lost = -bench.flow_per_power * share
    return [
        Effect(
            None,
            shift(q=lost, t=share, i=current_of_load(plant) * share),
            LIMITS.least,
            LIMITS.most,
            lost=lost,
            loose=0.25,  # as a splice that leaks: what drags more at speed, as sand, is no constant torque either
            sudden=0.3,
            rate=LIMITS.rate,
            usual=LIMITS.usual,
            blur=shift(i=0.2),
        )
    ]


AS_EVER = (("flow per turn", "n", 0.05), ("level", "l", 1.0), ("pressure", "p", 1.0))
"""What is read of the water, its entry of the vector, and how far that may have moved (log, m) and still be called as before."""


def evidence(figures: dict[str, float]) -> str:
    """One sentence: the entries that moved most, or what drags."""
    loads = [[value for name, value in figures.items() if name.startswith(f"shift_{load}")] for load in "ti"]
    torque = loads[0] or loads[1]
    if "amount" in figures and torque and max(torque) > DRAG_SEEN * figures["amount"]:
        read = [(what, shifts(figures, entry), within) for what, entry, within in AS_EVER]
        same = [what for what, moved, within in read if moved and max(map(abs, moved)) < within]
        as_ever = f"{', '.join(same[:-1])} and {same[-1]}" if len(same) > 1 else "".join(same)
        stays = f", while {as_ever} {'are' if len(same) > 1 else 'is'} as before" if same else ""
        return (
            f"The motor takes {100 * (np.exp(figures['amount']) - 1.0):.0f} % more at the same speed{stays}: something drags (bearing, shaft, "
            "sand), which no cause of the list covers."
        )
    moved = sorted(
        ((abs(v), k.removeprefix("shift_"), v) for k, v in figures.items() if k.startswith("shift_")), reverse=True
    )[:3]
    told = "; ".join(f"{MEANING[name]}: {value:+.2f}" for _, name, value in moved)
    return f"The day's figures left what this pump does when healthy ({told or 'no water at a load that fits no known cause'}), and no known cause explains them."


register(
    CauseFile(
        "unexplained",
        per_year=0.02,
        judged="day",
        check="Compare the figures with what was done on site lately; time a bucket at the tank and read the controller's display.",
        advice=Advice(
            own=(
                "Write down what was changed or repaired lately.",
                "Time a bucket at the tank and compare it with the meter.",
            ),
            technician=(
                "If the motor takes more at the same speed and lifts the same, turn the shaft by hand once the pump is up: bearings, sand, a bent shaft.",
                "Check every sensor against a hand instrument first; then pump, cable and array in that order.",
            ),
            cautions=(
                beware(
                    "By day the array is live: licensed people isolate, lock, wait until the drive has discharged, and test before touching anything.",
                    "licensed",
                ),
            ),
        ),
        evidence=evidence,
        effect=effect,
        limits=LIMITS,
    )
)
