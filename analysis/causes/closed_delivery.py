"""Closed delivery: the pump works against a shut valve, a frozen or a pinched pipe."""

import numpy as np

from analysis.causes.registry import (
    CENTRIFUGAL,
    HELICAL,
    NO_CLIMBING,
    Advice,
    CauseFile,
    Levels,
    OfKind,
    beware,
    register,
)


def levels(kind: str) -> dict[str, Levels]:
    """No flow, and pressure up: to relief, stall or burst with a helical rotor, whose torque climbs with it; to shut-off with a
    centrifugal pump, which then takes less power than when it lifts. A controller may stop a rotor for its overload within the
    minute, and try again: by the power of such tries a motor that does not turn takes less; its tries press nothing into the pipe.
    """
    helical = kind == "helical-rotor"
    load = (
        {"torque": (0.75, 0.4), "current": (0.7, 0.4), "sun": (-0.15, 0.35)}
        if helical
        else {"idle": (-0.05, 0.15), "idle_current": (-0.05, 0.2), "spare": (-0.05, 0.2)}
    )
    overload = {
        "push": (0.6, 0.2), "attempts": (0.2, 0.2), "fed": (0.12, 0.1), "code": (0.6, 0.5), "volts": (1.2, 0.12), "room": (1.12, 0.1), "still": (1.0, 0.3), "vain": (0.7, 0.45),
        "current": (1.3, 0.4), "onset": (0.2, 0.4), "stood": (0.7, 0.8), "pressed": (1.0, 0.15), "spun": (1.0, 0.2), "rate": (0.5, 0.0),
    }  # fmt: skip
    short = overload | {
        "push": (0.1, 0.1), "fed": (0.015, 0.02), "code": (0.8, 0.3), "room": (1.2, 0.1), "volts": (1.25, 0.12), "still": (0.8, 0.3), "current": (0.4, 0.4), "rate": (0.1, 0.0),
    }  # fmt: skip
    return ({"not-turning/overload": overload, "not-turning/short tries": short} if helical else {}) | {
        "no-water": {
            "flow": (0.01, 0.05), "onset": (0.5, 0.5), "ran": (1.6, 1.7), "fell": (0.05, 0.35) if helical else (-0.35, 0.25), "water": (12.0, 8.0), "lead": (0.0, 0.15), "backwards": (0.0, 0.1), "probe": (1.0, 0.1),
            "before": (1.0, 0.1), "drawn": (0.0, 0.25), "pipe": (20.0, 20.0),
            "above": (60.0, 45.0) if helical else (25.0, 10.0),
            "handled": (0.1, 0.35), "revived": (0.0, 0.15), "part": (1.0, 0.15),
            **load,
        }
    }  # fmt: skip


def evidence(figures: dict[str, float]) -> str:
    """One sentence with the figures."""
    load = ""
    if "torque" in figures:
        load = f"; its load stands at {100 * np.exp(figures['torque']):.0f} % of what this speed should need"
    gauge = (
        f"; the wellhead's gauge shows {figures['above']:.0f} m of water above the outlet" if "above" in figures else ""
    )
    if "attempts" in figures:
        locked = (
            "; between its tries the wellhead's gauge stands above all that an open pipe could need"
            if figures.get("pressed", 0.0) > 0.5
            else ""
        )
        return f"The pump starts, finds too much load and gives up, again and again{locked}."
    return f"The pump turns and {100 * figures.get('flow', 0.0):.0f} % of the expected flow arrives{load}{gauge}."


register(
    CauseFile(
        "closed-delivery",
        per_year=0.12,
        judged="minute",
        check="Switch the pump off at its own switch, then open every valve between wellhead and tank.",
        advice=Advice(
            own=(
                "Switch the pump off at its own switch: the logger cannot stop it.",
                "With the pump off and its gauge fallen, open every valve up to the tank; look at the tank's float valve; in frost, thaw the pipe with warm water, never with a flame.",
            ),
            technician=("Look at the gauge, for a pinched or crushed pipe, and for a float valve that sticks shut.",),
            cautions=(
                beware("Let the pressure down slowly before opening anything.", "pressure"),
                NO_CLIMBING,
            ),
        ),
        of_kind={
            HELICAL: OfKind(
                check="Keep away from pipe, hose and gauge: the pressure rises until something bursts. Switch the pump off at its own switch, wait "
                "until the gauge has fallen, then open every valve between wellhead and tank before it runs again.",
                own=("Stand clear of pipe and hose when it runs again.",),
                technician=(
                    "Test the relief valve; look at riser, couplings and stator, which have borne more than they were made for.",
                ),
                cautions=(
                    beware(
                        "A helical rotor raises the pressure until something bursts: keep away from hose, couplings and gauge until it stands.",
                        "bursts",
                    ),
                ),
            ),
            CENTRIFUGAL: OfKind(
                check="Switch the pump off at its own switch: the water shut in is heated. Then open every valve between wellhead and tank.",
                technician=(
                    "Look at bearings and stages if it turned shut in for hours: the water within it may have boiled.",
                ),
                cautions=(beware("Impellers heat the water that is shut in: what comes first may scald.", "scalds"),),
            ),
        },
        evidence=evidence,
        levels=levels,
    )
)
