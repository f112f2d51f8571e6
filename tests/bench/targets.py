"""The further measures of the diagnosis bench, each beside what is to be reached: beginnings, delays by cause, soiling, intervals.

Of dry running and closed delivery the minutes and steps are those in which a sound pump would have brought water: a fault that comes by night
is told by nobody before water is due. Whether it was due is taken from the same case's fortnight before, by the speed at which water
came, or, with a meter alone, by what came at that time of day; nothing of the engine's.

Flow: a case, its truths and their findings -> HERE -> lines that bench_diagnosis.py prints; `MISSED` stands where a figure falls short.
A fault that was not found counts as not within its time, and its size as not within its points.
Never: judging; a case without rows (kept apart from its readings) is left out where running time is asked.
"""

from collections import defaultdict

import numpy as np

FAST = ("dry-running", "closed-delivery")
FAST_MIN = 3.0  # running minutes, where torque, or speed and current, are read each minute
METER_STEPS = 3.0  # with a meter alone; of a meter so fine that a minute gives more, three running minutes
EACH_MINUTE_S = 75.0  # rows that come each minute
STRING_H = 2.0  # at maximum power
GROUP_DAYS = 2.0  # less than a string: a diode group, or a module
SOILING_POINTS = {"with a sensor": 0.02, "without one, after a cleaning or rain": 0.04, "without one, before any": 0.06}
SOILING_FROM = 0.05
LARGE, LARGE_DAYS = 0.15, 3.0
AT_ONCE_S = 2 * 3600.0  # what is all there within so long came at once
SMALL, SMALL_DAYS = 0.05, 60.0
SLOW_HYDRAULIC = ("clogging", "riser-leak", "worn-pump")
HOLD = (0.90, 0.99)
NINE_TENTHS = (0.9, 1.0)
F1_OF = {"full": 0.95, "middle": 0.90, "lean": 0.80}
FIRST_RIGHT, CALIBRATION, FALSE_A_YEAR, VISITS_A_YEAR = 0.90, 0.07, 0.3, 0.1
TELLING = 100  # fewer cannot tell a share of 0.99 from 1
GAP_S = 900.0  # a row stands for no longer than a quarter of an hour
FED_SHARE = 0.05  # of the largest power: below it the pump rests
CEILING, DUSK = (
    0.95,
    0.15,
)  # of the largest power of the fortnight before: above it power is held back, below it the light is weak
SPEEDS, COMES = 20, 0.05  # classes of speed up to the fastest; of the largest flow, what counts as water
FORTNIGHT_S = 14 * 86400.0


