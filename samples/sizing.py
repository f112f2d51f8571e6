"""Draws installations that fit together: well, pump, motor, array, controller, pipes, tank.

Flow: a recipe (kind, lift, flow, fit-out) -> HERE -> SiteFacts -> site_text.py, cases.py.
The pump's table is worked out from the pump's own physics and then rounded like a datasheet's.
Never: faults.
"""

import datetime
from dataclasses import dataclass, replace

import numpy as np

from logger.record import site_facts as sf
from samples.plant.centrifugal import Centrifugal
from samples.plant.effects import HEALTHY
from samples.plant.helical import RHO_G, Helical
from samples.plant.motor import SHAFT_SHARE, motor_of
from samples.plant.streams import stream

FULL = (
    "pv_voltage_v", "pv_current_a", "motor_current_a", "motor_speed_rpm", "flow_m3_h", "volume_m3",
    "discharge_pressure_bar", "water_level_m", "irradiance_w_m2", "module_temp_c", "ambient_temp_c", "controller_temp_c",
    "low_level_probe_wet", "tank_float_up", "motor_running", "fault_code",
)  # fmt: skip
MIDDLE = (
    "pv_voltage_v", "pv_current_a", "motor_current_a", "motor_speed_rpm", "volume_m3", "low_level_probe_wet",
    "tank_float_up", "motor_running", "fault_code",
)  # fmt: skip
LEAN = ("pv_voltage_v", "pv_current_a", "volume_m3")
LEAN_POWER = ("input_power_w", "volume_m3")
FIT_OUTS = {"full": FULL, "middle": MIDDLE, "lean": LEAN, "lean-power": LEAN_POWER}

MODULES = (  # invented, in the proportions of common crystalline modules
    sf.Module(100, 18.2, 5.50, 22.3, 5.88, -0.39, -0.30, 0.05, 46),
    sf.Module(170, 37.4, 4.55, 45.8, 4.82, -0.38, -0.30, 0.05, 45),
    sf.Module(250, 30.6, 8.17, 37.9, 8.72, -0.41, -0.31, 0.05, 46),
    sf.Module(330, 37.6, 8.78, 45.9, 9.33, -0.38, -0.29, 0.05, 45),
    sf.Module(410, 31.2, 13.14, 37.3, 13.93, -0.35, -0.27, 0.045, 43),
)
STANDARD_MM2 = (1.5, 2.5, 4.0, 6.0, 10.0, 16.0, 25.0, 35.0)
STANDARD_PIPE_MM = (26.0, 32.0, 40.0, 50.0, 61.0, 75.0)


@dataclass(frozen=True)
class Recipe:
    """What an installer is asked for. `flow_m3_h`: at full sun; `static_m`: resting level; `fit`: of FIT_OUTS."""

    id: str
    name: str
    kind: sf.PumpKind
    flow_m3_h: float
    static_m: float
    outlet_m: float
    fit: str
    latitude_deg: float = -24.0
    longitude_deg: float = 21.0
    altitude_m: float = 900.0
    timezone: str = "Africa/Johannesburg"
    motor: sf.MotorKind = "permanent-magnet"
    tank_m3: float = 20.0
    strings: int | None = None
    meter_step_m3: float = 0.01
    module: int | None = None


def size_site(recipe: Recipe, seed: int) -> sf.SiteFacts:
    """An installation for the recipe; `seed` draws what it leaves open."""
    rng = stream(seed, "sizing")
    q = recipe.flow_m3_h
    tested = q * rng.uniform(1.25, 1.7)
    linear = round(rng.uniform(0.10, 0.22) * recipe.static_m / tested, 2)
    quadratic = round(rng.uniform(0.02, 0.08) * linear / tested * 4, 3)
    down = linear * q + quadratic * q**2
    setting = float(np.ceil(recipe.static_m + 1.25 * down + rng.uniform(8, 16)))
    pipe_m, riser_mm, pipe_mm = float(round(rng.uniform(20, 220), -1)), _pipe(q, 0.9), _pipe(q, 0.7)
    delivery = sf.Delivery(setting, riser_mm, pipe_m, pipe_mm, 0.01, round(rng.uniform(4, 9), 1), recipe.outlet_m)
    friction = _friction(q, setting, riser_mm) + _friction(q, pipe_m, pipe_mm) + 0.4
    head = recipe.static_m + down + recipe.outlet_m + friction
    facts = _bare(recipe, rng, delivery, setting, linear, quadratic, tested)
    facts = _with_pump(facts, rng, q, head, recipe)
    return _with_array(facts, rng, recipe)


