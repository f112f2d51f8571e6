"""Cable fault: a joint or cable with too much resistance, a lost phase, or a wet splice leaking to earth."""

from dataclasses import dataclass, replace

import numpy as np

from analysis.causes.registry import THREE_PHASE, Advice, CauseFile, Levels, beware, register, shifts
from analysis.estimates.bench import bench_of, flow_left
from analysis.estimates.effects import Bend, Effect, current_of_load, shift
from analysis.estimates.lifted import STEPS
from analysis.estimates.own_light import sides_apart
from analysis.estimates.scatter import TURNS_ELSEWHERE, misread_by_band
from analysis.plant import Plant
from analysis.rows import Floats


@dataclass(frozen=True)
class CableLimits:
    """Share of power lost."""

    least: float = 0.03
    most: float = 0.6
    usual: float = 0.1  # on the way to the motor; half of all stay below (a guess)
    low_sun: float = 0.36  # of the loss at full sun, at 400 W/m2 (single-diode model)
    of_volts: tuple[float, float] = (0.34, 0.68)  # likewise in volts, at 425 and at 850 W/m2
    of_current: float = 0.2  # likewise in current, at full sun: the maximum itself moves a little
    beside: float = 0.15  # and by how much more a flatter maximum may be missed (a guess)
    of_copper: float = 0.06  # what two windings lose more than three at the same torque: as much again as these did (common practice, no source)
    of_phase: tuple[float, float] = (
        2.4,
        1.0,
    )  # log of the mean of three currents, two of them by the root of 3 larger and one none, over that
    phase: float = 0.3  # share of motors that go on turning on two phases; most stand and hum (a guess)
    wet: float = 0.8  # share of wet splices beside resistive ones (a guess)


LIMITS = CableLimits()
TWO_PHASES = (
    1.4  # times the power lost, that the current has risen by; a leak to earth takes no more current than power
)
CURRENT_SEEN = 0.3  # of the power lost: the current itself must have risen for it to be called a leak to earth


AS_EVER = 0.05  # log: less has not moved


def effect(plant: Plant) -> list[Effect]:
    """Power lost as current squared times a resistance.

    To the motor: more power at the same speed while flow per turn and motor current stay; with a displacement pump the current is
    about constant, so the loss weighs most at low power. From the array: a resistance takes voltage in proportion to the current, and at
    maximum power lowers it a little too (single-diode model, full sun: log of power 0.125 = 0.101 of voltage and 0.024 of current; in
    six tenths of it 0.059 and 0.010). Where neither the array's voltage nor the sun is read, that is a power that is short at noon, and so is that
    of a pump which takes less, whatever the reason: of the array nothing is said there.

    A motor that goes on turning on two of three phases draws the root of 3 times as much in each, for the same torque: the mean of the three reads
    1.15 times what it did, and the windings lose about twice as much, as the square of the current over two of them.

    A wet splice leaks to earth with the voltage or its square, and the voltage goes with the speed: more power and more current at the
    same speed, hardly less at low speed with a displacement pump, whose own power goes with the speed, more there with a centrifugal
    one, whose power goes with its cube.
    """
    bench = bench_of(plant)
    relative = bench.power_w / bench.power_w[-1]
    more = 1.0 / relative if plant.helical else relative ** (1.0 / 3.0)
    motor_q = -bench.flow_per_power * more
    leaks = np.sqrt(relative) if plant.helical else relative ** (-1.0 / 3.0)
    wet_q = -bench.flow_per_power * leaks
    low = LIMITS.low_sun
    sun = np.abs(np.cos((np.arange(12) + 0.5 - 6) / 6 * np.pi / 2))
    apart = sides_apart(plant)
    slower = tuple(TURNS_ELSEWHERE * mode for mode in misread_by_band(plant, bench))  # at the same power
    phases = plant.facts.motor.kind in (None, *THREE_PHASE)
    lost_phase = Effect(
        "motor", shift(q=motor_q, t=more, i=np.full(3, LIMITS.of_phase[0])), LIMITS.least, LIMITS.most, lost=motor_q, loose=0.3, sudden=0.9,
        rate=LIMITS.phase, usual=LIMITS.of_copper, blur=shift(i=LIMITS.of_phase[1]),
    )  # fmt: skip
    joint = Effect(
        "array", shift(s=-LIMITS.of_current * sun**2 if apart else -sun, av=-np.array(LIMITS.of_volts)), LIMITS.least, LIMITS.most,
        lost=np.array([-low, -0.7, -1.0]), loose=0.25 if apart else 0.4, group="electric", sudden=0.5,
        blur=shift(s=LIMITS.beside * sun**2) if apart else None,
    )  # fmt: skip
    return [
        _on_the_way(plant, more, 0.0, Effect(
            "motor", shift(), LIMITS.least, LIMITS.most, lost=motor_q, loose=0.25, sudden=0.5, usual=LIMITS.usual, unknowns=slower,
        )),
        _on_the_way(plant, leaks, current_of_load(plant), Effect(
            "motor", shift(), LIMITS.least, LIMITS.most, lost=wet_q, loose=0.3, sudden=0.5, rate=LIMITS.wet, usual=LIMITS.usual,
            blur=shift(i=0.2), unknowns=slower,
        )),
        *([joint] if apart or "irradiance_w_m2" in plant.has else []),
        *([lost_phase] if phases and "motor_current_a" in plant.has else []),
    ]  # fmt: skip


