"""The further measures of the diagnosis bench, each beside what is to be reached: beginnings, delays by cause, soiling, intervals.

Flow: a case, its truths and their findings -> HERE -> lines that bench_diagnosis.py prints; `MISSED` stands where a figure falls short.
Never: judging; a case without rows (kept apart from its readings) is left out where running time is asked.
"""

from collections import defaultdict

import numpy as np

FAST = ("dry-running", "closed-delivery")
FAST_MIN = 3.0  # running minutes, where torque, or speed and current, are read each minute
STRING_H = 2.0
SOILING_POINTS = (0.02, 0.04)  # with a sensor, and without one after a cleaning or rain
SOILING_FROM = 0.05
LARGE, LARGE_DAYS = 0.15, 3.0
SMALL, SMALL_DAYS = 0.05, 60.0
SLOW_HYDRAULIC = ("clogging", "riser-leak", "worn-pump")
HOLD = (0.90, 0.99)
TELLING = 100  # fewer cannot tell a share of 0.99 from 1
GAP_S = 900.0  # a row stands for no longer than a quarter of an hour
FED_SHARE = 0.05  # of the largest power: below it the pump rests


class Targets:
    """Sums over cases."""

    def __init__(self) -> None:
        self.began_h: dict[str, list[float]] = defaultdict(list)
        self.fast_min: list[float] = []
        self.string_h: list[float] = []
        self.soiling: dict[bool, list[float]] = {True: [], False: []}
        self.large: list[bool] = []
        self.small: list[bool] = []
        self.held: list[bool] = []

    def add(self, case, truth, finding, began_s: float, flagged_s: float) -> None:
        """One truth and the finding that told of it, None where none did; times in s since the epoch."""
        late_d = np.inf if finding is None else (flagged_s - truth.began) / 86400.0
        has = set(case.facts.sensors.channels)
        if truth.cause in SLOW_HYDRAULIC and truth.size >= LARGE:
            self.large.append(late_d <= LARGE_DAYS)
        if truth.cause == "worn-pump" and truth.size >= SMALL and {"motor_speed_rpm", "motor_current_a"} <= has:
            self.small.append(late_d <= SMALL_DAYS)
        if finding is None:
            return
        self.began_h[truth.cause].append(abs(began_s - truth.began) / 3600.0)
        if finding.size is not None and np.isfinite(truth.size):
            self.held.append(finding.size.low <= truth.size <= finding.size.high)
            if truth.cause == "panel-soiling" and truth.size >= SOILING_FROM:
                self.soiling["irradiance_w_m2" in has].append(abs(finding.size.value - truth.size))
        ran_h = running_h(case.rows, truth.began, flagged_s)
        if truth.cause in FAST and "motor_speed_rpm" in has:
            self.fast_min.append(60.0 * ran_h)
        if truth.cause == "string-out":
            self.string_h.append(ran_h)

    def lines(self) -> list[str]:
        """The measures, one a line, those with nothing to tell left out."""
        found = []
        if self.began_h:
            every = np.concatenate(list(self.began_h.values()))
            by = ", ".join(f"{c} {np.median(v):.0f}" for c, v in sorted(self.began_h.items()))
            found.append(
                f"began, hours off: median {np.median(every):.1f}, 90 % {np.quantile(every, 0.9):.0f}   (medians: {by})"
            )
        found += _quantile("dry running, closed delivery: running minutes to the flag, 90 %", self.fast_min, FAST_MIN)
        found += _quantile("string out: hours of running to the flag, 90 %", self.string_h, STRING_H)
        for measured, limit in zip((True, False), SOILING_POINTS, strict=True):
            sensor = "with" if measured else "without"
            found += _quantile(
                f"soiling {sensor} a sensor: points off, 90 %", [100 * v for v in self.soiling[measured]], 100 * limit
            )
        found += _share(
            "clogging, leak, wear of 15 % within 3 days of their beginning (growing ones too)", self.large, (0.9, 1.0)
        )
        found += _share("wear of 5 % within 60 days, speed and current read", self.small, (0.9, 1.0))
        found += _share("95 % intervals that hold", self.held, HOLD)
        return found


def running_h(rows, from_s: float, to_s: float) -> float:
    """Hours that the pump ran between two instants, by its own word or by its power; NaN without readings. [h]"""
    if not hasattr(rows, "values") or not len(rows.time_ms):
        return float("nan")
    order = np.argsort(rows.time_ms, kind="stable")
    time_s = rows.time_ms[order] / 1000.0
    power = rows["pv_voltage_v"] * rows["pv_current_a"] if "pv_current_a" in rows.values else rows["input_power_w"]
    fed = power > FED_SHARE * np.nanmax(power)
    said = rows["motor_running"]
    runs = np.where(np.isnan(said), fed, said > 0)[order]
    stands_s = np.minimum(np.diff(time_s, prepend=time_s[0]), GAP_S)
    return float(stands_s[runs & (time_s > from_s) & (time_s <= to_s)].sum() / 3600.0)


def _quantile(what: str, values: list[float], most: float) -> list[str]:
    values = [v for v in values if np.isfinite(v)]
    if not values:
        return []
    got = float(np.quantile(values, 0.9))
    return [f"{what}: {got:.1f} of {len(values)}, to reach {most:g}{'' if got <= most else '   MISSED'}"]


def _share(what: str, values: list[bool], within: tuple[float, float]) -> list[str]:
    if not values:
        return []
    got = float(np.mean(values))
    least, most = within[0], within[1] if len(values) >= TELLING else 1.0
    wanted = f"{within[0]:g} to {within[1]:g}"
    return [f"{what}: {got:.2f} of {len(values)}, to reach {wanted}{'' if least <= got <= most else '   MISSED'}"]
