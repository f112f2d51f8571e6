"""Leak: water is pumped but not delivered, through a hole, a joint or the check valve."""

from dataclasses import dataclass

import numpy as np

from analysis.causes.registry import CENTRIFUGAL, HELICAL, Advice, CauseFile, Levels, OfKind, beware, register, shifts
from analysis.estimates.bench import LOST_AT_FULL, bench_of
from analysis.estimates.effects import Effect, current_of, relieved, shift
from analysis.estimates.vector import BANDS
from analysis.plant import Plant
from analysis.rows import Floats


@dataclass(frozen=True)
class RiserLeakLimits:
    """Share of the flow lost; and how much of the riser a column with a hole loses overnight."""

    least: float = 0.04
    most: float = 0.8
    usual: float = 0.2  # half of all stay below (a guess)
    beyond: float = 0.5  # of the riser: it lies beyond the hole, which may be anywhere
    drained: float = 0.6  # of the riser; the hole may lie anywhere along it
    deep_open: float = 1.0  # risers for each unit of flow lost that the first water may be off by, for that
    high: float = 0.2  # of leaks below the wellhead: near the top, where it presses least, so that hardly any drains but all that stands above
    high_drained: float = 0.1
    high_open: float = 0.2
    drained_for: float = 0.15  # the share lost at which it surely has drained by morning
    sudden: float = 0.65  # a joint or a fitting lets go; a hole rusts through and grows (a guess)
    holds: float = (
        0.15  # of leaks: at the wellhead or behind it, so that the column stays; a riser has many more joints (a guess)
    )
    eaten: float = (
        0.2  # of leaks below it: low sun lifts hardly more than runs out, and filling takes an hour (a guess)
    )
    eaten_open: float = 12.0  # then, risers for each unit of flow lost that the first water may be short of
    valve_above: float = 0.25  # of all others: a check valve at the wellhead holds what the gauge reads (a guess)
    fallen_for: float = 0.15  # the share lost at which the gauge surely has fallen by morning
    falls_back: float = 0.5  # of holes in a riser: what runs out falls back into the well, and not into a dry layer or out above ground (a guess)
    load_open: float = 0.03  # log of torque for each unit of flow lost: against a little less head (a guess)
    load_open_impellers: float = (
        0.06  # likewise: how much they move more by, and take for it, hangs on the slope of two curves (a guess)
    )
    check_valve_least: float = 0.45
    check_valve_centrifugal: float = 1.0  # a centrifugal pump's first water depends on where lifting begins, too


LIMITS = RiserLeakLimits()


def effect(plant: Plant) -> list[Effect]:
    """A flow that runs out, about constant; while running it looks like wear.

    The column drains overnight, so first water comes late by what refills it and the wellhead's gauge falls to nothing, unless the
    hole lies near the top. What runs out within the casing falls back into the well; elsewhere it does not, and the well is drawn down for
    more than is metered. While low sun lifts hardly more than runs out, much more than a riser is pumped before it is full. A check valve
    alone costs the first water and nothing else.
    """
    bench = bench_of(plant)
    away, back = (
        relieved(plant, bench, LOST_AT_FULL * float(bench.flow_m3_h[-1]), of_well=of_well, of_riser=LIMITS.beyond)
        for of_well in (0.0, 1.0)
    )
    deeper = np.full(BANDS, plant.facts.well.drawdown_linear_m_per_m3_h * bench.flow_m3_h[-1])
    above = LIMITS.valve_above if "discharge_pressure_bar" in plant.has else 1.0
    found = []
    for part, first, stand, late, rate in _columns(above):
        column, back_too = shift(first=first, stand=stand), LIMITS.falls_back if part else 0.0
        found.append(_hole(plant, part, away, column + shift(l=deeper), late, rate * (1.0 - back_too)))
        if back_too:
            found.append(_hole(plant, part, back, column, late, rate * back_too))
    return [*found, *(_valve(plant, stand, 0.3 * often) for stand, often in _gauges(above))]


def _gauges(above: float) -> list[tuple[float, float]]:
    """What the wellhead's gauge at rest loses for each unit of flow lost, and how often; `above`: share of columns whose check valve holds it."""
    return [(stand, often) for stand, often in ((0.0, above), (1.0 / LIMITS.fallen_for, 1.0 - above)) if often > 0.0]


def _columns(above: float) -> list[tuple[str | None, float, float, float, float]]:
    """Where a hole may be: part, what drains and what the gauge loses a unit of flow lost, how far the first is open, share of all leaks."""
    drained = LIMITS.drained / LIMITS.drained_for
    drains = 1.0 - LIMITS.holds
    high, high_open = LIMITS.high_drained / LIMITS.drained_for, LIMITS.high_open / LIMITS.drained_for
    found: list[tuple[str | None, float, float, float, float]] = [(None, 0.0, 0.0, 0.0, LIMITS.holds)]
    for stand, often in _gauges(above):
        deep = drains * often * (1.0 - LIMITS.high)
        found.append(("wall", drained, stand, LIMITS.deep_open, deep * (1.0 - LIMITS.eaten)))
        found.append(("wall", drained, stand, LIMITS.eaten_open, deep * LIMITS.eaten))
        found.append(("wall", high, stand, high_open, drains * often * LIMITS.high))
    return found


