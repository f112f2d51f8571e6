"""Does a column look as if it were in another unit than its name says? Judged by what the site can do at all.

Flow: season.py (rows as read, site facts) -> HERE -> refusal with the likely unit.
The middle value of a whole file is asked, or of the days' own tops, and far beyond what a fault can do: a sick pump gives less than its
curve, a leaking pipe no pressure of tens of bars. So one sensor that goes wrong for weeks refuses nothing.
Never: converting by guess.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from analysis.counted_flow import hourly
from analysis.rows import Rows
from analysis.site_fits import FOOT_M, LONGEST_STEP_MS, array_w, full_w, level_spare_m, mostly, power_of
from analysis.solar_days import DAY_MS, HOUR_MS
from analysis.units_by_others import BAR_PER_M, MOVES, judge_by_others
from logger.record.channels import CHANNELS, channel_of
from logger.record.problems import Problem
from logger.record.site_facts import SiteFacts

VALUES_MIN = 20
HIGH = 0.9
OF_DAY = 0.98  # of a day's values above zero, most of which an idle drive's own current may be
TOP = 0.99  # of a column's values: what is above may be a spark
LONG_DAY_H = 10.0  # at full flow
MIDDLE_TEMP_C = {
    "ambient_temp_c": 45.0,
    "module_temp_c": 60.0,
}  # the hottest months' mean is below 42 (common knowledge, no source)
VARIES = 4.0  # from the lowest tenth to the highest: less is a stuck probe
TOO_LARGE = {"flow_m3_h", "pv_current_a", "motor_current_a", "pv_voltage_v", "input_power_w", "irradiance_w_m2"}
"""Asked by the days' tops: at night and at rest they stand at little, for hours, and half of a file's values may be that."""
BEYOND, BEYOND_VALUES = 0.2, 20  # of a day's values; by so many different ones in all (common practice, no source)
OTHER_WAY = 0.2  # of the farthest value: what is read the right way round beside it
STEADY = 0.02  # of the middle value: a pressure that never moves is a gauge that is stuck
PUMP_RUNS, PUMP_RESTS = 0.4, 0.02  # of the most that the pump takes
HERTZ, PER_CENT = "Hz (turns a second)", (75.0, 110.0)  # a pump that works comes near its fastest on some day
NO_PUMP_LIFTS = ", at which no pump takes so much power"
DRAWN_LEAST_M = 1.0  # of drawdown to be expected: less says nothing about the way a level is counted
DAYS_MIN, MOSTLY = 3, 0.8
LEAVE_OUT = "if the sensor is broken, leave its column out"
ALIKE = 0.6  # log: units no further apart, as psi and metres of water, or litres a minute and cubic metres a day, cannot be told by size
TWO_METERS_WITHIN = 0.15  # of one another, by logs: two sound meters agree within a few per cent
FLOW_UNITS = ((3600.0, "m3/s"), (3.6, "L/s"), (0.06, "L/min"), (1.0 / 24.0, "m3/d"), (1e-3, "L/h"))
"""By m3/h to each."""
REGISTER_UNITS = ((10.0, "tenths of m3"), (35.31, "cubic feet"), (264.2, "US gallons"), (1000.0, "litres"))
SAME_STEP = 0.03  # a register counts in the step that the file tells, or it does not
GOOD_HOUR = 0.7  # of the table's largest flow: what a sound pump gives in a sunny hour at its own head (common practice, no source)
GAUGE = "column discharge_pressure_bar"
TELL_OTHERS = {f"column {name}" for name in ("volume_m3", "flow_m3_h", "input_power_w", "pv_voltage_v", "pv_current_a")}
"""Columns by which others are judged: not while they are in another unit themselves."""


@dataclass(frozen=True)
class Look:
    """`most`: what the site can give, in the channel's unit; beyond `far` times that the unit is doubted. `units`: by factor."""

    channel: str
    most: Callable[[SiteFacts], float]
    far: float
    units: tuple[tuple[float, str], ...]
    usual: Callable[[SiteFacts], float] | None = None
    """What it stands at on a sound site, where that is not near `most`."""


