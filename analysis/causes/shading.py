"""Shading: array power lost at the same sun positions day after day."""

from dataclasses import dataclass
from functools import cache

import numpy as np

from analysis.causes.registry import Advice, CauseFile, beware, register
from analysis.estimates.effects import Effect, shift
from analysis.estimates.vector import HOURS
from analysis.plant import Plant


@dataclass(frozen=True)
class ShadingLimits:
    """Log of power lost in the hours shaded. What has always stood there was learnt and is no fault."""

    least: float = 0.12
    most: float = 3.0
    longest_h: int = 5
    edge: float = 0.4  # of the loss, per unit: hours beside, of which a part is shaded
    bypassed: float = 0.08  # log of the voltage, per unit: modules in the shade are bypassed


LIMITS = ShadingLimits()
SUN_SHARE = np.cos((np.arange(HOURS) + 0.5 - HOURS / 2) / (HOURS / 2) * np.pi / 2)
"""Rough share of the day's energy by hour of the sun's way: a half sine."""


def effect(_plant: Plant) -> list[Effect]:
    """Power lower in some hours of the sun's way, a run of them, and untouched in the others; or in those beside them in part too."""
    return list(_forms())


@cache
def _forms() -> tuple[Effect, ...]:
    """The same at every site."""
    found = []
    energy = SUN_SHARE / SUN_SHARE.sum()
    for hours in range(1, LIMITS.longest_h + 1):
        for first in range(HOURS - hours + 1):
            shaded = np.zeros(HOURS)
            shaded[first : first + hours] = -1.0
            beside = np.zeros(HOURS)
            beside[max(first - 1, 0) : first + hours + 1] = LIMITS.edge
            beside[first : first + hours] = 0.0
            share = float(energy[first : first + hours].sum())
            for edge in (0.0, 1.0):
                found.append(
                    Effect(
                        None,
                        shift(s=shaded),
                        LIMITS.least,
                        LIMITS.most,
                        lost=np.full(3, -share),
                        loose=0.5,
                        blur=shift(av=np.array([1.0, 0.4]) * LIMITS.bypassed, s=edge * beside),
                        sudden=0.6,
                        rate=0.5 / (hours + 1) / 12,
                        group="electric",
                    )  # fmt: skip
                )
    return tuple(found)


def evidence(figures: dict[str, float]) -> str:
    """One sentence with the figures."""
    return (
        f"The array loses power at the same hours of the sun's way each day and is sound in the others; over the day "
        f"{100 * figures.get('size', 0.0):.0f} % of its energy."
    )


register(
    CauseFile(
        "shading",
        per_year=0.15,
        judged="day",
        check="Stand at the array at the hours named and see what throws the shadow: a tree, a mast, a new wall, a parked vehicle.",
        advice=Advice(
            own=(
                "Look for the shadow at the hours named; cut back what can be reached from the ground, or move what stands there.",
            ),
            technician=("If nothing shades it, look for one string that gives out in the heat or at low sun.",),
            cautions=(
                beware(
                    "Felling and pruning near panels and cables: mind what falls, and never step on a panel.",
                    "felling",
                    "height",
                ),
                beware("Strings are live whenever light falls on them: licensed people only.", "sunlit"),
            ),
        ),
        evidence=evidence,
        effect=effect,
        limits=LIMITS,
    )
)