def _hole(
    plant: Plant, part: str | None, lighter: Floats, beside: Floats, late: float, rate: float
) -> Effect:  # fmt: skip
    bench = bench_of(plant)
    out = bench.constant_loss()
    load_open = LIMITS.load_open if plant.helical else LIMITS.load_open_impellers
    return Effect(
        part,
        shift(q=out, n=out + bench.flow_per_power * lighter, t=lighter, i=current_of(plant, lighter)) + beside,
        LIMITS.least,
        LIMITS.most,
        lost=out,
        loose=0.25,
        curved=True,
        sudden=LIMITS.sudden,
        blur=shift(first=late),
        unknowns=(shift(t=load_open, i=current_of(plant, np.full(BANDS, load_open))),),
        rate=rate,
        usual=LIMITS.usual,
    )


def _valve(plant: Plant, stand: float, rate: float) -> Effect:
    return Effect(
        "check-valve",
        shift(first=1.0, stand=stand),
        LIMITS.check_valve_least if plant.helical else LIMITS.check_valve_centrifugal,
        1.5,
        lost=np.full(BANDS, -0.03),
        loose=0.3,
        sudden=0.6,
        rate=rate,
    )


def levels(_kind: str) -> dict[str, Levels]:
    """A large hole: the pump is loaded and draws from the well as ever, and nothing arrives."""
    return {
        "no-water/great leak": {
            "flow": (0.03, 0.05), "torque": (-0.03, 0.1), "current": (-0.03, 0.12), "sun": (-0.05, 0.25), "fell": (0.0, 0.15), "onset": (0.6, 0.5), "ran": (1.5, 1.5), "above": (1.0, 3.0), "water": (9.0, 8.0),
            "drawn": (1.2, 0.4), "pipe": (0.05, 0.15), "probe": (1.0, 0.2), "handled": (0.1, 0.35), "revived": (0.5, 0.5), "lead": (0.0, 0.2), "backwards": (0.0, 0.1), "before": (0.7, 0.35), "part": (0.5, 0.3),
            "rate": (0.35, 0.0),
        }
    }  # fmt: skip


SHORT_LEAST, FALLEN_LEAST = 0.15, 0.3
"""Of the riser, that the first water is short by, and of the gauge at rest, that it has fallen by: less is no sign of a column that drains (a quarter
of what a hole half way down drains)."""


def evidence(figures: dict[str, float]) -> str:
    """One sentence with the figures; of the column at rest only what speaks for it."""
    lost = 100 * figures.get("size", 0.0)
    missing = f"{lost:.0f} % of the water that the pump should deliver at this power does not arrive"
    if lost < 0.5:
        missing = "The pump delivers what it should at this power, but the column does not stand"
    signs = []
    if (short := figures.get("shift_first", 0.0)) >= SHORT_LEAST:
        signs.append(f"the first water of the day is short by {short:.1f} volumes of the riser")
    if figures.get("shift_stand", 0.0) >= FALLEN_LEAST:
        signs.append("the pressure at the wellhead falls at rest")
    what, by_band = ("speeds", shifts(figures, "n")) if shifts(figures, "n") else ("powers", shifts(figures, "q"))
    seen = len(by_band) > 1 and by_band[0] < by_band[-1]  # a like amount is the larger share of a small flow
    even = f", about the same amount at all {what}" if seen and "flow" not in figures and lost >= 0.5 else ""
    return f"{missing}{even}{'; ' + ' and '.join(signs) if signs else ''}."


def part_told(part: str | None, figures: dict[str, float]) -> str | None:
    """The part, unless nothing that was seen of the column at rest speaks for it."""
    drains = figures.get("shift_first", 0.0) >= SHORT_LEAST or figures.get("shift_stand", 0.0) >= FALLEN_LEAST
    return part if drains else None


register(
    CauseFile(
        "riser-leak",
        per_year=0.2,  # as a worn pump, and as an obstruction: no survey parts the three (a guess, weighed on simulated seasons)
        judged="day",
        check="Listen at the wellhead, its cover on, with the pump running and just after it stops: water falling back inside is a hole or a loose "
        "joint in the riser. Walk along the pipe to the tank and look for wet ground.",
        advice=Advice(
            own=(
                "Walk along the buried pipe and look for wet ground, green patches, the sound of water.",
                "Listen at the wellhead while the pump runs and for a minute after it stops.",
                "Time a bucket at the tank and compare with the meter.",
            ),
            technician=(
                "Lift the riser joint by joint and look for the hole; renew the check valve if it does not hold.",
            ),
            cautions=(
                beware(
                    "Do not lean over an open well, and cover it again: a tool that falls in blocks it.",
                    "open-well",
                    "water",
                ),
                beware(
                    "Lifting the riser is heavy work: rig, gloves, two people; isolate and lock the array first.",
                    "licensed",
                ),
                beware(
                    "A column that runs back turns the pump, which then feeds its own leads: wait until it is still before touching them.",
                    "licensed",
                ),
                beware(
                    "Dirt is drawn in where water runs out: have drinking water tested once it is mended, and disinfect what was lifted as the local rules ask.",
                    "tested",
                ),
            ),
        ),
        of_kind={
            HELICAL: OfKind(
                technician=(
                    "With the pump switched off and locked, watch the wellhead's gauge: a pressure that falls with every valve as it was is the riser or the check valve.",
                ),
                cautions=(
                    beware(
                        "Never shut a valve to test a helical rotor: should it start, something bursts.", "never-shut"
                    ),
                ),
            ),
            CENTRIFUGAL: OfKind(
                technician=(
                    "With the pump switched off and locked, close the wellhead valve and watch the gauge: a falling pressure is the riser or the check valve. Open it again.",
                )
            ),
        },
        evidence=evidence,
        part_told=part_told,
        effect=effect,
        levels=levels,
        limits=LIMITS,
        rivals=("worn-pump",),
    )
)
