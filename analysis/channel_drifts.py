"""How a channel that drifts, or reads in a wrong proportion, moves the day's vector: it alone, and through it what the engine expects.

Flow: bench.py, effects.py -> HERE -> causes/sensor_fault.py.
Never: judgement; rows.
"""

from typing import Any

import numpy as np

from analysis.estimates.bench import Bench, bench_of
from analysis.estimates.effects import Effect, head_shift, shift
from analysis.estimates.scatter import misread_turns
from analysis.estimates.vector import PLACE
from analysis.plant import Plant
from analysis.rows import Floats

LEAST_SHARE = 0.08
LEAST_CURRENT = 0.12  # temperature and wave form move it
LEAST_M = 2.0
USUAL_SHARE, USUAL_M = 0.2, 4.0  # half of all that are off are off by less (a guess)
METER_SUDDEN = 0.8  # lost pulses, a sheared or blocked wheel, another pulse value; bearings that drag are the rest (common practice, no source)
POWER_RATE = 0.03  # likewise: a shunt in the controller's own box is the steadiest of them (common practice, no source)
VOLTS_RATE = 0.02  # likewise: a divider in the same box (common practice, no source)
LIGHT_OVER, LIGHT_UNDER = 0.05, 0.25
"""Share of sensor faults: what lies on a cell or its glass, a tilt and age make it read too little; too much only its electronics do
(common practice, no source)."""
LIGHT_LOOSE = 0.12  # what it reads beside a clear sky it reads beside the array too, but for the angle of the light
VOLTS_LOOSE = 0.1  # a gain is the same at every current, where a resistance takes volts in proportion to it
METER_OVER, METER_UNDER = 0.02, 0.05
"""Share of sensor faults: a meter that goes on counting, but wrongly. Of a hundred meters two or three fail in a year, and most of these stop
(water supply, from memory); what drags or sheds pulses counts too little, and too much only with another pulse value, air or shaking."""
SPEED_LOOSE = 0.2  # likewise; a pump's laws bend over so far
METER_LOOSE = 0.12  # a meter that is off is off by about the same share at every flow (common practice, no source)


def _drift(
    channel: str,
    least: float,
    most: float,
    group: str = "hydraulic",
    rate: float = 0.15,
    loose: float = 0.3,
    sudden: float = 0.6,
    usual: float = 0.0,
    low_rate: float | None = None,
    along: Floats | None = None,
    **entries: Any,
) -> list[Effect]:
    """A channel that reads too much, and one that reads too little; `low_rate`: share of the latter, where it is not `rate` too; `along`: in place of `entries`."""
    return [
        Effect(
            None,
            sign * (shift(**entries) if along is None else along),
            least,
            most,
            lost=np.zeros(3),
            loose=loose,
            sudden=sudden,
            rate=share,
            channel=channel,
            group=group,
            usual=usual,
        )
        for sign, share in ((1.0, rate), (-1.0, rate if low_rate is None else low_rate))
    ]


def _speed(plant: Plant, bench: Bench) -> list[Effect]:
    """A speed read in a wrong proportion, by a wrong number of poles, or beside its zero, which weighs the more the slower it turns."""
    read = -misread_turns(plant, bench)
    bands = np.arange(len(bench.power_w))
    read[PLACE["i0"] + bands] = read[PLACE["t0"] + bands] + 1.0  # the torque is power over speed
    slow = (bench.power_w[-1] / bench.power_w) ** (1.0 if plant.helical else 1.0 / 3.0)
    zero = read.copy()
    for name in "nti":
        zero[PLACE[f"{name}0"] + bands] *= slow
    return [
        effect
        for along in (read, zero)
        for effect in _drift(
            "motor_speed_rpm",
            LEAST_SHARE,
            0.7,
            rate=POWER_RATE / 2,
            loose=SPEED_LOOSE,
            usual=USUAL_SHARE,
            along=along,
        )
    ]


def drifts(plant: Plant) -> list[Effect]:
    """A drift moves one channel, and through it what the engine expects; the rest of the vector says that the plant is sound."""
    bench, ones = bench_of(plant), np.ones(3)
    found: list[Effect] = []
    share, metres = LEAST_SHARE, LEAST_M
    if plant.has & {"volume_m3", "flow_m3_h"}:
        channel = "flow_m3_h" if "flow_m3_h" in plant.has else "volume_m3"  # what the day's flow is made of (look.py)
        friction = plant.wellhead_head_m(1.01 * bench.flow_m3_h) - plant.wellhead_head_m(bench.flow_m3_h)
        drawn = plant.system.drawdown_m(1.01 * bench.flow_m3_h) - bench.drawdown_m
        behind = {"l": -100.0 * drawn, "p": -100.0 * friction}  # what the metered flow should draw down and press
        found += _drift(
            channel, share, 1.0, loose=METER_LOOSE, sudden=METER_SUDDEN, usual=USUAL_SHARE, rate=METER_OVER, low_rate=METER_UNDER,
            q=ones, n=ones, **behind,
        )  # fmt: skip
    power = next((name for name in ("input_power_w", "pv_current_a") if name in plant.has), None)
    if power is not None:
        twice = plant.has >= {"input_power_w", "pv_voltage_v", "pv_current_a"}  # the other reading of it stays
        other: dict[str, Any] = {"pw": 1.0} if twice else {}
        # the same reading judges the array
        array: dict[str, Any] = {} if power == "input_power_w" and twice else {"s": 1.0}
        found += _drift(
            power, share, 1.0, rate=POWER_RATE, loose=METER_LOOSE, usual=USUAL_SHARE, q=-bench.flow_per_power, t=ones, **other, **array
        )  # fmt: skip
        if power == "pv_current_a" and "pv_voltage_v" in plant.has:  # the power is their product
            found += _drift(
                "pv_voltage_v", share, 0.7, rate=VOLTS_RATE, loose=METER_LOOSE, usual=USUAL_SHARE, q=-bench.flow_per_power, t=ones, av=1.0
            )  # fmt: skip
        if twice:
            found += _drift("pv_current_a", share, 1.0, rate=POWER_RATE, usual=USUAL_SHARE, pw=-1.0)
    known: dict[str, Any] = head_shift(plant, bench, -ones, False)
    if "water_level_m" in plant.has:
        found += _drift("water_level_m", metres, 40.0, usual=USUAL_M, l=ones, rest=1.0, **known)
    if "discharge_pressure_bar" in plant.has:
        found += _drift(
            "discharge_pressure_bar", metres, 40.0, usual=USUAL_M, p=ones, stand=-1.0 / plant.outlet_m, **known
        )
    if "motor_current_a" in plant.has:
        found += _drift("motor_current_a", LEAST_CURRENT, 1.0, usual=USUAL_SHARE, i=ones)
    if "motor_speed_rpm" in plant.has and (plant.pump.speed_known or plant.turns_by_rating):
        found += _speed(plant, bench)
    if "irradiance_w_m2" in plant.has:
        found += _drift(
            "irradiance_w_m2", share, 1.0, group="electric", rate=LIGHT_OVER, low_rate=LIGHT_UNDER, loose=LIGHT_LOOSE, s=-1.0, gc=1.0
        )  # fmt: skip
    if plant.has >= {"pv_voltage_v", "irradiance_w_m2"}:
        found += _drift("pv_voltage_v", share, 0.5, group="electric", rate=0.03, loose=VOLTS_LOOSE, av=1.0)
    return found
