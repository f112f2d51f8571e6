"""Units that only another channel gives away: a pressure against the open pipe, a power against the water that it lifted, a light against the
power that it made.

Flow: units_by_look.py (rows as read, site facts) -> HERE -> refusals with the likely unit.
Days are asked one by one and most must agree, in the first half of a file as in the second: a fault begins some day, a unit is wrong
from the first. What no unit near by explains is no unit.
Never: converting by guess.
"""

from collections.abc import Iterator

import numpy as np

from analysis.plant import plant_of
from analysis.rows import Floats, Rows
from analysis.site_fits import LONGEST_STEP_MS, array_w, full_w, level_spare_m, mostly, power_of
from analysis.solar_days import DAY_MS, HOUR_MS
from logger.record.problems import Problem
from logger.record.site_facts import SiteFacts

Fits = list[tuple[float, str, str]]

BAR_PER_M = 0.0980665  # 1000 kg/m3 x 9.80665 m/s2 / 1e5 Pa
DAYS_MIN = 4
SHUT_OFF = 1.3  # times the table's highest row: as far as an impeller goes, at a somewhat higher speed (common practice, no source)
ROWS_A_DAY = 6
RUNS = 0.4  # of the most that the pump takes
PRESSURES = ((0.1, "MPa", "multiply by 10"), (10.2, "metres of water", "divide by 10.2"), (14.5, "psi", "divide by 14.5"),
             (100.0, "kPa", "divide by 100"), (1000.0, "mbar", "divide by 1000"))  # fmt: skip
"""By bar to each."""
OUTLET_LEAST_M = 3.0  # lower, and an open pipe presses too little to tell units by
PIPE_LOW, PIPE_HIGH = 0.6, 1.7
"""Of the outlet's height, and of that with a third more and two metres, or with the pipe's friction at full flow where that is more: what an open
pipe presses at its wellhead while water comes, with a gauge's error and a rough pipe (common practice, no source)."""
RESTS = 0.02  # of the most that the pump takes
STANDS_LEAST_M, STANDS_WITHIN = 1.0, 0.25
"""Of outlet above the gauge, and by logs of it: what a pump at rest leaves standing on the gauge is the outlet's height, whatever ails the
pump; a shut valve holds more, a drained pipe less (a gauge's error, common practice, no source)."""
BEYOND, BEYOND_DAYS, FITS = 2.0, 0.1, 0.95
"""Times what pump and well can press at all, the share of days beyond it, and of those that a unit must make possible."""
WH_PER_M3_M = 1000.0 * 9.80665 / 3600.0  # of lift
MOST_EFFICIENT = 0.95  # wire to water; the best pump stays far below
WATER_LEAST = 0.5  # m3 a day: less tells nothing of energy
TENTH = (0.04, 0.25)  # of what the array gives on a bright day: a reading ten times too small
POINTS = (10.0, 100.0, 1000.0)  # by which a reading may be too small: a decimal point, hundredths, thousands
MOVES = 1.15  # of a day's values: a reading that stands still is no unit
LIGHT_TENTH = (0.05, 0.2)  # of the light that the power needs at the least
BRIGHT_W_M2 = 1000.0
MOTOR_TENTH = 0.14  # of the rated current, in a pump that lifts (common practice, no source)

PRODUCT = ((1000.0, "kA"), (100.0, "hundreds of amperes"), (10.0, "tens of amperes"))
PRODUCT_WITHIN = 0.25  # log: what a controller loses, and two instruments of a class each (common practice, no source)
A_SECOND, A_SECOND_WITHIN = (
    3.6,
    0.17,
)  # m3/h to each L/s; log: what a table and a meter are known to (ISO 9906 and common practice, from memory)
STRONG, WEAK = (
    0.75,
    0.55,
)  # of the pump's full power: above and below it a unit takes the same share, and a hole or a wear does not
SAME_SHARE = 0.12  # log


def judge_by_others(file: str, rows: Rows, facts: SiteFacts) -> list[Problem]:
    """A problem for each column that another channel says is in another unit."""
    days = Days(rows)
    if days.count < DAYS_MIN:
        return []
    return [*_pressure(file, rows, facts, days), *_power(file, rows, facts, days), *_light(file, rows, facts, days),
            *_motor(file, rows, facts, days), *_current(file, rows, facts, days), *_flow(file, rows, facts, days)]  # fmt: skip


