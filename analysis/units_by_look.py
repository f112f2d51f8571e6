"""Does a column look as if it were in another unit than its name says? Judged by what the site can do at all.

Flow: season.py (rows as read, site facts) -> HERE -> refusal with the likely unit.
The middle value of a whole file is asked, and far beyond what a fault can do: a sick pump gives less than its curve, a leaking
pipe no pressure of tens of bars. So one sensor that goes wrong for weeks refuses nothing.
Never: converting by guess.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from analysis.rows import Rows
from analysis.solar_days import DAY_MS
from logger.record.problems import Problem
from logger.record.site_facts import SiteFacts

VALUES_MIN = 20
HIGH = 0.9
TOP = 0.99  # of a column's values: what is above may be a spark
LONG_DAY_H = 10.0  # at full flow
MIDDLE_TEMP_C = {
    "ambient_temp_c": 45.0,
    "module_temp_c": 60.0,
}  # the hottest months' mean is below 42 (common knowledge, no source)
VARIES = 4.0  # from the lowest tenth to the highest: less is a stuck probe
BAR_PER_M = 0.0980665  # 1000 kg/m3 x 9.80665 m/s2 / 1e5 Pa


@dataclass(frozen=True)
class Look:
    """`most`: what the site can give, in the channel's unit; beyond `far` times that the unit is doubted. `units`: by factor."""

    channel: str
    most: Callable[[SiteFacts], float]
    far: float
    units: tuple[tuple[float, str], ...]


def _string_v(facts: SiteFacts) -> float:
    return facts.array.modules_in_series * facts.array.module.v_oc_v


def _array_a(facts: SiteFacts) -> float:
    return facts.array.strings * facts.array.module.i_sc_a


def _array_w(facts: SiteFacts) -> float:
    return facts.array.strings * facts.array.modules_in_series * facts.array.module.p_mp_w


def _motor_a(facts: SiteFacts) -> float:
    """What the motor is rated for; where nobody wrote it down, all of the controller's power at its least voltage."""
    rated = facts.motor.rated_current_a if facts.motor is not None else None
    return rated or facts.controller.max_power_w / facts.controller.min_input_voltage_v


LOOKS = (
    Look("flow_m3_h", lambda facts: max(row.flow_m3_h for row in facts.pump.curve), 5, ((16.667, "L/min"), (1000, "L/h"), (24, "m3/d"))),
    Look("water_level_m", lambda facts: facts.pump.setting_depth_m, 2.5, ((3.281, "feet"), (100, "cm"), (1000, "mm"))),
    Look(
        "discharge_pressure_bar",
        lambda facts: max(row.head_m for row in facts.pump.curve) * BAR_PER_M,
        4,
        ((14.5, "psi"), (10.2, "metres of water"), (100, "kPa"), (1e5, "Pa")),
    ),
    Look("pv_voltage_v", _string_v, 4, ((10, "tenths of a volt"), (1000, "mV"))),
    Look("pv_current_a", _array_a, 4, ((10, "tenths of an ampere"), (100, "hundredths of an ampere"), (1000, "mA"))),
    Look("motor_current_a", _motor_a, 5, ((10, "tenths of an ampere"), (100, "hundredths of an ampere"), (1000, "mA"))),
    Look("input_power_w", _array_w, 4, ((10, "tenths of a watt"), (1000, "mW"))),
    Look("irradiance_w_m2", lambda _facts: 1400.0, 1.2, ((10, "tenths of W/m2"), (3.6, "kJ/(m2 h)"))),
)  # fmt: skip


def judge_units(file: str, rows: Rows, facts: SiteFacts) -> list[Problem]:
    """A problem for each column that looks as if it were in another unit."""
    problems = []
    for look in LOOKS:
        found = rows.values.get(look.channel)
        above = found[found > 0] if found is not None else np.empty(0)
        most = look.most(facts)
        if len(above) >= VALUES_MIN and (middle := float(np.median(above))) > look.far * most:
            problems.append(_problem(file, look, middle, float(np.quantile(above, HIGH)), most))
    return problems + _too_small(file, rows, facts) + _meter(file, rows, facts) + _temperatures(file, rows)