def _pipe(flow: float, speed_m_s: float) -> float:
    wanted = 1000 * np.sqrt(flow / 3600 / speed_m_s * 4 / np.pi)
    return min((size for size in STANDARD_PIPE_MM if size >= wanted), default=STANDARD_PIPE_MM[-1])


def _friction(flow: float, length: float, mm: float) -> float:
    return 10.67 * length * (flow / 3600) ** 1.852 / (148.0**1.852 * (mm / 1000) ** 4.8704)


def _bare(recipe: Recipe, rng, delivery, setting, linear, quadratic, tested) -> sf.SiteFacts:
    """Everything that does not hang on pump and array; those are placeholders here."""
    site = sf.Site(
        recipe.id, recipe.name, recipe.latitude_deg, recipe.longitude_deg, recipe.altitude_m, recipe.timezone, 0.0 if
        abs(recipe.latitude_deg) > 18 else 10.0, 42.0,
    )  # fmt: skip
    facing = 0.0 if recipe.latitude_deg < 0 else 180.0
    tilt = float(max(10, round(abs(recipe.latitude_deg))))
    array = sf.Array(module=MODULES[0], modules_in_series=1, strings=1, tilt_deg=tilt, azimuth_deg=facing)
    well = sf.Well(
        recipe.static_m, linear, quadratic, round(tested, 1), setting - round(rng.uniform(1.2, 2.0), 1),
        round(rng.uniform(0.3, 1.6), 1),
    )  # fmt: skip
    sensors = sf.Sensors(FIT_OUTS[recipe.fit], recipe.meter_step_m3, datetime.date(2025, 9, 1))
    control = sf.Controller(400, 60, 1000, float(rng.choice([20, 30, 30, 45])), float(rng.choice([20, 30, 30])), 100)
    rows = (sf.CurveRow(10, 100, 1.0), sf.CurveRow(20, 200, 1.0))
    pump = sf.Pump(kind=recipe.kind, curve_power_at="controller-input", curve=rows, setting_depth_m=setting)
    cable = sf.Cable(setting + float(round(rng.uniform(10, 40))), 4.0)
    return sf.SiteFacts(
        site, array, control, cable, pump, well, delivery, sf.Tank(recipe.tank_m3), sensors, sf.Motor(recipe.motor)
    )


def _with_pump(facts: sf.SiteFacts, rng, flow: float, head: float, recipe: Recipe) -> sf.SiteFacts:
    """A pump for `flow` at `head`, its motor, and the table as its datasheet would print it."""
    helical = recipe.kind == "helical-rotor"
    rpm = float(rng.choice([2800, 2900, 3000])) if recipe.motor != "induction" else 2850.0
    efficiency = rng.uniform(0.60, 0.70) if helical else rng.uniform(0.50, 0.60)
    shaft = RHO_G * head * flow / 3600 / efficiency
    rated_w = 1.06 * shaft / SHAFT_SHARE[recipe.motor]
    volts = float(rng.choice([110, 130, 150])) if rated_w < 1500 else float(rng.choice([160, 200, 230]))
    factor = {"permanent-magnet": 1.60, "induction": 1.35, "brushed-dc": 1.0}[recipe.motor]
    motor = sf.Motor(recipe.motor, round(rated_w / (factor * volts), 1), rpm)
    facts = replace(
        facts, motor=motor, controller=replace(facts.controller, max_power_w=float(np.ceil(1.1 * rated_w / 50) * 50))
    )
    placeholder = replace(facts.pump, curve=(sf.CurveRow(head, rated_w, flow), sf.CurveRow(head, rated_w, flow)))
    machine = motor_of(replace(facts, pump=placeholder))
    pump: Helical | Centrifugal
    if helical:
        slip = rng.uniform(0.05, 0.11) * flow / head
        litre = (flow + slip * 0.75 * head) / (0.06 * rpm)
        left = shaft / (rpm * np.pi / 30) - litre / 1000 * RHO_G * head / (2 * np.pi)
        pump = Helical(litre, slip, 0.25 * head, 0.75 * left, 0.25 * left / (rpm / 1000), flow, head, 1.7 * head)
    else:
        h0 = head * rng.uniform(1.38, 1.55)
        bend = rng.uniform(0.8, 0.9)
        pump = Centrifugal(
            h0, (1 - bend) * (h0 - head) / flow, bend * (h0 - head) / flow**2,
            0.50 * shaft, 0.66 * shaft / flow, -0.16 * shaft / flow**2, rpm, flow,
        )  # fmt: skip
    return replace(facts, pump=replace(facts.pump, curve=_table(pump, machine, rpm, head)))