class Days:
    """The rows by UTC day: what stands for how long, what the register rose by, the energy taken."""

    def __init__(self, rows: Rows) -> None:
        self.order = np.argsort(rows.time_ms, kind="stable")
        self.time_ms = rows.time_ms[self.order]
        self.day = self.time_ms // DAY_MS
        self.count = int(self.day[-1] - self.day[0]) + 1 if len(self.day) else 0
        self.power = power_of(rows)[self.order]
        steps = np.diff(self.time_ms, prepend=self.time_ms[:1])
        self.hours = np.where(steps <= LONGEST_STEP_MS, steps, 0) / HOUR_MS

    def sums(self, values: Floats) -> Floats:
        """By day, of values that belong to each row."""
        return np.asarray(np.bincount(self.day - self.day[0], np.nan_to_num(values), self.count), np.float64)

    def middles(self, values: Floats, quantile: float = 0.5) -> Floats:
        """By day with enough of them, the quantile of the values that are known."""
        known = np.isfinite(values)
        day, own = self.day[known] - self.day[0], values[known]
        order = np.lexsort((own, day))
        number = np.bincount(day, minlength=self.count)
        start = np.cumsum(number) - number
        asked = number >= ROWS_A_DAY
        return own[order][start[asked] + (quantile * (number[asked] - 1)).astype(np.int64)]

    def water_m3(self, rows: Rows) -> Floats:
        """By day, what the meter counted."""
        register = rows["volume_m3"][self.order]
        if np.isnan(register).all():
            return self.sums(np.maximum(rows["flow_m3_h"][self.order], 0.0) * self.hours)
        known = np.flatnonzero(np.isfinite(register))
        risen = np.zeros(len(register))
        risen[known[1:]] = np.maximum(np.diff(register[known]), 0.0)
        return self.sums(np.where(self.hours > 0, risen, 0.0))


def _pressure(file: str, rows: Rows, facts: SiteFacts, days: Days) -> Iterator[Problem]:
    """A gauge at the wellhead: while the pump runs and water comes through an open pipe, at rest, or beyond what the pump can press."""
    outlet_m = facts.delivery.outlet_height_m
    if "discharge_pressure_bar" not in rows.values or np.isnan(days.power).all():
        return
    gauge = rows["discharge_pressure_bar"][days.order]
    pressed = days.middles(np.where(days.power > RUNS * full_w(facts), gauge, np.nan))
    plant = plant_of(facts)
    open_m = max(1.33 * outlet_m + 2.0, float(plant.wellhead_head_m(np.array(plant.full_flow_m3_h))))
    low, high = PIPE_LOW * outlet_m * BAR_PER_M, PIPE_HIGH * open_m * BAR_PER_M
    off, fits, wrong = np.zeros(0, bool), [], ""
    comes = days.water_m3(rows)
    if outlet_m >= OUTLET_LEAST_M and len(pressed) >= DAYS_MIN and mostly(comes[comes > 0] > WATER_LEAST):
        off = (pressed < low) | (pressed > high)
        fits = [(f, u, fix) for f, u, fix in PRESSURES if mostly((pressed > f * low) & (pressed < f * high))]
        wrong = (
            f"on most days the pump runs against {np.median(pressed):.3g} bar, and an open pipe to {outlet_m:g} m presses some "
            f"{outlet_m * BAR_PER_M:.2g}"
        )
    if not (fits and mostly(off)):
        fits, wrong = _at_rest(facts, days, gauge, pressed, high)
    if not fits:
        fits, wrong = _beyond_the_pump(facts, pressed, high)
    if fits:
        wrong += f": it looks like {' or '.join(unit for _, unit, _ in fits)}"
        fix = " or ".join(fix + (f" ({unit})" if len(fits) > 1 else "") for _, unit, fix in fits)
        yield Problem(file, "column discharge_pressure_bar", wrong, f"{fix}, or correct delivery.outlet_height_m")


