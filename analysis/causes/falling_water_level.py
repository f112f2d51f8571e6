"""Falling water level: the well's level is lower than the installation was designed for."""

from dataclasses import dataclass

import numpy as np

from analysis.causes.registry import CENTRIFUGAL, HELICAL, Advice, CauseFile, OfKind, beware, register
from analysis.estimates.bench import bench_of
from analysis.estimates.effects import Effect, bent_head, head_shift, shift, slip_open
from analysis.plant import Plant


@dataclass(frozen=True)
class FallingLevelLimits:
    """Metres. What the level moves in a normal year is no fault."""

    least_m: float = 2.0
    beyond_season: float = 0.75  # times the seasonal range that the site file states
    usual_m: float = 5.0  # half of all stay below (a guess)
    starved: float = (
        0.3  # log of the flow per turn lost at high power where the well is drawn down to the intake (a guess)
    )
    starved_rate: float = 0.2  # it is what low-level probes are fitted for (common practice, no source)
    sudden: float = 0.2
    """An aquifer empties and a screen clogs over weeks; a neighbour's new pump, or a screen that falls in, takes days (common practice, no source;
    how often is a guess: 0.05 was surer than simulated seasons of four of five plants bear out)."""
    slope_open: float = 0.2  # how far the datasheet's own slopes with head are open (a guess)
    first_open: float = (
        0.03  # risers a metre: a centrifugal pump turns for longer before it lifts, the deeper the longer
    )


LIMITS = FallingLevelLimits()


def effect(plant: Plant) -> list[Effect]:
    """Extra lift: the same at all speeds where the aquifer fell (resting), growing with the flow where the screen clogs (drawdown).

    Where the level is read, the engine's expectation knows of it; what is left is how far the datasheet's own slopes are off.
    """
    bench = bench_of(plant)
    gauge = "water_level_m" in plant.has
    well, intake_m = plant.facts.well, plant.facts.pump.setting_depth_m
    least = max(LIMITS.least_m, LIMITS.beyond_season * (well.seasonal_range_m or 0.0))
    most = max(intake_m - well.static_level_m, 2.0 * least)  # below its intake no pump draws the water
    late = 0.0 if plant.helical else LIMITS.first_open
    found = []
    room_m = intake_m - well.static_level_m - float(bench.drawdown_m[-1])
    to_intake = LIMITS.starved_rate if plant.helical and not gauge and room_m > least else 0.0
    for part, metres, rest in (
        ("resting", np.ones(3), 1.0),
        ("drawdown", bench.relative_flow(), 0.0),
    ):
        known = {"l": metres, "rest": rest} if gauge else {"rest": rest}
        slopes = head_shift(plant, bench, LIMITS.slope_open * metres, False) if gauge else {}
        slopes_open = shift(**slopes) if gauge else slip_open(plant, bench, metres)
        usual = max(LIMITS.usual_m, least)
        bend, direction, lost = None, shift(**known), bench.flow_per_head_at_power * metres
        if not gauge:
            bend, direction, lost = bent_head(plant, part, 1.0, most, min(usual, most), **known)
        found.append(
            Effect(
                part,
                direction,
                least,
                most,
                lost=lost,
                loose=0.2,  # the same slopes as an obstruction's
                sudden=LIMITS.sudden,
                rate=0.5 * (1.0 - to_intake),
                usual=usual,
                blur=shift(first=late),
                unknowns=(slopes_open,),
                bend=bend,
            )
        )
    if to_intake:
        found.append(_to_the_intake(plant, room_m, least))
    return found


def _to_the_intake(plant: Plant, room_m: float, least: float) -> Effect:
    """A level so low that pumping draws it down to the intake: torque says how far it fell, and at high speed air comes along.

    Where no level is read a strainer that starves the pump looks much the same.
    """
    bench = bench_of(plant)
    short = np.clip((bench.relative_flow() - 0.5) / 0.5, 0.0, 1.0) * LIMITS.starved / room_m
    felt = head_shift(plant, bench, np.ones(3), False)
    lost = bench.flow_per_head_at_power - short
    return Effect(
        "resting",
        shift(**{**felt, "q": felt["q"] - short, "n": felt["n"] - short}, rest=1.0),
        least,
        1.2 * room_m,
        lost=lost,
        loose=0.3,
        rate=LIMITS.starved_rate,
        fixed=(room_m,),
        usual=max(LIMITS.usual_m, least),
        unknowns=(shift(n=0.5 * LIMITS.starved / room_m, q=0.5 * LIMITS.starved / room_m),),
    )


def evidence(figures: dict[str, float]) -> str:
    """One sentence with the figures."""
    return (
        f"The pump lifts from {figures.get('size', figures.get('amount', 0.0)):.1f} m deeper than the site file and the season explain, which costs "
        f"{100 * figures.get('flow_lost', 0.0):.0f} % of the flow."
    )


register(
    CauseFile(
        "falling-water-level",
        per_year=0.25,  # a poorer well as often as an obstruction that looks like it, and resting levels as often again (a guess)
        judged="day",
        check="Have the well dipped with a level meter before sunrise, when it has rested, and again at noon while it pumps; ask whether neighbours "
        "pump more than they did.",
        advice=Advice(
            own=(
                "Ask neighbours whether their wells have fallen too.",
                "Take less for a few days and see whether the morning level comes back.",
            ),
            technician=(
                "Dip the resting level before sunrise and the pumping level at noon; compare with the driller's log.",
                "If only the pumping level fell, the screen is clogging: have the well rehabilitated by licensed people.",
            ),
            cautions=(
                beware("Keep the dipping tape clean: this may be drinking water.", "water"),
                beware(
                    "Cover the open well; lifting and lowering a pump or its probe needs two people, a rig and the array isolated and locked.",
                    "open-well",
                    "licensed",
                ),
            ),
        ),
        of_kind={
            HELICAL: OfKind(
                technician=(
                    "If the resting level fell, pump slower (never by a half-shut valve), set the pump deeper if the hole allows, or set the probe anew.",
                )
            ),
            CENTRIFUGAL: OfKind(
                technician=(
                    "If the resting level fell, hold the flow back, set the pump deeper if the hole allows, or set the probe anew; turned slower it may lift nothing.",
                )
            ),
        },
        evidence=evidence,
        effect=effect,
        limits=LIMITS,
    )
)