class Targets:
    """Sums over cases. Delays are inf where the fault was not found."""

    def __init__(self) -> None:
        self.began_h: dict[str, list[float]] = defaultdict(list)
        self.fast_min: list[float] = []
        self.meter_steps: list[float] = []
        self.string_h: list[float] = []
        self.group_days: list[float] = []
        self.soiling: dict[str, list[float]] = {name: [] for name in SOILING_POINTS}
        self.large: list[float] = []
        self.at_once: list[float] = []
        self.grown: list[float] = []
        self.small: list[float] = []
        self.held: list[bool] = []

    def add(self, case, truth, finding, began_s: float, flagged_s: float) -> None:
        """One truth and the finding that told of it, None where none did; times in s since the epoch."""
        late_d = np.inf if finding is None else (flagged_s - truth.began) / 86400.0
        has = set(case.facts.sensors.channels)
        if truth.cause in SLOW_HYDRAULIC and truth.size >= LARGE:
            self.large.append(late_d)
        self._by_course(truth, np.inf if finding is None else flagged_s)
        if truth.cause == "worn-pump" and truth.size >= SMALL and {"motor_speed_rpm", "motor_current_a"} <= has:
            self.small.append(late_d)
        if truth.cause == "panel-soiling" and truth.size >= SOILING_FROM:
            sized = finding is not None and finding.size is not None
            self.soiling[_light(truth, has)].append(abs(finding.size.value - truth.size) if sized else np.inf)
        self._fast(case, truth, has, flagged_s if finding is not None else np.inf)
        if finding is None:
            return
        self.began_h[truth.cause].append(abs(began_s - truth.began) / 3600.0)
        if finding.size is not None and np.isfinite(truth.size):
            self.held.append(finding.size.low <= truth.size <= finding.size.high)

    def _by_course(self, truth, flagged_s: float) -> None:
        """Of a fault that grows nobody can know before it is there: it is asked from when it passes LARGE."""
        passed = getattr(truth, "passed", None)
        if truth.cause not in SLOW_HYDRAULIC or passed is None:
            return
        if passed - truth.began >= AT_ONCE_S:
            self.grown.append((flagged_s - passed) / 86400.0)
        elif truth.size >= LARGE:
            self.at_once.append((flagged_s - truth.began) / 86400.0)

    def _fast(self, case, truth, has: set[str], flagged_s: float) -> None:
        """What is asked in running time: of a fault too short to be told within it nothing is asked."""
        if not hasattr(case.rows, "values") or not len(case.rows.time_ms):
            return
        seen = Running(case.rows)
        if truth.cause in FAST:
            due = seen.due(truth.began)
            lasted_min = 60.0 * seen.hours(truth.began, truth.ended, due)
            took_min = 60.0 * seen.hours(truth.began, flagged_s, due)
            if lasted_min > FAST_MIN and "motor_speed_rpm" in has and seen.spacing_s <= EACH_MINUTE_S:
                self.fast_min.append(took_min)
            steps = seen.steps(truth.began, np.array([flagged_s, truth.ended]), case.facts.sensors.meter_step_m3)
            if not has & {"motor_speed_rpm", "motor_current_a"} and steps[1] > METER_STEPS and lasted_min > FAST_MIN:
                self.meter_steps.append(min(steps[0], METER_STEPS) if took_min <= FAST_MIN else steps[0])
        if truth.cause == "string-out":
            strings = case.facts.array.strings
            if truth.size >= 0.75 / strings and strings > 1:
                if seen.hours(truth.began, truth.ended, seen.at_maximum(truth.began)) > STRING_H:
                    self.string_h.append(seen.hours(truth.began, flagged_s, seen.at_maximum(truth.began)))
            elif truth.ended - truth.began > GROUP_DAYS * 86400.0:
                self.group_days.append((flagged_s - truth.began) / 86400.0)

    def lines(self) -> list[str]:
        """The measures, one a line, those with nothing to tell left out."""
        found = []
        if self.began_h:
            every = np.concatenate(list(self.began_h.values()))
            by = ", ".join(f"{c} {np.median(v):.0f}" for c, v in sorted(self.began_h.items()))
            found.append(
                f"began, hours off: median {np.median(every):.1f}, 90 % {np.quantile(every, 0.9):.0f}   (medians: {by})"
            )
        found += _within(
            "dry running, closed delivery within 3 running minutes, speed read each minute",
            self.fast_min,
            FAST_MIN,
            "min",
        )
        found += _within(
            "dry running, closed delivery within 3 expected meter steps, meter alone",
            self.meter_steps,
            METER_STEPS,
            "steps",
        )
        found += _within("string out within 2 hours at maximum power", self.string_h, STRING_H, "h")
        found += _within(
            "less than a string (a diode group, a module) within 2 days", self.group_days, GROUP_DAYS, "days"
        )
        for name, limit in SOILING_POINTS.items():
            points = [100.0 * off for off in self.soiling[name]]
            found += _within(f"soiling {name}: within {100 * limit:g} points", points, 100.0 * limit, "points")
        found += _within(
            "clogging, leak, wear of 15 % within 3 days of their beginning (growing ones too)",
            self.large,
            LARGE_DAYS,
            "days",
        )
        found += _within("   of these, those that came at once", self.at_once, LARGE_DAYS, "days")
        found += _within("   growing ones, from when they pass 15 %", self.grown, LARGE_DAYS, "days")
        found += _within("wear of 5 % within 60 days, speed and current read", self.small, SMALL_DAYS, "days")
        found += _share("95 % intervals that hold", self.held, HOLD)
        return found


def _light(truth, has: set[str]) -> str:
    """Which of SOILING_POINTS is asked: a fault that ended was cleaned or rained off."""
    if "irradiance_w_m2" in has:
        return "with a sensor"
    return "without one, before any" if truth.lasting else "without one, after a cleaning or rain"