def _table(pump: Helical | Centrifugal, machine, rpm: float, head: float) -> tuple[sf.CurveRow, ...]:
    """Rows at heads about the design head and speeds from slow to full, rounded as datasheets are."""
    bare = {**HEALTHY, "motor_ohm": -machine.cable_ohm}
    rows = []
    for share in (0.55, 0.75, 1.0, 1.2):
        for speed in (0.45, 0.6, 0.8, 1.0):
            turns = np.array([speed * rpm])
            flow, _, torque = pump.work(turns, share * head, 0.0, bare, 1.0, 0.0)
            power = machine.input_w(torque, turns, bare)
            if flow[0] > 0.04 * pump.rated_flow:
                rows.append(
                    sf.CurveRow(
                        round(share * head), round(float(power[0])), _three(float(flow[0])), round(speed * rpm, -1)
                    )
                )
    return tuple(_at_rounded_head(pump, machine, row, bare) for row in rows)


def _at_rounded_head(pump, machine, row: sf.CurveRow, bare) -> sf.CurveRow:
    turns = np.array([float(row.speed_rpm or 0)])
    flow, _, torque = pump.work(turns, float(row.head_m), 0.0, bare, 1.0, 0.0)
    power = float(machine.input_w(torque, turns, bare)[0])
    return sf.CurveRow(row.head_m, float(round(power)), _three(float(flow[0])), row.speed_rpm)


def _three(value: float) -> float:
    """Three significant digits, at most two decimals."""
    return float(round(value, max(0, min(2, 2 - int(np.floor(np.log10(max(value, 1e-9))))))))


def _with_array(facts: sf.SiteFacts, rng, recipe: Recipe) -> sf.SiteFacts:
    """Modules for 1.2 to 1.5 times the pump's power, in a layout inside the controller's window."""
    wanted = rng.uniform(1.22, 1.5) * max(row.power_w for row in facts.pump.curve)
    choices = []
    for module in MODULES if recipe.module is None else (MODULES[recipe.module],):
        for strings in range(1, 7) if recipe.strings is None else (recipe.strings,):
            series = round(wanted / module.p_mp_w / strings)
            misfit = abs(series * strings * module.p_mp_w / wanted - 1)
            volts = series * module.v_mp_v
            if 2 <= series <= 20 and 60 <= volts <= 620 and misfit < 0.13:
                choices.append((misfit + 0.05 * rng.random(), module, strings, series))
    if not choices:
        raise ValueError(f"{recipe.id}: no layout of the invented modules gives {wanted:.0f} W")
    _, module, strings, series = min(choices, key=lambda choice: choice[0])
    cold_v = series * module.v_oc_v * (1 + module.temp_coeff_v_oc_pct_c / 100 * (-5 - 25))
    control = replace(
        facts.controller, max_input_voltage_v=float(np.ceil(cold_v * 1.07 / 10) * 10),
        min_input_voltage_v=float(np.floor(0.5 * series * module.v_mp_v / 5) * 5),
        max_input_current_a=float(np.ceil(1.3 * strings * module.i_sc_a)),
    )  # fmt: skip
    length = float(round(rng.uniform(10, 40)))
    amps = strings * module.i_mp_a
    mm2 = next((s for s in STANDARD_MM2 if 2 * 0.0185 * length * amps / s < 0.015 * series * module.v_mp_v), 35.0)
    array = replace(
        facts.array, modules_in_series=series, strings=strings, module=module, cable_length_m=length, cable_mm2=mm2
    )
    motor_a = facts.motor.rated_current_a or 1.0
    drop = next(
        (
            s
            for s in STANDARD_MM2
            if 3 * motor_a**2 * 0.0178 * facts.cable.length_m / s < 0.03 * facts.controller.max_power_w
        ),
        16.0,
    )
    return replace(facts, array=array, controller=control, cable=replace(facts.cable, conductor_mm2=drop))