def _string_v(facts: SiteFacts) -> float:
    return facts.array.modules_in_series * facts.array.module.v_oc_v


def _array_a(facts: SiteFacts) -> float:
    return facts.array.strings * facts.array.module.i_sc_a


def _open_pipe_bar(facts: SiteFacts) -> float:
    """At the wellhead before an open pipe: the outlet's height, and some friction."""
    return (1.2 * max(facts.delivery.outlet_height_m, 0.0) + 2.0) * BAR_PER_M


def _motor_a(facts: SiteFacts) -> float:
    """What the motor is rated for; where nobody wrote it down, all of the controller's power at its least voltage."""
    rated = facts.motor.rated_current_a if facts.motor is not None else None
    return rated or facts.controller.max_power_w / facts.controller.min_input_voltage_v


LOOKS = (
    Look("flow_m3_h", lambda facts: facts.pump.largest_flow_m3_h, 2.5, ((4.403, "US gallons a minute"), (16.667, "L/min"), (1000, "L/h"), (24, "m3/d"))),
    Look("water_level_m", lambda facts: facts.pump.setting_depth_m, 2.5, ((3.281, "feet"), (39.37, "inches"), (100, "cm"), (1000, "mm"))),
    Look(
        "discharge_pressure_bar",
        lambda facts: max(row.head_m for row in facts.pump.curve) * BAR_PER_M,
        2,
        ((14.5, "psi"), (10.2, "metres of water"), (100, "kPa"), (1000, "mbar"), (1e5, "Pa")),
        _open_pipe_bar,
    ),
    Look("pv_voltage_v", _string_v, 4, ((10, "tenths of a volt"), (1000, "mV"))),
    Look("pv_current_a", _array_a, 4, ((10, "tenths of an ampere"), (100, "hundredths of an ampere"), (1000, "mA"))),
    Look("motor_current_a", _motor_a, 5, ((10, "tenths of an ampere"), (100, "hundredths of an ampere"), (1000, "mA"))),
    Look("input_power_w", array_w, 4, ((10, "tenths of a watt"), (1000, "mW"))),
    Look("irradiance_w_m2", lambda _facts: 1400.0, 1.2, ((10, "tenths of W/m2"), (3.6, "kJ/(m2 h)"))),
)  # fmt: skip


def judge_units(file: str, rows: Rows, facts: SiteFacts) -> list[Problem]:
    """A problem for each column that looks as if it were in another unit; a sensor that lies as much from the first day looks so too."""
    problems, rows = [], hourly(facts, rows)
    for look in LOOKS:
        found = rows.values.get(look.channel)
        above = found[found > 0] if found is not None else np.empty(0)
        if found is None or len(above) < VALUES_MIN:
            continue
        most, high = look.most(facts), float(np.quantile(above, HIGH))
        middle = float(np.median(above))
        if look.channel in TOO_LARGE:
            middle = max(middle, float(np.median(_tops(rows.time_ms, found))))
        elif look.usual is not None and high - float(np.quantile(above, 1.0 - HIGH)) < STEADY * middle:
            continue
        if middle > look.far * most:
            problems.append(_problem(file, look, facts, middle, high))
    problems += _too_small(file, rows, facts) + _meter(file, rows, facts) + _temperatures(file, rows)
    problems += [] if any("water_level_m" in one.key for one in problems) else _level(file, rows, facts)
    problems += [] if any("flow_m3_h" in one.key for one in problems) else _two_meters(file, rows)
    problems += _impossible(file, rows, {one.key for one in problems})
    named = {one.key for one in problems}
    if not named & TELL_OTHERS:
        others = judge_by_others(file, rows, facts)
        better = {one.key for one in others} & {
            GAUGE
        }  # what stands on it at rest tells its unit closer than how much it shows
        problems = [one for one in problems if one.key not in better]
        problems += [one for one in others if one.key not in named - better]
    return [replace(one, fix=f"{one.fix}; {LEAVE_OUT}") for one in problems]