LEFT_LEAST = 0.1  # of a band's power, and of its flow: less is no steady running


def _on_the_way(plant: Plant, by_band: Floats, current: float, form: Effect) -> Effect:
    """The form with its shifts: of each band's power so much, times the amount, does not reach the motor. A quarter of full power is nearly
    all of a low sun's, so that no straight line does.

    current : log of the motor's for each unit of log of power at the same speed.
    """
    amounts = form.most * STEPS
    left = np.log(np.maximum(1.0 - amounts[:, None] * by_band, LEFT_LEAST))
    flow = np.log(np.maximum(flow_left(plant, left), LEFT_LEAST))
    shifts = np.array([shift(q=q, t=-p, i=-current * p) for q, p in zip(flow, left, strict=True)])
    grown = 1e-9 * np.arange(len(amounts))
    along = np.maximum.accumulate(-left[:, -1]) + grown
    along *= form.usual / np.interp(form.usual, amounts, along)
    bend = Bend(amounts, shifts, flow, along)
    lost = np.array([np.interp(form.usual, amounts, band) for band in flow.T]) / form.usual
    return replace(form, direction=bend.at(form.usual) / form.usual, lost=lost, bend=bend)


def levels(_kind: str) -> dict[str, Levels]:
    """A lost phase: the motor hums, takes current and does not turn."""
    return {"not-turning": {"current": (0.2, 0.5), "fed": (0.3, 0.3), "code": (0.5, 0.5), "attempts": (0.7, 0.4)}}


def evidence(figures: dict[str, float]) -> str:
    """One sentence with the figures."""
    lost = f"{100 * figures.get('size', 0.0):.0f} % of the power is lost on the way"
    current, volts = shifts(figures, "i"), shifts(figures, "av")
    if current and max(current) > TWO_PHASES * figures.get("size", 0.0):
        return f"{lost} and the motor takes {100 * np.expm1(max(current)):.0f} % more current at the same speed and water: one that turns on two of its three phases looks so."
    if current and max(current) > CURRENT_SEEN * figures.get("size", 0.0):
        return (
            f"{lost} and the motor's feed takes more current at the same speed, while "
            "the water is as ever: a wet splice that leaks to earth looks so, and so does a motor in which something drags."
        )
    if volts:
        return f"{lost}: the array's voltage at maximum power is lower, and the more the greater its current, as across a bad contact."
    read = (("flow per turn", shifts(figures, "n")), ("motor current", current))
    as_ever = [what for what, moved in read if moved and max(map(abs, moved)) < AS_EVER]
    after = f", while what the power does afterwards ({' and '.join(as_ever)}) is as it should be" if as_ever else ""
    return f"{lost}, as a bad contact or joint takes it{after}."


register(
    CauseFile(
        "cable-fault",
        per_year=0.12,
        judged="day",
        check="Keep away from wet ground and bare metal at the wellhead. Look, without touching, for burnt or green joints and bitten cables "
        "between array, controller and wellhead; a warm joint shows on a thermal camera.",
        advice=Advice(
            own=("Look, without touching, for burnt, green or bitten spots between array, box and wellhead.",),
            technician=(
                "With the array isolated and the drive discharged, measure the resistance of each core and the insulation to earth of cable and motor together.",
                "Renew the splice with a kit made for drinking-water wells.",
            ),
            cautions=(
                beware(
                    "Array and motor cable carry voltages that kill, and by day the array cannot be switched off: licensed people isolate, lock, "
                    "wait until the drive has discharged, and test.",
                    "licensed",
                ),
                beware(
                    "A splice leaking to earth can make the wellhead live: touch nothing metal there until it has been tested.",
                    "live",
                ),
            ),
        ),
        evidence=evidence,
        effect=effect,
        levels=levels,
        limits=LIMITS,
    )
)
