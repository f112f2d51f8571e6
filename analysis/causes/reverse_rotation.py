"""Reverse rotation: two motor leads exchanged."""

import numpy as np

from analysis.causes.registry import Advice, CauseFile, Levels, register


def levels(kind: str) -> dict[str, Levels]:
    """From the first minute after the leads were touched, or from the first day. A helical rotor lifts nothing and turns light; a
    centrifugal pump lifts little or nothing for more power.
    """
    helical = kind == "helical-rotor"
    common = {
        "water": (12.0, 8.0),
        "above": (0.0, 3.0),
        "probe": (1.0, 0.1),
        "drawn": (0.1, 0.3),
        "pipe": (0.0, 0.3),
        "before": (0.9, 0.4),
        "sun": (-0.6, 0.6),
    }
    load = {
        "flow": (0.0, 0.03) if helical else (0.15, 0.2),
        "torque": (-0.9, 0.5) if helical else (-0.2, 0.4),
        "current": (-0.9, 0.5) if helical else (-0.2, 0.35),
    }
    return {
        "no-water/after work": {**common, **load, "lead": (1.0, 0.1), "rate": (0.7, 0.0)},
        "no-water/no visit told": {**common, **load, "lead": (0.0, 0.1), "rate": (0.3, 0.0)},
        "no-water/sign read": {**common, **load, "lead": (0.5, 0.5), "backwards": (1.0, 0.1), "rate": (0.5, 0.0)},
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