def _too_small(file: str, rows: Rows, facts: SiteFacts) -> list[Problem]:
    """Likewise where the greatest value of a long file stays far below what any day with sun brings."""
    speeds = [row.speed_rpm for row in facts.pump.curve if row.speed_rpm]
    looks = (
        ("irradiance_w_m2", 1000.0, (0.2e-3, 2e-3), "kW/m2", 1000),
        ("input_power_w", _array_w(facts), (0.2e-3, 3e-3), "kW", 1000),
        ("motor_speed_rpm", max(speeds, default=0.0), (0.25 / 60, 5.0 / 60), "Hz (turns a second)", 60),
    )
    problems = []
    for name, most, (low, high), unit, factor in looks:
        found = rows.values.get(name)
        above = found[found > 0] if found is not None else np.empty(0)
        if most and len(above) >= 10 * VALUES_MIN and low < (top := float(np.quantile(above, TOP))) / most < high:
            wrong = f"hardly ever above {top:.3g}, and this site gives {most:.3g}: it looks like {unit}"
            problems.append(Problem(file, f"column {name}", wrong, f"multiply by {factor}, or correct the site file"))
    return problems


def _temperatures(file: str, rows: Rows) -> list[Problem]:
    """Nowhere is half of a year's air above 45 deg C, nor of nights and days a module above 60; a stuck probe is no unit, so it must vary."""
    problems = []
    for name, most in MIDDLE_TEMP_C.items():
        found = rows.values.get(name)
        known = found[np.isfinite(found)] if found is not None else np.empty(0)
        if len(known) < VALUES_MIN:
            continue
        low, middle, high = (float(np.quantile(known, q)) for q in (0.1, 0.5, 0.9))
        if middle <= most or high - low < VARIES:
            continue
        units = (
            ("degrees Fahrenheit", "subtract 32 and divide by 1.8", (middle - 32.0) / 1.8),
            ("kelvins", "subtract 273.15", middle - 273.15),
            ("tenths of a degree", "divide by 10", middle / 10.0),
        )
        likely = [(unit, fix) for unit, fix, middle_c in units if 0.0 < middle_c <= most]
        if likely:
            unit, fix = likely[0]
            wrong = f"the middle value is {middle:.4g} deg C, which is nowhere so: it looks like {unit}"
            problems.append(Problem(file, f"column {name}", wrong, fix))
    return problems


def _meter(file: str, rows: Rows, facts: SiteFacts) -> list[Problem]:
    """A register counts on from anywhere: what it rises by on a usual day tells its unit."""
    register = rows.values.get("volume_m3")
    known = np.empty(0, bool) if register is None else np.isfinite(register)
    if register is None or known.sum() < VALUES_MIN:
        return []
    order = np.argsort(rows.time_ms[known], kind="stable")
    time_ms, counted = rows.time_ms[known][order], register[known][order]
    day = time_ms[1:] // DAY_MS
    risen = np.bincount(day - day[0], np.maximum(np.diff(counted), 0.0))
    risen = risen[risen > 0]
    most = LONG_DAY_H * max(row.flow_m3_h for row in facts.pump.curve)
    if not len(risen) or (middle := float(np.median(risen))) <= 5 * most:
        return []
    factor, unit = min(
        ((10, "tenths of m3"), (264.2, "US gallons"), (1000, "litres")),
        key=lambda candidate: abs(np.log(middle / candidate[0] / (0.5 * most))),
    )
    wrong = f"rises by {middle:.4g} on a usual day, and this pump lifts {most:.3g} at most: it looks like {unit}"
    return [Problem(file, "column volume_m3", wrong, f"divide by {factor:g}, or correct the site file")]


def _problem(file: str, look: Look, middle: float, high: float, most: float) -> Problem:
    usual = (
        0.8 * most
    )  # the highest tenth of a sound site's values begins somewhere there; the middle may be of the night
    factor, unit = min(look.units, key=lambda candidate: abs(np.log(high / candidate[0] / usual)))
    return Problem(
        file,
        f"column {look.channel}",
        f"the middle value is {middle:.4g}, but this site gives {most:.3g} at most: it looks like {unit}",
        f"divide by {factor:g}, or correct the site file",
    )