def _impossible(file: str, rows: Rows, named: set[str]) -> list[Problem]:
    """Columns of which, on most days, a good part lies beyond all that their instrument can say, by many values: what is left is wrong too."""
    problems = []
    day = rows.time_ms // DAY_MS
    for name, values in rows.values.items():
        channel, known = channel_of(name), np.isfinite(values)
        offset = OTHER_WAY * float(
            np.nanmax(values, initial=0.0)
        )  # of a sensor whose zero is off: a little below at rest
        for beyond, way, limit in (
            (values > channel.highest, "above", channel.highest),
            (values < channel.lowest - offset, "below", channel.lowest),
        ):
            if f"column {name}" in named or beyond.sum() <= BEYOND * known.sum():
                continue
            odd = np.unique(values[beyond])
            first, last = day[known].min(), day[known].max()
            held, found = (np.bincount(day[which] - first, minlength=last - first + 1) for which in (known, beyond))
            if len(odd) < BEYOND_VALUES or not mostly(found[held > 0] > BEYOND * held[held > 0]):
                continue  # a word for "not read", as -9999 and 65535 are, or a sensor that failed some day
            turned = way == "below" and np.nanmax(values) < -OTHER_WAY * odd[0] and -odd[0] <= channel.highest
            most = odd[-1] if way == "above" else odd[0]
            wrong = f"{beyond.sum() / known.sum():.0%} of its values lie {way} {limit:g} {channel.unit}, as far as {most:.4g}"
            fix = (
                "is the sensor turned round? Multiply by -1"
                if turned
                else "is it in another unit, or without its decimal point? Convert it"
            )
            problems.append(Problem(file, f"column {name}", wrong, fix))
    return problems