def _beyond_the_pump(facts: SiteFacts, pressed: Floats, high: float) -> tuple[Fits, str]:
    """Units, where some days lie beyond all that pump and well can press, and all of them beyond an open pipe: a clogged pipe raises
    the pressure as far as the pump can, in any unit, and no further.
    """
    most_m = SHUT_OFF * max(row.head_m for row in facts.pump.curve) - facts.well.static_level_m + level_spare_m(facts)
    most = max(most_m * BAR_PER_M, high)
    beyond = pressed > BEYOND * most
    if (
        len(pressed) < DAYS_MIN
        or beyond.sum() < max(DAYS_MIN, BEYOND_DAYS * len(pressed))
        or not mostly(pressed > high)
    ):
        return [], ""
    low = PIPE_LOW * max(facts.delivery.outlet_height_m, 0.0) * BAR_PER_M
    fits = [
        one
        for one in PRESSURES
        if one[0] > 1.0 and ((pressed > one[0] * low) & (pressed < one[0] * most)).mean() >= FITS
    ]
    return (
        fits,
        f"on {int(beyond.sum())} days it reaches {np.median(pressed[beyond]):.3g} bar, and this pump presses some {most:.2g} at most",
    )


def _at_rest(facts: SiteFacts, days: Days, gauge: Floats, pressed: Floats, high: float) -> tuple[Fits, str]:
    """Units, where the water that stands on the gauge at rest is just so many times the outlet's height, and running it is as far off."""
    stands = max(facts.delivery.outlet_height_m, 0.0) * BAR_PER_M
    rests = days.middles(np.where(days.power < RESTS * full_w(facts), gauge, np.nan))
    rests = rests[rests > 0]
    if stands < STANDS_LEAST_M * BAR_PER_M or min(len(rests), len(pressed)) < DAYS_MIN or not mostly(pressed > high):
        return [], ""
    logs = np.log(rests / stands)
    fits = [one for one in PRESSURES if one[0] > 1.0 and mostly(np.abs(logs - np.log(one[0])) < STANDS_WITHIN)]
    outlet_m = facts.delivery.outlet_height_m
    return (
        fits,
        f"at rest it stands at {np.median(rests):.3g} bar on most days, and the outlet lies {outlet_m:g} m up, which is {stands:.2g}",
    )


def _power(file: str, rows: Rows, facts: SiteFacts, days: Days) -> Iterator[Problem]:
    """Water that took more energy to lift than was read: the reading of the power is too small."""
    taken_wh, water = days.sums(np.maximum(days.power, 0.0) * days.hours), days.water_m3(rows)
    told = (water > WATER_LEAST) & (taken_wh > 0)
    lift_m = facts.well.static_level_m + facts.delivery.outlet_height_m
    if told.sum() < DAYS_MIN or lift_m <= 0:
        return
    used_wh = WH_PER_M3_M * lift_m * water[told]
    if not mostly(used_wh > MOST_EFFICIENT * taken_wh[told]):
        return
    array, own = facts.array, "input_power_w" in rows.values and not np.isnan(rows["input_power_w"]).all()
    column, most = ("input_power_w", array_w(facts)) if own else ("pv_current_a", array.strings * array.module.i_mp_a)
    most *= full_w(facts) / array_w(facts)  # a small pump at a large array takes a tenth of it, and no point is lost
    tops = days.middles(np.where(rows[column][days.order] > 0, rows[column][days.order], np.nan), 0.95)
    lows = days.middles(np.where(rows[column][days.order] > 0, rows[column][days.order], np.nan), 0.05)
    for times in POINTS if len(tops) and mostly(tops > MOVES * lows) else ():
        if not mostly((tops * times > 10.0 * TENTH[0] * most) & (tops * times < 10.0 * TENTH[1] * most)):
            continue
        wrong = (
            f"on most days lifting the metered water takes {np.median(used_wh / taken_wh[told]):.2g} times the energy that was read, and "
            f"{column} stays below {np.median(tops):.3g} where this site gives {most:.3g}: a decimal point looks lost"
        )
        yield Problem(file, f"column {column}", wrong, f"multiply by {times:g}, or correct the site file")


def _light(file: str, rows: Rows, facts: SiteFacts, days: Days) -> Iterator[Problem]:
    """An array that gives more than the light that is read could make of it."""
    light = rows["irradiance_w_m2"][days.order]
    bright = light > 0
    if not bright.any() or np.isnan(days.power).all():
        return
    with np.errstate(divide="ignore", invalid="ignore"):
        needs = BRIGHT_W_M2 * days.power / array_w(facts)
        share = days.middles(np.where(bright & (needs > 0.1 * BRIGHT_W_M2), light / needs, np.nan))
    if len(share) >= DAYS_MIN and mostly((share > LIGHT_TENTH[0]) & (share < LIGHT_TENTH[1])):
        wrong = f"on most days the array gives {1.0 / np.median(share):.2g} times what such light could make of it: it looks like mW/cm2"
        yield Problem(file, "column irradiance_w_m2", wrong, "multiply by 10, or correct the site file")


