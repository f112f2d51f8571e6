"""Does the baseline leave a slow wear where it is? Against the samples' plants, which share no code with the expected side.

Run: python tests/bench/bench_baseline.py [site ...]
120 days of wear that grows from nothing to 0.24 of the rated flow. Two fit-outs: speed measured, or power and flow alone. Prints the
loss found over the last ten days against the truth: the same plant, same sky, without the wear.
"""

import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from analysis.baseline import Baseline
from analysis.day_observations import observe_day
from analysis.expected import SiteModel
from analysis.factors import NAMES
from analysis.rows import Rows
from logger.record.site_file import load_site
from samples.faults import Fault
from samples.season import make_season

CHANNELS = (
    "pv_voltage_v",
    "pv_current_a",
    "motor_speed_rpm",
    "flow_m3_h",
    "tank_float_up",
    "motor_running",
    "low_level_probe_wet",
)
START, DAYS, STEP_S = datetime(2025, 9, 1, tzinfo=UTC), 120, 300
FOLDER = Path(__file__).parents[2] / "samples" / "sites"


def readings(facts, faults, seed: int) -> Rows:
    frame, _ = make_season(facts, faults, START, START + timedelta(days=DAYS), STEP_S, seed, CHANNELS)
    time_ms = frame["time"].dt.as_unit("ms").astype("int64").to_numpy()
    return Rows(time_ms, {name: frame[name].to_numpy(float) for name in CHANNELS if name in frame})


def settled(rows: Rows) -> np.ndarray:
    """Running for a quarter of an hour, nothing telling the pump to stand."""
    on = (rows["motor_running"] > 0.5) & ~(rows["tank_float_up"] > 0.5) & ~(rows["low_level_probe_wet"] < 0.5)
    held = on.copy()
    for shift in (1, 2, 3, -1):
        held &= np.roll(on, shift)
    return held


def found(model: SiteModel, rows: Rows, speed: bool) -> tuple[float, Baseline]:
    """Share of flow lost over the last ten days against the baseline learnt on the way, and that baseline."""
    if not speed:
        rows = Rows(rows.time_ms, {name: column for name, column in rows.values.items() if name != "motor_speed_rpm"})
    baseline, days = Baseline.start(model.facts), np.floor(model.sky.local_days(rows.time_ms)).astype(int)
    kind, late = ("flow_at_speed" if speed else "flow"), []
    for day in np.unique(days):
        part = rows.take(days == day)
        seen, sound = model.expect(part), settled(part)
        at_max = part["pv_voltage_v"] < 1.03 * seen.mpp_voltage_v
        estimate = observe_day(model, part, seen, part["flow_m3_h"], sound, at_max, str(np.datetime64(int(day), "D")))
        for observation in estimate.observations:
            if observation.kind == kind and day > days[-1] - 10:
                off = baseline.factors().vector() - [0.0 if name.endswith("_m") else 1.0 for name in NAMES]
                foretold = sum(
                    observation.slopes.get(name, 0.0) * value for name, value in zip(NAMES, off, strict=True)
                )
                late.append(1.0 - np.exp(observation.value - foretold))
        baseline = baseline.update(estimate)
    return float(np.median(late)) if late else np.nan, baseline


def main(names: list[str]) -> None:
    for number, name in enumerate(names):
        facts = load_site(FOLDER / f"{name}.toml")
        model = SiteModel(facts)
        wear = Fault("worn-pump", START, START + timedelta(days=DAYS), 0.24, shape="ramp", options={"ramp_days": DAYS})
        worn, sound = (readings(facts, faults, 7 + number) for faults in ([wear], []))
        last = worn.time_ms > worn.time_ms[-1] - 10 * 86_400_000
        both = last & settled(worn) & settled(sound)
        for speed in (True, False):
            against = "motor_speed_rpm" if speed else "input power"
            scale = (
                worn["motor_speed_rpm"] / sound["motor_speed_rpm"]
                if speed
                else (worn["pv_voltage_v"] * worn["pv_current_a"]) / (sound["pv_voltage_v"] * sound["pv_current_a"])
            )
            pumped = both & np.isfinite(scale) & ~np.isnan(worn["flow_m3_h"] + sound["flow_m3_h"])
            true = 1.0 - worn["flow_m3_h"][pumped].sum() / (sound["flow_m3_h"] * scale)[pumped].sum()
            lost, baseline = found(model, worn, speed)
            print(
                f"{name:14s} {facts.pump.kind:22s} at equal {against:16s} true {true:.3f} found {lost:.3f}",
                baseline.beyond_tolerance,
            )


if __name__ == "__main__":
    main(sys.argv[1:] or ["dustmill", "cistern-hill", "quiet-fold"])
