"""Clogging: strainer, pump passages or delivery pipe obstructed."""

from dataclasses import dataclass, replace

import numpy as np

from analysis.causes.registry import HELICAL, NO_CLIMBING, Advice, CauseFile, OfKind, beware, register, shifts
from analysis.estimates.bench import LOST_AT_FULL, bench_of
from analysis.estimates.effects import Effect, bent_head, current_of, head_shift, relieved, shift, slip_open
from analysis.plant import Plant


@dataclass(frozen=True)
class CloggingLimits:
    """`least`, `most`: log of the flow lost at high power and given power."""

    least: float = 0.04
    most: float = 1.2
    usual: float = 0.25  # half of all stay below (a guess)
    air_m: float = (
        9.0  # what the air above the well lends to suction before the water boils (common practice, no source)
    )
    sudden: float = 0.35  # a flake of scale, a valve put back half open; slime takes weeks (a guess; of 55 on five simulated plants 19)
    starved_least: float = 0.15
    starved_rate: float = 0.15
    passages_rate: float = (
        0.4  # scale and slime grow on a strainer, in impellers and in pipes (common practice, no source)
    )
    passages_head: float = (
        0.5  # power of flow: a share lost of each would be 0; stages grown shut cost head, and so more at low speed
    )
    passages_loose: float = 0.25  # for it is between the two
    passages_loads: tuple[tuple[float, float], ...] = ((0.0, 0.5), (-0.25, 0.25), (0.25, 0.25))  # and how often
    passages_open: float = 0.06
    """Log of torque for each unit of log flow lost: throttled, as before, or rubbed and churned; and how far each is open (a guess)."""
    packed_rate: float = (
        0.15  # sand and scale settle in a rotor's cavities more seldom than slime on a strainer (a guess)
    )
    packed_open: float = (
        0.05  # log of torque for each unit of log flow lost: what half fills a cavity rubs a little too (a guess)
    )
    slope_open: float = 0.2  # how far the datasheet's own slopes with a head that the gauge tells are open (a guess)


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
    well, setting_m = plant.facts.well, plant.facts.pump.setting_depth_m
    bearable_m = max(setting_m - well.static_level_m - float(bench.drawdown_m[-1]), 0.0) + LIMITS.air_m
    within = [_starved(plant, bearable_m), _packed(plant)] if plant.helical else _narrowed(plant)
    rate = 1.0 - sum(form.rate for form in within)
    bend, felt, lost = bent_head(plant, "obstruction", metres, LIMITS.most, LIMITS.usual, by_loss=True)
    anywhere = Effect(
        None,
        felt,
        LIMITS.least,
        LIMITS.most,
        lost=lost,
        loose=0.2,
        rate=rate,
        sudden=LIMITS.sudden,
        usual=LIMITS.usual,
        unknowns=(slip_open(plant, bench, extra),),
        bend=bend,
    )
    if "discharge_pressure_bar" not in plant.has:
        return [anywhere, *within]
    intake = replace(anywhere, part="intake", most=min(LIMITS.most, bearable_m / metres), rate=0.5 * rate)
    delivery = replace(
        anywhere,
        part="delivery",
        direction=shift(p=extra),
        lost=bench.flow_per_head_at_power * extra,
        rate=0.5 * rate,
        bend=None,
        unknowns=(shift(**head_shift(plant, bench, LIMITS.slope_open * extra, False)),),
    )
    return [intake, delivery, *within]


def _starved(plant: Plant, bearable_m: float) -> Effect:
    """A strainer so shut that the pump boils the water at its intake: what comes is bounded, and the pump turns on half filled.

    So flow per turn falls, at high speed first, and torque has risen by the suction that the air lends.
    """
    bench = bench_of(plant)
    relative = bench.relative_flow()
    short = np.clip((relative - 0.5) / 0.5, 0.0, 1.0)  # by band, where half the flow of high power still comes
    torque = bench.power_per_head * bearable_m * np.ones(3)
    lost = -np.maximum(short, 0.05)
    return Effect(
        "intake",
        shift(q=lost - bench.flow_per_power * torque, n=lost, t=torque, i=current_of(plant, torque)),
        LIMITS.starved_least,
        LIMITS.most,
        lost=lost,
        loose=0.3,
        rate=LIMITS.starved_rate,
        sudden=0.5,
        usual=2.0 * LIMITS.usual,
        unknowns=(shift(n=0.15, q=0.15), shift(t=0.7 * torque, i=0.7 * torque)),
    )