def _tops(time_ms: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Of each UTC day with values above 0, the one that a fiftieth of them lies above."""
    known = values > 0
    day, own = time_ms[known] // DAY_MS, values[known]
    order = np.lexsort((own, day))
    day, own = day[order], own[order]
    starts = np.flatnonzero(np.concatenate([[True], np.diff(day) != 0]))
    count = np.diff(np.append(starts, len(day)))
    return own[starts + (OF_DAY * (count - 1)).astype(np.int64)]


def _two_meters(file: str, rows: Rows) -> list[Problem]:
    """Flow summed up over a day against what the register rose by: two readings of one water differ by a unit, or by little."""
    flow, register = rows.values.get("flow_m3_h"), rows.values.get("volume_m3")
    if flow is None or register is None:
        return []
    order = np.argsort(rows.time_ms, kind="stable")
    order = order[np.isfinite(flow[order]) & np.isfinite(register[order])]
    if len(order) < VALUES_MIN:
        return []
    time_ms, day = rows.time_ms[order], rows.time_ms[order][1:] // DAY_MS
    short, hours = np.diff(time_ms) <= LONGEST_STEP_MS, np.diff(time_ms) / HOUR_MS
    came = np.bincount(day - day[0], np.where(short, np.maximum(flow[order][1:], 0.0) * hours, 0.0))
    risen = np.bincount(day - day[0], np.where(short, np.maximum(np.diff(register[order]), 0.0), 0.0))
    both = (came > 0) & (risen > 0)
    if both.sum() < DAYS_MIN:
        return []
    logs = np.log(risen[both] / came[both])
    for factor, unit in FLOW_UNITS:
        if np.median(np.abs(logs - np.log(factor))) < TWO_METERS_WITHIN:
            wrong = f"on most days volume_m3 rises by {np.exp(np.median(logs)):.3g} times what flow_m3_h comes to: it looks like {unit}"
            return [Problem(file, "column flow_m3_h", wrong, f"multiply by {factor:.4g}, or correct the register")]
    return []


def _level(file: str, rows: Rows, facts: SiteFacts) -> list[Problem]:
    """A depth counts downwards from the wellhead: below the pump for good it cannot be, nor negative, nor smaller while the pump draws."""
    found = rows.values.get("water_level_m")
    known = found[np.isfinite(found)] if found is not None else np.empty(0)
    if found is None or len(known) < VALUES_MIN:
        return []
    key, middle, setting = "column water_level_m", float(np.median(known)), facts.pump.setting_depth_m
    if middle < CHANNELS["water_level_m"].lowest:
        wrong = f"the middle value is {middle:.4g} m: a depth is counted downwards from the wellhead and is positive"
        return [
            Problem(
                file,
                key,
                wrong,
                "multiply by -1 if it is a height over the wellhead; else subtract it from the wellhead's",
            )
        ]
    rest_m = float(np.quantile(known, 1.0 - HIGH)) * FOOT_M
    if middle > setting and abs(rest_m - facts.well.static_level_m) <= level_spare_m(facts):
        wrong = f"the middle value is {middle:.4g} m, below the pump at {setting:g} m: it looks like feet"
        return [Problem(file, key, wrong, f"divide by {1.0 / FOOT_M:.4g}, or correct the site file")]
    drawn = _drawn_m(rows, facts, found)
    if len(drawn) < DAYS_MIN or not (np.median(drawn) < -0.5 and (drawn < 0).mean() > MOSTLY):
        return []
    wrong = f"it falls by {-np.median(drawn):.2g} m while the pump runs, where a depth grows: it looks like the height of the water over a sensor"
    fix = "subtract it from the depth that the sensor hangs at: depth = sensor's depth - height"
    return [Problem(file, key, wrong, fix)]


def _drawn_m(rows: Rows, facts: SiteFacts, level: np.ndarray) -> np.ndarray:
    """By day, the middle level while the pump runs at much of its power less that while it rests, where a fall is to be expected. [m]"""
    well, most = facts.well, facts.pump.largest_flow_m3_h
    expected = well.drawdown_linear_m_per_m3_h * 0.5 * most + well.drawdown_quadratic_m_per_m3_h2 * (0.5 * most) ** 2
    power = power_of(rows)
    if expected < DRAWN_LEAST_M or np.isnan(power).all():
        return np.empty(0)
    full = full_w(facts)
    day = rows.time_ms // DAY_MS
    found = []
    for one in np.unique(day):
        of_day = (day == one) & np.isfinite(level)
        runs, rests = level[of_day & (power > PUMP_RUNS * full)], level[of_day & (power < PUMP_RESTS * full)]
        if len(runs) >= 3 and len(rests) >= 3:
            found.append(float(np.median(runs) - np.median(rests)))
    return np.array(found)


def _too_small(file: str, rows: Rows, facts: SiteFacts) -> list[Problem]:
    """Likewise where the greatest value of a long file stays far below what any day with sun brings."""
    rated = facts.motor.rated_speed_rpm if facts.motor is not None else None
    fastest = max((row.speed_rpm for row in facts.pump.curve if row.speed_rpm), default=rated or 0.0)
    looks = (
        ("irradiance_w_m2", 1000.0, (0.2e-3, 2e-3), "kW/m2", 1000),
        ("input_power_w", array_w(facts), (0.2e-3, 3e-3), "kW", 1000),
        ("flow_m3_h", facts.pump.largest_flow_m3_h, (0.05 / 3600, 4.0 / 3600), "m3/s", 3600),
        ("pv_voltage_v", _string_v(facts), (0.4e-3, 1.6e-3), "kV", 1000),
        ("motor_speed_rpm", fastest, (0.2e-3, 2e-3), "thousands of turns a minute", 1000),
        ("motor_speed_rpm", fastest, (0.25 / 60, 5.0 / 60), HERTZ, 60),
        (
            "motor_speed_rpm",
            fastest,
            (5.0 / 60, 0.2),
            f"tens of turns a minute{NO_PUMP_LIFTS}",
            10,
        ),
    )
    problems = []
    for name, most, (low, high), unit, factor in looks:
        found = rows.values.get(name)
        above = found[found > 0] if found is not None else np.empty(0)
        if not most or len(above) < 10 * VALUES_MIN:
            continue
        top, least = float(np.quantile(above, TOP)), float(np.quantile(above, 1.0 - TOP))
        if unit.endswith(NO_PUMP_LIFTS) and not _works(rows, facts):
            continue  # it stands and tries, turns at a low limit, or has little sun: then so few turns are true
        if low < top / most < high and top > MOVES * least:
            fix = f"multiply by {factor}"
            if unit == HERTZ and PER_CENT[0] < top < PER_CENT[1]:  # of two poles it turns 50 times a second, of four 25
                unit, fix = f"{unit} or per cent of the fastest", f"{fix} ({unit}) or by {most / 100.0:g} (per cent)"
            wrong = f"hardly ever above {top:.3g}, and this site gives {most:.3g}: it looks like {unit}"
            problems.append(Problem(file, f"column {name}", wrong, f"{fix}, or correct the site file"))
    return problems


def _works(rows: Rows, facts: SiteFacts) -> bool:
    """The pump takes much of its full power on most days."""
    power = power_of(rows)
    if not (power > 0).any():
        return False
    tops = _tops(rows.time_ms, power)
    return len(tops) >= DAYS_MIN and mostly(tops > PUMP_RUNS * full_w(facts))


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
            wrong = f"the middle value is {middle:.4g} deg C, which is nowhere so: it looks like {' or '.join(unit for unit, _ in likely)}"
            fix = " or ".join(fix + (f" ({unit})" if len(likely) > 1 else "") for unit, fix in likely)
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
    most = LONG_DAY_H * facts.pump.largest_flow_m3_h
    if not len(risen) or (middle := float(np.median(risen))) <= 5 * most:
        return []
    steps = np.diff(counted)
    likely = _register_units(facts, float(steps[steps > 0].min()), _hours_best(time_ms, steps))
    wrong = f"rises by {middle:.4g} on a usual day, and this pump lifts {most:.3g} at most: it looks like {' or '.join(u for _, u in likely)}"
    divide = " or ".join(f"{factor:g}" + (f" ({unit})" if len(likely) > 1 else "") for factor, unit in likely)
    return [Problem(file, "column volume_m3", wrong, f"divide by {divide}, or correct the site file")]


def _hours_best(time_ms: np.ndarray, steps: np.ndarray) -> float:
    """What a register rises by in a good hour: of each UTC day the best, of these the upper quarter. [its unit an hour]"""
    hour = time_ms[1:] // HOUR_MS
    came = np.bincount(hour - hour[0], np.where((steps > 0) & (np.diff(time_ms) <= HOUR_MS), steps, 0.0))
    of_day = (np.arange(len(came)) + hour[0]) * HOUR_MS // DAY_MS
    best = np.zeros(int(of_day[-1] - of_day[0]) + 1)
    np.maximum.at(best, of_day - of_day[0], came)
    return float(np.quantile(best[best > 0], 0.75)) if (best > 0).any() else 0.0


def _register_units(facts: SiteFacts, step: float, an_hour: float) -> list[tuple[float, str]]:
    """The units that a register's rise speaks of: one where it counts in the very steps that the site file tells, else those by which a
    good hour's water is what this pump lifts; two where that leaves two open.
    """
    told = facts.sensors.meter_step_m3
    if told:
        for factor, unit in REGISTER_UNITS:
            if abs(step / factor / told - 1.0) < SAME_STEP:
                return [(factor, unit)]
    usual = GOOD_HOUR * facts.pump.largest_flow_m3_h
    off = [abs(float(np.log(max(an_hour, 1e-9) / factor / usual))) for factor, _ in REGISTER_UNITS]
    return [one for one, away in zip(REGISTER_UNITS, off, strict=True) if away < min(off) + ALIKE]


def _problem(file: str, look: Look, facts: SiteFacts, middle: float, high: float) -> Problem:
    most = look.most(facts)
    usual = (
        0.8 * most if look.usual is None else look.usual(facts)
    )  # where the highest tenth of a sound site's values begins
    off = {unit: abs(float(np.log(high / factor / usual))) for factor, unit in look.units}
    best = min(look.units, key=lambda one: off[one[1]])[0]
    likely = [(factor, unit) for factor, unit in look.units if abs(np.log(factor / best)) < ALIKE]
    divide = " or ".join(f"{factor:g}" + (f" ({unit})" if len(likely) > 1 else "") for factor, unit in likely)
    return Problem(
        file,
        f"column {look.channel}",
        f"the middle value is {middle:.4g}, but this site gives {most:.3g} at most: it looks like {' or '.join(unit for _, unit in likely)}",
        f"divide by {divide}, or correct the site file",
    )
