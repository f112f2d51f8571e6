"""Soiling: dust or droppings take light from the panels, slowly, until rain or a cleaning."""

from dataclasses import dataclass

import numpy as np

from analysis.causes.registry import Advice, CauseFile, beware, register, shifts
from analysis.estimates.effects import Effect, shift
from analysis.plant import Plant


@dataclass(frozen=True)
class SoilingLimits:
    """Log of array power lost. Dust under 3 % is no fault."""

    least: float = 0.05  # below it haze and season hide it
    least_unmeasured: float = 0.06  # no irradiance sensor: the sky's own haze comes on top
    usual: float = 0.12  # half of what is told of stays below (a guess)
    most: float = 0.45  # a third and more of the light: rarely left so long (common practice, no source)


LIMITS = SoilingLimits()


def effect(plant: Plant) -> list[Effect]:
    """Array current lower by one share at all hours; voltage untouched."""
    least = LIMITS.least if "irradiance_w_m2" in plant.has else LIMITS.least_unmeasured
    return [
        Effect(
            None, shift(s=-1.0), least, LIMITS.most, lost=np.full(3, -1.0), loose=0.15, sudden=0.1, group="electric",
            usual=LIMITS.usual,
        )
    ]  # fmt: skip


def evidence(figures: dict[str, float]) -> str:
    """One sentence with the figures."""
    volts = bool(shifts(figures, "av"))
    if "came_back" in figures:
        as_ever = " and with its voltage as ever" if volts else ""
        return (
            f"From one day to the next the array gave again the {100 * figures.get('size', 0.0):.0f} % that it had lost, at all hours{as_ever}, as after rain or a "
            "cleaning."
        )
    return (
        f"At maximum power the array gives {100 * figures.get('size', 0.0):.0f} % less than the sun, measured or that of a clear sky, and its temperature allow, by the same share at "
        f"all hours{', while its voltage is as it should be' if volts else ''}."
    )


register(
    CauseFile(
        "panel-soiling",
        per_year=0.8,
        judged="day",
        check="Look at the panels from the ground: dust, droppings, leaves. Wash them with plain water early in the morning, when they are cool.",
        advice=Advice(
            own=(
                "Wash the panels before sunrise or after sunset with plain water and a soft brush on a long handle.",
                "Cut back what grows over them; note the washing in the site file (kind = panels-washed).",
            ),
            technician=("If washing does not bring the power back, measure each string's current in the same sun.",),
            cautions=(
                beware(
                    "Panels are live whenever light falls on them: no abrasive tools, no walking on them, no water into plugs.",
                    "sunlit",
                    "height",
                    "washing",
                ),
                beware(
                    "Wash no panel that is cracked or whose cable is bare. Cold water on hot glass cracks it. Mind the edge of a roof.",
                    "washing",
                    "height",
                ),
            ),
        ),
        evidence=evidence,
        effect=effect,
        limits=LIMITS,
    )
)