def _narrowed(plant: Plant) -> list[Effect]:
    """Impellers grown shut: each passes a share of the flow that it had at the same head and speed, or a stage is lost.

    An impeller's flow is its passages' cross-section times a velocity that head and speed decide. A throttled pump takes less power at
    the same speed, but friction and shock within rough passages eat it again, or more: how much is open, but it is the same in all bands.
    """
    bench = bench_of(plant)
    share = -(bench.relative_flow() ** -LIMITS.passages_head)
    return [
        Effect(
            "pump",
            shift(q=share - load * bench.flow_per_power, n=share, t=load, i=current_of(plant, np.full(3, load))),
            LIMITS.least,
            LIMITS.most,
            lost=share - load * bench.flow_per_power,
            loose=LIMITS.passages_loose,
            rate=LIMITS.passages_rate * often,
            sudden=LIMITS.sudden,
            usual=LIMITS.usual,
            unknowns=(
                shift(t=LIMITS.passages_open, i=LIMITS.passages_open, q=-LIMITS.passages_open * bench.flow_per_power),
            ),
        )
        for load, often in LIMITS.passages_loads
    ]


def _packed(plant: Plant) -> Effect:
    """Sand or scale within a helical rotor takes up a share of each cavity.

    What does not fill is lost of every turn alike, at all speeds the same share, where wear slips back a constant flow and so a larger
    share at low speed; the torque, that of the lift, stays but for the drawdown and friction that go with the flow.
    """
    bench = bench_of(plant)
    per_power, one = bench.flow_per_power, np.ones(3)
    spared = relieved(plant, bench, LOST_AT_FULL * float(bench.flow_m3_h[-1]), of_well=1.0, of_riser=1.0)
    fuller = shift(t=LIMITS.packed_open, i=LIMITS.packed_open, q=-LIMITS.packed_open * per_power)
    return Effect(
        "pump",
        shift(q=-one - per_power * spared, n=-one, t=spared, i=current_of(plant, spared)),
        LIMITS.least,
        LIMITS.most,
        lost=-one - per_power * spared,
        loose=LIMITS.passages_loose,
        rate=LIMITS.packed_rate,
        sudden=LIMITS.sudden,
        usual=LIMITS.usual,
        unknowns=(fuller,),
    )


ALIKE = 0.02  # log: less apart is alike at all speeds


def evidence(figures: dict[str, float]) -> str:
    """One sentence with the figures."""
    gauge = figures.get("shift_p2")
    where = (
        "" if gauge is None or abs(gauge) < 1.0 else f", and the wellhead pressure has risen by {gauge:.1f} m of water"
    )
    what, more = ("speed", "faster it runs,") if shifts(figures, "n") else ("power", "more power it takes,")
    bands = shifts(figures, "q") or shifts(figures, "n")
    most_at_speed = len(bands) < 2 or bands[-1] < bands[0] - ALIKE
    how = (
        f"and the more the {more} as against an obstruction whose loss grows with the square of the flow"
        if most_at_speed
        else f"at low {what} no less than at high, as through passages grown shut"
    )
    if (lost := 100 * figures.get("size", 0.0)) < 0.5:
        moved = "Load and speed moved" if what == "speed" else "The water moved"
        return f"{moved} as against an obstruction{where}; at the same power no flow is missed."
    return f"The pump delivers {lost:.0f} % less at the same power, {how}{where}."


register(
    CauseFile(
        "clogging",
        per_year=0.2,  # no survey tells how often (a guess); falling_water_level.py says beside what
        judged="day",
        check="See that every valve between wellhead and tank is fully open and the tank's inlet and any filter are clear; "
        "a filter that can be opened without tools is the first to clean, with the pump switched off and the pressure let down.",
        advice=Advice(
            own=(
                "Open every valve between wellhead and tank fully; look at the tank's inlet and its float valve.",
                "Clean a filter at the wellhead or tank, with the pump switched off and the pressure let down.",
            ),
            technician=(
                "Read the wellhead pressure while running: high means the pipe behind it, normal means strainer or pump.",
                "Lift the pump and clean strainer and passages; look for iron bacteria, scale or sand.",
                "Have the well treated by licensed people if scale or slime comes back; flush and test before anyone drinks.",
            ),
            cautions=(
                beware(
                    "Acids and chlorine for wells burn and give off poisonous gas, and are not for drinking water until flushed and tested: licensed people only.",
                    "poison",
                ),
                NO_CLIMBING,
                beware("A pipe may be under pressure: let it down slowly before opening a filter.", "pressure"),
                beware(
                    "Isolate and lock the array before lifting the pump; lifting needs a rig and two people.",
                    "licensed",
                ),
            ),
        ),
        of_kind={
            HELICAL: OfKind(
                cautions=(
                    beware(
                        "Never shut a valve or block a filter while a helical rotor runs: it raises the pressure until something bursts.",
                        "never-shut",
                    ),
                )
            ),
        },
        evidence=evidence,
        effect=effect,
        limits=LIMITS,
    )
)
