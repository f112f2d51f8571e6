"""Clogging: strainer, pump passages or delivery pipe obstructed."""

from dataclasses import dataclass

import numpy as np

from analysis.causes.registry import Advice, CauseFile, register
from analysis.estimates.bench import bench_of
from analysis.estimates.effects import Effect, head_shift, shift
from analysis.plant import Plant


@dataclass(frozen=True)
class CloggingLimits:
    """`least`, `most`: log of the flow lost at high power and given power."""

    least: float = 0.04
    most: float = 1.2
    usual: float = 0.25  # half of all stay below (a guess)


LIMITS = CloggingLimits()


def effect(plant: Plant) -> list[Effect]:
    """A head that grows with the square of the flow: much at high sun, little at low.

    On the delivery side the wellhead's gauge rises by it (and the engine then knows of it); at the intake the gauge does not.
    """
    bench = bench_of(plant)
    square = bench.relative_flow() ** 2
    metres = 1.0 / max(
        -float(bench.flow_per_head_at_power[-1]), 1e-3
    )  # head that costs a unit of log flow at high power
    extra = metres * square
    lost = bench.flow_per_head_at_power * extra
    gauge = "discharge_pressure_bar" in plant.has
    intake = Effect(
        "intake",
        shift(**head_shift(plant, bench, extra, False)),
        LIMITS.least,
        LIMITS.most,
        lost=lost,
        loose=0.2,
        rate=0.5,
        usual=LIMITS.usual,
    )
    delivery = Effect(
        "delivery",
        shift(**head_shift(plant, bench, extra, gauge), p=extra if gauge else np.zeros(3)),
        LIMITS.least,
        LIMITS.most,
        lost=lost,
        loose=0.2,
        rate=0.5,
        usual=LIMITS.usual,
    )
    if gauge:
        return [intake, delivery]
    return [Effect(None, intake.direction, LIMITS.least, LIMITS.most, lost=lost, loose=0.2, usual=LIMITS.usual)]


def evidence(figures: dict[str, float]) -> str:
    """One sentence with the figures."""
    gauge = figures.get("shift_p2")
    where = (
        "" if gauge is None or abs(gauge) < 1.0 else f", and the wellhead pressure has risen by {gauge:.1f} m of water"
    )
    return (
        f"The pump delivers {100 * figures.get('size', 0.0):.0f} % less at the same power, and the more the faster it runs, as against an "
        f"obstruction whose loss grows with the square of the flow{where}."
    )


register(
    CauseFile(
        "clogging",
        per_year=0.25,
        judged="day",
        check="See that every valve between wellhead and tank is fully open and the tank's inlet and any filter are clear; "
        "a filter that can be opened without tools is the first to clean.",
        advice=Advice(
            own=(
                "Open every valve between wellhead and tank fully; look at the tank's inlet and its float valve.",
                "Clean a filter at the wellhead or tank, with the pump switched off.",
            ),
            technician=(
                "Read the wellhead pressure while running: high means the pipe behind it, normal means strainer or pump.",
                "Lift the pump and clean strainer and passages; look for iron bacteria, scale or sand.",
                "Treat the well if scale or slime comes back; flush before anyone drinks.",
            ),
            cautions=(
                "Chemicals that dissolve scale are not for drinking water until flushed and tested.",
                "A pipe may be under pressure: let it down slowly before opening a filter.",
                "Isolate and lock the array before lifting the pump.",
            ),
        ),
        evidence=evidence,
        effect=effect,
        limits=LIMITS,
    )
)