def _motor(file: str, rows: Rows, facts: SiteFacts, days: Days) -> Iterator[Problem]:
    """A motor that lifts water as it should on a tenth of its rated current."""
    rated, current = facts.motor.rated_current_a, rows["motor_current_a"][days.order]
    water = days.water_m3(rows)
    if not rated or not (current > 0).any() or not mostly(water[water > 0] > WATER_LEAST):
        return
    loaded = days.middles(np.where((days.power > RUNS * full_w(facts)) & (current > 0), current, np.nan), 0.95)
    for times in POINTS if len(loaded) >= DAYS_MIN else ():
        scaled = loaded * times / 10.0
        if not mostly((scaled < MOTOR_TENTH * rated) & (scaled > 0.1 * MOTOR_TENTH * rated)):
            continue
        wrong = f"on most days it stays below {np.median(loaded):.3g} A at {RUNS:.0%} of full power and more, and the motor is rated {rated:g} A: a decimal point looks lost"
        yield Problem(file, "column motor_current_a", wrong, f"multiply by {times:g}, or correct motor.rated_current_a")


def _current(file: str, rows: Rows, facts: SiteFacts, days: Days) -> Iterator[Problem]:
    """Volts times amperes against the power that is read beside them."""
    power, current = rows["input_power_w"][days.order], rows["pv_current_a"][days.order]
    worked_out = rows["pv_voltage_v"][days.order] * current
    known = (power > RUNS * full_w(facts)) & (worked_out > 0)
    if not known.any():
        return
    with np.errstate(divide="ignore", invalid="ignore"):
        logs = days.middles(np.where(known, np.log(power / worked_out), np.nan))
    for factor, unit in PRODUCT if len(logs) >= DAYS_MIN else ():
        most = facts.array.strings * facts.array.module.i_sc_a
        fits = (
            mostly(np.abs(logs - np.log(factor)) < PRODUCT_WITHIN) and float(np.nanmax(current)) * factor < 2.0 * most
        )
        if fits:
            wrong = f"on most days input_power_w is {np.exp(np.median(logs)):.3g} times pv_voltage_v times pv_current_a: it looks like {unit}"
            yield Problem(file, "column pv_current_a", wrong, f"multiply by {factor:g}, or correct input_power_w")


def _flow(file: str, rows: Rows, facts: SiteFacts, days: Days) -> Iterator[Problem]:
    """A flow that is the same small share of what this pump lifts at its power, weak or strong, from the first day to the last.

    A hole takes its own share at each pressure, and wear takes most of a weak flow: neither leaves just a 3.6th of every one.
    """
    flow = rows["flow_m3_h"][days.order]
    full = full_w(facts)
    if not (flow > 0).any() or np.isnan(days.power).all():
        return
    plant = plant_of(facts)
    runs = (flow > 0) & (days.power > RUNS * full)
    if np.nanquantile(flow[runs], 0.99) > 2.0 * facts.pump.largest_flow_m3_h / A_SECOND if runs.any() else True:
        return
    due = np.full(len(flow), np.nan)
    lift_m = plant.system.head_m(np.full(int(runs.sum()), 0.7 * facts.pump.largest_flow_m3_h))
    due[runs] = plant.pump.lookup().flow_of_power(np.minimum(days.power[runs], plant.ceiling_w), lift_m)
    with np.errstate(divide="ignore", invalid="ignore"):
        logs = np.where(due > 0.1 * facts.pump.largest_flow_m3_h, np.log(flow * A_SECOND / due), np.nan)
    of_days = days.middles(logs)
    parts = [logs[runs & np.isfinite(logs) & which] for which in (days.power > STRONG * full, days.power < WEAK * full)]
    if len(of_days) < DAYS_MIN or min(map(len, parts)) < ROWS_A_DAY:
        return
    apart = abs(float(np.median(parts[0]) - np.median(parts[1])))
    if mostly(np.abs(of_days) < A_SECOND_WITHIN) and apart < SAME_SHARE:
        share = float(np.exp(np.median(of_days))) / A_SECOND
        wrong = f"from the first day on it is {share:.2g} times what this pump lifts, at much power as at little: it looks like L/s"
        yield Problem(file, "column flow_m3_h", wrong, f"multiply by {A_SECOND}, or correct the pump's table")