class Running:
    """Of a case's rows, when the pump ran and at what power; nothing of the engine's."""

    def __init__(self, rows) -> None:
        order = np.argsort(rows.time_ms, kind="stable")
        self.time_s = rows.time_ms[order] / 1000.0
        both = "pv_voltage_v" in rows.values and "pv_current_a" in rows.values
        self.power = (rows["pv_voltage_v"] * rows["pv_current_a"] if both else rows["input_power_w"])[order]
        self.volume = rows["volume_m3"][order]
        said = rows["motor_running"][order]
        self.runs = np.where(np.isnan(said), self.power > FED_SHARE * np.nanmax(self.power), said > 0)
        known = np.where(np.isfinite(self.volume), self.volume, -np.inf)
        self.gave_m3 = np.nan_to_num(np.diff(np.maximum.accumulate(known), prepend=known[:1]), posinf=0.0)
        if not (self.gave_m3 > 0).any():  # no meter, or a dead one: a flow may be read
            hours = np.minimum(np.diff(self.time_s, prepend=self.time_s[0]), GAP_S) / 3600.0
            self.gave_m3 = np.nan_to_num(rows["flow_m3_h"][order]) * hours
        self.speed = np.abs(rows["motor_speed_rpm"][order])
        self.stands_s = np.minimum(np.diff(self.time_s, prepend=self.time_s[0]), GAP_S)
        self.spacing_s = float(np.median(np.diff(self.time_s))) if len(order) > 1 else np.inf

    def hours(self, from_s: float, to_s: float, which: np.ndarray | None = None) -> float:
        """That the pump ran between two instants, inf where the second is; `which`: only such rows count. [h]"""
        if not np.isfinite(to_s):
            return np.inf
        chosen = self.runs & (self.time_s > from_s) & (self.time_s <= to_s)
        return float(self.stands_s[chosen if which is None else chosen & which].sum() / 3600.0)

    def at_maximum(self, from_s: float) -> np.ndarray:
        """Rows at the array's maximum power, by the fortnight before: less than the largest, for there the controller holds it back, and more than dusk gives. bool[n]"""
        before = self._fortnight(from_s)
        most = np.nanquantile(self.power[before], 0.995) if before.any() else np.nanmax(self.power)
        return (self.power < CEILING * most) & (self.power > DUSK * most)

    def due(self, from_s: float) -> np.ndarray:
        """Rows in which a sound pump would bring water: where its speed is read, at speeds from which on it came in the fortnight before; else any. bool[n]"""
        before = self._fortnight(from_s) & self.runs & (self.speed > 0)
        if np.count_nonzero(before) < SPEEDS or not (self.gave_m3[before] > 0).any():
            return np.ones(len(self.time_s), bool)
        edges = np.linspace(0.0, float(self.speed[before].max()), SPEEDS + 1)
        place = np.clip(np.digitize(self.speed[before], edges) - 1, 0, SPEEDS - 1)
        gave = np.bincount(place, self.gave_m3[before], SPEEDS)
        stood = np.bincount(place, self.stands_s[before], SPEEDS)
        rate = gave / np.maximum(stood, 1.0)
        comes = np.flatnonzero(rate > COMES * rate.max())
        return ~(self.speed < edges[comes[0] + 1])

    def steps(self, from_s: float, until_s: np.ndarray, step_m3: float | None) -> np.ndarray:
        """Steps that the meter should have made while it ran, from an instant until others, by what that half hour of the day gave in the fortnight before."""
        before = self._fortnight(from_s) & np.isfinite(self.volume)
        gave_m3 = float(self.gave_m3[before].sum())
        if not step_m3 or gave_m3 <= 0.0:
            return np.full(len(until_s), np.nan)
        ran = before & self.runs
        place = (self.time_s % 86400.0 // 1800.0).astype(int)
        gave = np.bincount(place[before], self.gave_m3[before], 48)
        stood = np.bincount(place[ran], self.stands_s[ran], 48)
        rate = np.where(stood > 0, gave / np.maximum(stood, 1.0), 0.0)[place]
        found = []
        for until in until_s:
            chosen = self.runs & (self.time_s > from_s) & (self.time_s <= until)
            found.append(float((rate * self.stands_s)[chosen].sum()) / step_m3 if np.isfinite(until) else np.inf)
        return np.array(found)

    def _fortnight(self, from_s: float) -> np.ndarray:
        return (self.time_s <= from_s) & (self.time_s > from_s - FORTNIGHT_S)


def mark(held: bool) -> str:
    """What stands behind a figure: nothing where it reaches its goal."""
    return "" if held else "   MISSED"


def goal_of(fitout: str | None) -> float:
    """The F1 to reach by a fit-out; of fit-outs mixed, the least of them."""
    return F1_OF.get((fitout or "").partition("-")[0], min(F1_OF.values()))


def _within(what: str, values: list[float], most: float, unit: str) -> list[str]:
    """Share within `most`; median and nine tenths of all, `never` where that many were not found."""
    values = [v for v in values if not np.isnan(v)]
    if not values:
        return []
    share = float(np.mean(np.array(values) <= most))
    middle, tenth = (float(np.quantile(values, q, method="higher")) for q in (0.5, 0.9))
    told = ", ".join(
        f"{name} {'never' if np.isinf(v) else f'{v:.1f} {unit}'}" for name, v in (("median", middle), ("90 %", tenth))
    )
    lost = sum(np.isinf(values))
    return [
        f"{what}: {share:.2f} of {len(values)} ({lost} not found; {told}), to reach {NINE_TENTHS[0]:g}{mark(share >= NINE_TENTHS[0])}"
    ]


def _share(what: str, values: list[bool], within: tuple[float, float]) -> list[str]:
    if not values:
        return []
    got = float(np.mean(values))
    least, most = within[0], within[1] if len(values) >= TELLING else 1.0
    wanted = f"{within[0]:g} to {within[1]:g}"
    return [f"{what}: {got:.2f} of {len(values)}, to reach {wanted}{mark(least <= got <= most)}"]
