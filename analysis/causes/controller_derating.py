"""Derating: the controller holds power back, for heat most of all."""

from dataclasses import dataclass

import numpy as np

from analysis.causes.registry import Advice, CauseFile, beware, register
from analysis.estimates.effects import Effect, shift
from analysis.plant import Plant


@dataclass(frozen=True)
class DeratingLimits:
    """Log of the power at which the pump stands while the sun would give more."""

    least: float = 0.07
    least_unmeasured: float = 0.08
    most: float = 1.5
    by_heat: float = 0.6  # share of cases (a guess); the rest hold one and the same power all day


LIMITS = DeratingLimits()


def effect(plant: Plant) -> list[Effect]:
    """The pump stands at a power below its own ceiling while the array's voltage says that it could give more, and the less the hotter.

    Heat holds back more and more through the day; a limit that the controller keeps for another reason is flat. So is one set by
    hand: diagnosis.py weighs that against it, as nothing wrong.
    """
    least = LIMITS.least if "irradiance_w_m2" in plant.has else LIMITS.least_unmeasured
    slower = 0.8 if plant.helical else 1.0 / 3.0  # affinity laws: power by speed, or by its cube
    return [
        Effect(
            None, shift(cap=-1.0, cv=uneven, cn=-slower), least, LIMITS.most, lost=np.array([0.0, -0.3, -0.9]), loose=0.5,
            sudden=0.6, rate=rate, group="held",
        )
        for uneven, rate in ((-0.4, LIMITS.by_heat), (0.0, 1.0 - LIMITS.by_heat))
    ]  # fmt: skip


def evidence(figures: dict[str, float]) -> str:
    """One sentence with the figures."""
    return (
        f"With sun to spare the pump stands at a power {100 * (1 - np.exp(-figures.get('amount', 0.0))):.0f} % below its own ceiling: the controller "
        "holds it back."
    )


register(
    CauseFile(
        "controller-derating",
        per_year=0.2,
        judged="day",
        check="Look whether the controller's box stands in the sun, whether its fan turns and its fins are free of dust and nests; shade it.",
        advice=Advice(
            own=(
                "Shade the controller's box and clear its vents and fins from outside, without opening it.",
                "See whether someone turned the speed down.",
            ),
            technician=(
                "Read the controller's own temperature and limits; look at its fan and its heat sink's paste.",
                "Look for a limit set too low after the last service.",
            ),
            cautions=(
                beware("Fins of a controller that is hot burn the hand; clear them early, when they are cool.", "hot"),
                beware(
                    "Inside the box array voltage stands whenever it is light: licensed people only, isolator open.",
                    "licensed",
                ),
            ),
        ),
        evidence=evidence,
        effect=effect,
        limits=LIMITS,
    )
)
