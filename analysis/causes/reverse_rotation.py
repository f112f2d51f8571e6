"""Reverse rotation: two motor leads exchanged."""

import numpy as np

from analysis.causes.registry import Advice, CauseFile, Levels, register


def levels(kind: str) -> dict[str, Levels]:
    """From the first minute after the leads were touched, or from the first day, and never while it runs. A helical rotor pushes
    against its shut check valve: it turns as light as with no lift. A centrifugal impeller still throws water outwards, but makes
    about half of its head for more power than at a shut valve (common practice, no source), which most wells' lift is above.
    """
    helical = kind == "helical-rotor"
    common = {
        "water": (12.0, 8.0),
        "above": (0.0, 3.0),
        "probe": (1.0, 0.1),
        "drawn": (0.1, 0.3),
        "pipe": (0.0, 0.3),
        "before": (0.9, 0.4),
        "ran": (1.5, 1.5),
    }
    load = {
        "flow": (0.0, 0.03) if helical else (0.02, 0.06),
        "idle": (0.1, 0.25) if helical else (0.3, 0.35),
        "idle_current": (0.1, 0.3) if helical else (0.25, 0.35),
        "spare": (-0.1, 0.4) if helical else (0.05, 0.35),
    }
    return {
        "no-water/after work": {
            **common,
            **load,
            "backwards": (0.0, 0.1),
            "lead": (1.0, 0.1),
            "onset": (0.3, 0.5),
            "rate": (0.7, 0.0),
        },
        "no-water/no visit told": {
            **common,
            **load,
            "backwards": (0.0, 0.1),
            "lead": (0.0, 0.1),
            "onset": (0.05, 0.3),
            "rate": (0.25, 0.0),
        },
        "no-water/sign read": {
            **common,
            **load,
            "lead": (0.5, 0.5),
            "backwards": (1.0, 0.1),
            "onset": (0.2, 0.4),
            "rate": (0.05, 0.0),
        },
    }


def evidence(figures: dict[str, float]) -> str:
    """One sentence with the figures."""
    load = (
        f" at {100 * np.exp(figures['torque']):.0f} % of the load that this speed should need"
        if "torque" in figures
        else ""
    )
    work = " since work on the leads" if figures.get("lead", 0.0) > 0.5 else ""
    return f"The pump turns{load} and delivers {100 * figures.get('flow', 0.0):.0f} % of the expected flow{work}."


register(
    CauseFile(
        "reverse-rotation",
        per_year=0.05,
        judged="minute",
        check="Ask whether anyone has touched the motor's leads since it last pumped well.",
        advice=Advice(
            own=("Ask who last worked on the leads, and switch the pump off until a technician has come.",),
            technician=(
                "With the array isolated and locked, exchange two of the three motor leads; start and compare flow and load.",
            ),
            cautions=("The leads carry voltages that kill: isolate, lock, test; licensed people only.",),
        ),
        evidence=evidence,
        levels=levels,
    )
)
