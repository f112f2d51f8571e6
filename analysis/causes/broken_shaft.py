"""Broken shaft: shaft or coupling broken, or the riser parted; the motor turns light and lifts nothing."""

import numpy as np

from analysis.causes.registry import Advice, CauseFile, Levels, beware, register


def levels(kind: str) -> dict[str, Levels]:
    """Light at once, from one minute to the next, with the intake under water: less than the pump's own friction, for that hangs
    on the shaft; what is left is the motor's, some 5 to 15 % of its rating (common practice, no source).

    A riser that parts, under load, leaves the pump whole: a rotor then turns with no lift upon it, and the well, which gets its water
    back, stands as at rest. It does not mend by itself, and lasts until somebody lifts the pump; a well that gave out comes back, or
    is seen to.
    """
    helical = kind == "helical-rotor"
    common = {
        "flow": (0.0, 0.03), "onset": (0.6, 0.5), "ran": (3.5, 2.5), "above": (0.0, 1.5), "lead": (0.0, 0.15), "backwards": (0.0, 0.1), "probe": (1.0, 0.08),
        "before": (1.0, 0.08), "pipe": (0.0, 0.3), "handled": (0.1, 0.35), "revived": (0.0, 0.15), "water": (12.0, 8.0), "part": (1.0, 0.15),
    }  # fmt: skip
    shaft = common | {
        "fell": (-1.4, 0.8), "drawn": (0.0, 0.25), "idle": (-1.6, 0.7), "idle_current": (-1.3, 0.7) if helical else (-1.0, 0.6),
        "spare": (-0.8, 0.5) if helical else (-1.5, 0.45),
    }  # fmt: skip
    if not helical:
        return {"no-water/shaft": shaft}
    parted = common | {
        "fell": (-1.2, 0.4), "onset": (0.95, 0.25), "drawn": (0.4, 0.4), "idle": (0.0, 0.2), "idle_current": (0.05, 0.25), "spare": (0.1, 0.25),
    }  # fmt: skip
    return {"no-water/shaft": shaft | {"rate": (0.85, 0.0)}, "no-water/riser parted": parted | {"rate": (0.15, 0.0)}}


def evidence(figures: dict[str, float]) -> str:
    """One sentence with the figures."""
    if "torque" in figures:
        light = f"the motor turns light, at {100 * np.exp(figures['torque']):.0f} % of its usual load,"
    elif "current" in figures:
        light = f"the motor turns light, with {100 * np.exp(figures['current']):.0f} % of its usual current,"
    elif "sun" in figures:
        light = f"the pump takes {100 * np.exp(figures['sun']):.0f} % of the power that the sun offers"
    else:
        light = "the motor turns on"
    water = figures.get("water")
    if water is not None and water > 0.0:
        covered = f", with the water {water:.1f} m over the intake"
    else:
        covered = ", while the low-level probe says wet" if figures.get("probe", 0.0) > 0.5 else ""
    return f"From one minute to the next {light} and nothing is lifted{covered}."


register(
    CauseFile(
        "broken-shaft",
        per_year=0.05,
        judged="minute",
        check="Switch the pump off at its own switch; see from beside the well whether riser, cable and rope hang as they did.",
        advice=Advice(
            own=(
                "Switch the pump off at its own switch and leave it off.",
                "See whether riser, cable and safety rope hang as they did.",
            ),
            technician=("Lift the pump: look at coupling, shaft, rotor or impellers, and the riser's lowest joint.",),
            cautions=(
                beware(
                    "If the riser has parted, the pump hangs on its rope or cable alone: nobody leans over the well, lift with a rig.",
                    "hangs",
                ),
                beware(
                    "Isolate and lock the array before touching cables: by day it is live, and the drive keeps a charge for minutes.",
                    "licensed",
                ),
                beware(
                    "What goes back into a well that people drink from is disinfected, and the well flushed, as the local rules ask.",
                    "water",
                ),
            ),
        ),
        evidence=evidence,
        levels=levels,
    )
)
