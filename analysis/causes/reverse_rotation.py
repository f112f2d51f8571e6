"""Reverse rotation: two motor leads exchanged."""

from dataclasses import dataclass

import numpy as np

from analysis.causes.registry import CENTRIFUGAL, HELICAL, Advice, CauseFile, Levels, OfKind, beware, register
from analysis.estimates.bench import bench_of
from analysis.estimates.effects import Effect, shift
from analysis.plant import Plant


@dataclass(frozen=True)
class ReverseRotationLimits:
    """`least`, `most`: log of the flow lost at given power, where the impellers still lift; the rest per unit of it."""

    least: float = 0.35
    most: float = 2.5
    usual: float = 0.8  # half of all stay below (a guess)
    power: float = 0.25  # log of power at the same speed (common practice, no source)
    power_std: float = 0.15
    least_at_speed: float = 0.4


LIMITS = ReverseRotationLimits()


def effect(plant: Plant) -> list[Effect]:
    """Impellers that turn backwards where the lift is small enough: about half the flow or less, for more power at the same speed.

    It begins with a start, after somebody was at the leads. A helical rotor that turns backwards lifts nothing.
    """
    if plant.helical:
        return []
    ones = np.ones(3)
    at_speed = np.maximum(1.0 - LIMITS.power * bench_of(plant).flow_per_power, LIMITS.least_at_speed)
    return [
        Effect(
            None,
            shift(q=-ones, n=-at_speed, t=LIMITS.power, i=LIMITS.power),
            LIMITS.least,
            LIMITS.most,
            lost=-ones,
            loose=0.3,
            sudden=0.98,
            blur=shift(t=LIMITS.power_std, i=LIMITS.power_std),
            by_work=True,
            usual=LIMITS.usual,
        )
    ]


def levels(kind: str) -> dict[str, Levels]:
    """From the first minute after the leads were touched, or from the first day, and never while it runs. A helical rotor pushes
    against its shut check valve: it turns as light as with no lift. A centrifugal impeller still throws water outwards, but makes
    about half of its head for more power than at a shut valve (common practice, no source), which most wells' lift is above; where the
    lift is small it brings a part in full sun, and stops as the sun sinks.
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
        "revived": (0.0, 0.15),
        "handled": (0.6, 0.45),
        "part": (1.0, 0.15),
    }
    load = {
        "flow": (0.0, 0.03) if helical else (0.02, 0.06),
        "idle": (0.1, 0.25) if helical else (0.3, 0.35),
        "idle_current": (0.1, 0.3) if helical else (0.25, 0.35),
        "spare": (-0.1, 0.4) if helical else (0.05, 0.35),
    }
    after_work = common | load | {"backwards": (0.0, 0.1), "lead": (1.0, 0.1)}
    nothing = after_work | {"onset": (0.3, 0.5), "rate": (0.7 if helical else 0.4, 0.0)}
    a_part = after_work | {
        "onset": (0.6, 0.5), "before": (0.3, 0.3), "revived": (0.6, 0.5), "flow": (0.05, 0.07), "rate": (0.3, 0.0),
    }  # fmt: skip
    return ({} if helical else {"no-water/after work, a part in full sun": a_part}) | {
        "no-water/after work": nothing,
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
    if "flow" not in figures:
        return (
            f"From one day to the next the pump delivers {100 * figures.get('size', 0.0):.0f} % less at the same power, at all powers about "
            "the same share, as with impellers that turn backwards."
        )
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
        check="Switch the pump off at its own switch and ask whether anyone has touched the motor's leads since it last pumped well.",
        advice=Advice(
            own=("Ask who last worked on the leads, and switch the pump off until a technician has come.",),
            technician=(
                "With the array isolated and locked and the drive discharged, exchange {two leads}; start and compare flow and load.",
            ),
            cautions=(
                beware(
                    "The leads carry voltages that kill, by day from the array and for minutes after it is isolated: licensed people isolate, lock, wait, test.",
                    "licensed",
                ),
            ),
        ),
        of_kind={
            HELICAL: OfKind(
                cautions=(
                    beware(
                        "A helical rotor turned backwards lifts nothing, runs dry and may unscrew what hangs on it: leave it off.",
                        "unscrews",
                    ),
                ),
            ),
            CENTRIFUGAL: OfKind(
                cautions=(
                    beware(
                        "Impellers turned backwards still lift a little, so water at the tank proves nothing; they wear their bearings meanwhile.",
                        "proves-nothing",
                    ),
                ),
            ),
        },
        evidence=evidence,
        effect=effect,
        levels=levels,
        limits=LIMITS,
    )
)
