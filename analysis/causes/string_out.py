"""String out: one or more strings or modules no longer contribute."""

from dataclasses import dataclass

import numpy as np

from analysis.causes.registry import Advice, CauseFile, register
from analysis.estimates.effects import Effect, shift
from analysis.estimates.own_light import sides_apart
from analysis.plant import Plant


@dataclass(frozen=True)
class StringOutLimits:
    """How many strings and modules are thought of."""

    most_strings: int = 3
    most_modules: int = 3
    believed: float = 0.06


LIMITS = StringOutLimits()


def effect(plant: Plant) -> list[Effect]:
    """A whole fraction of the current (strings, parallel), or of the voltage (modules bypassed, series), at once and at all hours."""
    array = plant.facts.array
    found = []
    for out in range(1, min(LIMITS.most_strings, array.strings - 1) + 1):
        lost = -float(np.log(1 - out / array.strings))
        found.append(_form(shift(s=-lost), lost, 1.0 / out))
    for out in (1 / 3, 2 / 3, *range(1, min(LIMITS.most_modules, array.modules_in_series - 1) + 1)):
        lost = -float(np.log(1 - out / array.modules_in_series))
        rate = (0.5 if array.strings == 1 else 0.05) / max(out, 1.0)
        light = 0.0 if sides_apart(plant) else -lost
        found.append(_form(shift(s=light, av=-lost), lost, rate))
    return found


def _form(direction: np.ndarray, lost: float, rate: float) -> Effect:
    return Effect(
        None, direction, 0.75, 1.25, lost=np.full(3, -lost), loose=LIMITS.believed, sudden=0.95, rate=rate,
        fixed=(1.0,), group="electric",
    )  # fmt: skip


def evidence(figures: dict[str, float]) -> str:
    """One sentence with the figures."""
    volts = figures.get("shift_av1", 0.0)
    side = "its voltage fell with it" if volts < -0.01 else "its voltage did not fall"
    return (
        f"From one day to the next the array gives {100 * figures.get('size', 0.0):.0f} % less at maximum power at all hours, as much as whole "
        f"strings or modules of it; {side}."
    )


register(
    CauseFile(
        "string-out",
        per_year=0.15,
        judged="hour",
        check="Look without touching for a plug pulled apart, a burnt connector, a cracked or taped panel, a blown string fuse.",
        advice=Advice(
            own=("Look, without touching, for plugs pulled apart, burnt spots, cables bitten through, cracked glass.",),
            technician=(
                "Measure each string's current with a clamp in steady sun; then each module's voltage.",
                "Change a burnt plug with its counterpart of the same make; look at bypass diodes.",
            ),
            cautions=(
                "Never pull a plug under load: direct current draws an arc. Switch off and isolate first.",
                "String voltages can kill; work on them is for licensed people.",
            ),
        ),
        evidence=evidence,
        effect=effect,
        limits=LIMITS,
    )
)
