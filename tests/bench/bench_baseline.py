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
WEAR = {"helical-rotor": 0.24, "multistage-centrifugal": 0.13}
"""Share of the rated flow that slips back at last. It comes to 0.24 to 0.4 of the flow delivered, 0.2 % a day and more: the flow of a
centrifugal pump at its head is steep in what slips back."""
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


def found(model: SiteModel, rows: Rows, speed: bool) -> tuple[dict[int, float], Baseline]:
    """By solar day, share of flow lost against the baseline learnt up to then; and the last baseline."""
    if not speed:
        rows = Rows(rows.time_ms, {name: column for name, column in rows.values.items() if name != "motor_speed_rpm"})
    baseline, days = Baseline.start(model.facts), np.floor(model.sky.local_days(rows.time_ms)).astype(int)
    kind, lost = ("flow_at_speed" if speed else "flow"), {}
    for day in np.unique(days):
        part = rows.take(days == day)
        seen, sound = model.expect(part), settled(part)
        at_max = part["pv_voltage_v"] < 1.03 * seen.mpp_voltage_v
        date = str(np.datetime64(int(day), "D"))
        estimate = observe_day(model, part, seen, part["flow_m3_h"], sound, at_max, date)
        for observation in estimate.observations:
            if observation.kind == kind:
                off = baseline.factors().vector() - [0.0 if name.endswith("_m") else 1.0 for name in NAMES]
                foretold = sum(
                    observation.slopes.get(name, 0.0) * value for name, value in zip(NAMES, off, strict=True)
                )
                lost[int(day)] = 1.0 - float(np.exp(observation.value - foretold))
        baseline = baseline.update(estimate)
    return lost, baseline


def truth(model: SiteModel, worn: Rows, sound: Rows, speed: bool) -> dict[int, float]:
    """By solar day, 1 - water of the worn plant over water of the sound one, scaled to the same speed (or power)."""
    with np.errstate(divide="ignore", invalid="ignore"):  # at rest: left out below
        if speed:
            scale = worn["motor_speed_rpm"] / sound["motor_speed_rpm"]
        else:
            scale = worn["pv_voltage_v"] * worn["pv_current_a"] / (sound["pv_voltage_v"] * sound["pv_current_a"])
    both = settled(worn) & settled(sound) & np.isfinite(scale) & ~np.isnan(worn["flow_m3_h"] + sound["flow_m3_h"])
    days = np.floor(model.sky.local_days(worn.time_ms)).astype(int)
    lost = {}
    for day in np.unique(days[both]):
        one = both & (days == day)
        should = float((sound["flow_m3_h"][one] * scale[one]).sum())
        if should > 0:
            lost[int(day)] = 1.0 - float(worn["flow_m3_h"][one].sum()) / should
    return lost


def main(names: list[str]) -> None:
    for number, name in enumerate(names):
        facts = load_site(FOLDER / f"{name}.toml")
        model, ends = SiteModel(facts), START + timedelta(days=DAYS)
        wear = Fault("worn-pump", START, ends, WEAR[facts.pump.kind], shape="ramp", options={"ramp_days": DAYS})
        worn, sound = (readings(facts, faults, 7 + number) for faults in ([wear], []))
        for speed in (True, False):
            true, (lost, baseline) = truth(model, worn, sound, speed), found(model, worn, speed)
            last = sorted(set(true) & set(lost))[-10:]
            gap = float(np.median([lost[day] - true[day] for day in last]))
            mean = float(np.mean([true[day] for day in last]))
            against = "speed" if speed else "power"
            print(
                f"{name:14s} {facts.pump.kind:22s} at equal {against}: true loss {mean:.3f}, found less true {gap:+.3f}",
                baseline.beyond_tolerance or "",
            )


if __name__ == "__main__":
    main(sys.argv[1:] or ["dustmill", "cistern-hill", "quiet-fold"])
