"""A pump that does not start because too few modules are left to start it: the array at rest says so by its voltage.

Flow: symptoms (measures of `not-turning`) -> HERE -> causes/string_out.py.
Modules that are passed by or cut out of the only string take their whole part of the voltage with no load, at any light, while dusk takes a
third of it only at a thousandth of the light (at_rest.py). Never: an array that the pump draws from.
"""

from analysis.causes.registry import Levels

AT_REST: Levels = {
    "volts": (0.65, 0.12), "current": (0.0, 0.1), "fed": (0.0, 0.02), "push": (0.02, 0.04), "code": (0.3, 0.45), "attempts": (0.05, 0.15),
    "vain": (0.0, 0.3), "room": (0.6, 0.15), "still": (0.9, 0.3), "onset": (0.7, 0.46), "stood": (1.0, 1.0), "pressed": (0.0, 0.05),
    "spun": (0.0, 0.2), "sprang": (0.9, 0.25), "again": (0.9, 0.7), "rate": (0.1, 0.0),
}  # fmt: skip
"""Over the voltage at maximum power: a third to a half of the modules gone. One string in ten that fails leaves a pump standing so: a site with
several strings goes on with the others (a guess)."""


def levels(_kind: str) -> dict[str, Levels]:
    """By symptom."""
    return {"not-turning/too few volts": AT_REST}


def sentence(figures: dict[str, float]) -> str:
    """One sentence with the figures."""
    return (
        f"For {figures.get('hours', 0.0):.1f} h the sun would have run the pump and it did not run: with no load upon it the array showed "
        f"{100 * figures.get('volts', 0.0):.0f} % of its voltage at maximum power, where a whole one shows more than that."
    )
