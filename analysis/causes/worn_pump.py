"""Wear: rotor and stator, or impellers, no longer seal, and water slips back inside the pump."""

from dataclasses import dataclass

import numpy as np

from analysis.causes.registry import CENTRIFUGAL, HELICAL, Advice, CauseFile, OfKind, beware, register, shifts
from analysis.estimates.bench import LOST_AT_FULL, bench_of
from analysis.estimates.effects import Effect, current_of, relieved, shift
from analysis.estimates.vector import BANDS
from analysis.plant import Plant
from analysis.rows import Floats


@dataclass(frozen=True)
class WornPumpLimits:
    """Share of the flow lost."""

    least: float = 0.04  # below it season and meter class hide it (common practice, no source)
    most: float = 0.7
    usual: float = 0.2  # half of all stay below (a guess)
    rubs_less: float = 0.1  # of a helical rotor's torque, for each unit of flow lost, and how far that is open
    rubs_open: float = 0.08
    sudden: float = 0.25  # a stage broken by a stone, a stator torn or run dry; sand takes months (a guess)
    late_open_h: float = 0.03
    """Of full flow, for each unit of it lost: a worn impeller must turn faster before it lifts at all, and the sun takes its time (a guess)."""
    late: float = (
        0.5  # of worn impellers: rings that leak take little of the head at no flow, vanes worn off do (a guess)
    )
    moves_more: tuple[tuple[float, float], ...] = ((0.0, 0.6), (0.15, 0.4))  # likewise of an impeller's, and how often
    moves_open: float = 0.05
    """What flows back inside is moved as well: against static lift about as much as before, against friction more (a guess)."""


LIMITS = WornPumpLimits()
SEEN_MORE, LOAD_RISEN = 0.03, 0.05  # logs: less is not said


def effect(plant: Plant) -> list[Effect]:
    """A flow that slips back, about constant, for it follows the head that the pump makes and not the speed.

    So flow per turn falls, at low speed most, but for what friction and drawdown add to the head at high: through a gap as through a hole, with
    the root of the head; between a rotor and its stator, which gives way, with the head itself (Moineau 1930, from memory). A helical rotor turns against less drawdown and friction, and one that has lost its
    tight fit rubs less besides: the fit takes a tenth to a quarter of its torque (common practice, no source). Impellers at given
    speed take what they took, or a little more for what goes round inside.
    """
    bench = bench_of(plant)
    driven = (bench.head_m / bench.head_m[-1]) ** (1.0 if plant.helical else 0.5)
    back, per_power = bench.constant_loss() * driven, bench.flow_per_power
    if plant.helical:
        spared = relieved(plant, bench, LOST_AT_FULL * float(bench.flow_m3_h[-1]), of_well=1.0, of_riser=1.0)
        rotor = spared - LIMITS.rubs_less
        rubs = shift(t=LIMITS.rubs_open, i=LIMITS.rubs_open, n=per_power * LIMITS.rubs_open)
        return [_form(plant, back, back + per_power * rotor, rotor, 1.0, None, rubs)]
    late = LIMITS.late_open_h * plant.full_flow_m3_h / plant.riser_m3
    moves = shift(t=LIMITS.moves_open, i=LIMITS.moves_open, q=-LIMITS.moves_open * per_power)
    return [
        _form(plant, back - more * per_power, back, np.full(BANDS, more), often * share, begins, moves)
        for more, often in LIMITS.moves_more
        for begins, share in ((None, 1.0 - LIMITS.late), (shift(first=late), LIMITS.late))
    ]


def _form(plant: Plant, q: Floats, n: Floats, torque: Floats, rate: float, late: Floats | None, load: Floats) -> Effect:
    return Effect(
        None,
        shift(q=q, n=n, t=torque, i=current_of(plant, torque)),
        LIMITS.least,
        LIMITS.most,
        lost=q,
        loose=0.25,
        curved=True,
        sudden=LIMITS.sudden,
        rate=rate,
        blur=late,
        unknowns=(load,),
        usual=LIMITS.usual,
    )


def evidence(figures: dict[str, float]) -> str:
    """One sentence with the figures."""
    by_power, by_speed, load = (shifts(figures, entry) for entry in ("q", "n", "t"))
    told = f"The pump delivers {100 * figures.get('size', 0.0):.0f} % less at the same power than it did before"
    bands, slow = (by_speed, "low speed") if by_speed else (by_power, "low power")
    if len(bands) > 1 and bands[0] < bands[-1] - SEEN_MORE:
        told += f", most at {slow}"
    if load and max(load) < LOAD_RISEN:
        told += ", while at the same speed it takes no more power"
    return f"{told}."


register(
    CauseFile(
        "worn-pump",
        per_year=0.2,  # see riser_leak.py
        judged="day",
        check="Time a bucket of known volume at the tank, to be sure of the meter, and write down the speed or the power at that moment.",
        advice=Advice(
            own=(
                "Time how long a bucket or drum of known volume takes at the tank and compare it with the meter.",
                "Look whether the water carries sand: sand wears a pump in months.",
            ),
            technician=(
                "Watch the water column after switching off: if it drains, look for a leak or a bad check valve before lifting the pump.",
                "Lift the pump and measure rotor, stator or impellers; look for the source of sand.",
            ),
            cautions=(
                beware(
                    "Lifting a pump is heavy work over an open well: rig, gloves, nobody below the load, two people at least.",
                    "licensed",
                ),
                beware(
                    "Switch off and lock the array's isolator first: the cable is live whenever the sun shines.",
                    "licensed",
                ),
                beware(
                    "What goes back into a well that people drink from is disinfected, and the well flushed, as the local rules ask.",
                    "water",
                ),
            ),
        ),
        of_kind={
            HELICAL: OfKind(
                check="Time a bucket of known volume at the tank and read the speed at that moment, at two speeds if the sun allows: water for each "
                "turn that is less than the datasheet's, most at low speed, is wear. Have the resting level dipped, for a deeper well slips more. "
                "Never shut a valve under a running helical rotor: it raises the pressure until something bursts.",
                technician=(
                    "Compare flow per turn with the datasheet's at the lift of the day, at two speeds, with every valve open.",
                ),
                cautions=(
                    beware(
                        "Never shut a valve under a running helical rotor, not for a second: it raises the pressure until something bursts.",
                        "never-shut",
                    ),
                ),
            ),
            CENTRIFUGAL: OfKind(
                check="Time a bucket of known volume at the tank and read speed or power at that moment; have the level dipped while it pumps: a worn "
                "pump gives less at that speed and lift than its curve.",
                technician=(
                    "Compare flow and head with the datasheet at two speeds; the head at no flow only where the maker's manual allows it, for seconds, by a gauge made for it.",
                ),
                cautions=(beware("Shut in for long, impellers heat the water until bearings suffer.", "shut-heats"),),
            ),
        },
        evidence=evidence,
        effect=effect,
        limits=LIMITS,
    )
)
