"""Does the engine's baseline leave a fault where it is? Against the samples' plants, which share no code with the expected side.

Run: python tests/bench/bench_baseline.py [--seed N] [site ...]
The weather's seed is drawn afresh where none is given, and printed. Two fit-outs: speed and current measured, or power and flow alone (the
level moves with the samples' season). Three trials a site and fit-out, and a fourth of power and flow alone:
growing   120 days of wear from nothing up, 0.2 % a day and more. The water lost over the last ten days at the power there was, as the
          engine sizes it, less the truth (the same plant under the same sky without the wear); what of the loss the baseline took for
          the pump's own, at equal speed or power; and the size that the finding tells.
first day A quarter of the flow worn off from the first day: is it a finding, and how much of it was learnt?
healthy   The same plant sound: what the baseline says of its named parameters, and findings, which should be none.
together  Half that wear, a leak and a bad cable growing together, the level steady: as `growing`.
"""

import argparse
import secrets
import sys
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from analysis.baseline import Baseline, baseline_of
from analysis.close import learnt_of
from analysis.estimates.bench import DAY_SHARE
from analysis.estimates.vector import BANDS, PLACE
from analysis.expected import SiteModel
from analysis.flow_lost import WATER, lost_by_day, size_of
from analysis.pipeline import State, advance, begin
from analysis.rows import Rows
from analysis.slow import slow_bench
from logger.record.site_facts import SiteFacts
from logger.record.site_file import load_site
from samples.faults import Fault
from samples.season import make_season
from tests.bench.targets import mark

POWER_AND_FLOW = ("pv_voltage_v", "pv_current_a", "flow_m3_h", "tank_float_up", "motor_running", "low_level_probe_wet")
SPEED_TOO = (*POWER_AND_FLOW, "motor_speed_rpm", "motor_current_a")
START, DAYS, STEP_S = datetime(2025, 9, 1, tzinfo=UTC), 120, 300
WEAR = {"helical-rotor": 0.24, "multistage-centrifugal": 0.13}
"""Share of the rated flow that slips back at last. It comes to 0.24 to 0.4 of the flow delivered, 0.2 % a day and more: the flow of a
centrifugal pump at its head is steep in what slips back."""
FIRST_DAY = {"helical-rotor": 0.24, "multistage-centrifugal": 0.165}
"""Likewise from the first day on: so that a quarter of the flow delivered is lost."""
LEAK, CABLE = 0.06, 0.06
"""What grows beside half the wear: share of the flow that leaks, of the power that the cable takes."""
LAST = 10
WITHIN = {True: 0.02, False: 0.05}
"""How far the loss seen may lie from the true one: with speed and current, and with power and flow alone."""
BEYOND = 1.1
"""How far above the sound plant's largest power its flow is taken from its own curve."""
PARTS = 40
FOLDER = Path(__file__).parents[2] / "samples" / "sites"


def readings(facts: SiteFacts, faults: list[Fault], seed: int, days: int = DAYS) -> Rows:
    frame, _ = make_season(facts, faults, START, START + timedelta(days=days), STEP_S, seed, SPEED_TOO)
    time_ms = frame["time"].dt.as_unit("ms").astype("int64").to_numpy()
    return Rows(time_ms, {name: frame[name].to_numpy(float) for name in SPEED_TOO if name in frame})


def fitted(facts: SiteFacts, rows: Rows, speed: bool) -> tuple[SiteFacts, Rows]:
    """Site file and rows of one fit-out."""
    channels = SPEED_TOO if speed else POWER_AND_FLOW
    kept = {name: column for name, column in rows.values.items() if name in channels}
    return replace(facts, sensors=replace(facts.sensors, channels=channels)), Rows(rows.time_ms, kept)


def judged(facts: SiteFacts, rows: Rows) -> tuple[State, Baseline]:
    """The engine after all rows, and its baseline."""
    state = advance(begin(facts), rows, int(rows.time_ms.max()))
    scatter = slow_bench(state.plant).scatter
    return state, baseline_of(learnt_of(state.plant, state.memory), scatter)


def seen_loss(state: State) -> float:
    """Share of the water lost over the last days against the baseline, at equal power, as the engine sizes what costs flow."""
    memory = state.memory
    return size_of(lost_by_day(learnt_of(state.plant, memory), memory.arrays[WATER], LAST).told())[0]


def taken(worn: State, sound: State, speed: bool) -> float:
    """Loss over the last days that the baseline took for the pump's own: what the sound plant's own days show, less what was learnt.

    At equal speed, or power, by bands: both judged by the same engine, so that its expectation falls out.
    """
    places = [PLACE[f"{'n' if speed else 'q'}{band}"] for band in range(BANDS)]
    shown = worn.memory.arrays["recent"][-LAST:, places]
    true = shown - sound.memory.arrays["recent"][-LAST:, places]
    told = shown - worn.memory.arrays["mean"][places]
    weight = np.where(np.isnan(true), 0.0, DAY_SHARE)
    return float(((np.exp(np.nan_to_num(told)) - np.exp(np.nan_to_num(true))) * weight).sum() / weight.sum())


def true_loss(model: SiteModel, worn: Rows, sound: Rows) -> float:
    """1 - water of the worn plant over what the sound one lifts at the same powers, over the last days.

    All hours that it turns: those in which it lifts nothing any more, and those at the speed limit, where worn pump and bad cable take more power
    than the sound plant ever does. The sound plant's own rows say what that is.
    """

    def of(rows: Rows) -> tuple[np.ndarray, np.ndarray]:
        at = rows["pv_voltage_v"] * rows["pv_current_a"]
        days = np.floor(model.sky.local_days(rows.time_ms)).astype(int)
        use = settled(rows) & (days > days.max() - LAST) & (rows["flow_m3_h"] >= 0) & np.isfinite(at)
        return at[use], rows["flow_m3_h"][use]

    at_sound, flow_sound = of(sound)
    at_worn, flow_worn = of(worn)
    both = (at_worn > at_sound.min()) & (at_worn < BEYOND * at_sound.max())
    return 1.0 - float(flow_worn[both].sum() / lifted(at_sound, flow_sound, at_worn[both]).sum())


def lifted(at: np.ndarray, flow: np.ndarray, power: np.ndarray) -> np.ndarray:
    """Flow at other powers of the plant that had `flow` at `at`: means of fortieths of its rows, and above them as a parabola through all rises."""
    order = np.argsort(at)
    at, flow = at[order], flow[order]
    middles, means = (np.array([part.mean() for part in np.array_split(column, PARTS)]) for column in (at, flow))
    curve = np.polynomial.Polynomial.fit(at[flow > 0], flow[flow > 0], 2)
    above = means[-1] + np.maximum(curve(power) - curve(middles[-1]), 0.0)
    return np.where(power > middles[-1], above, np.interp(power, middles, means))


def settled(rows: Rows) -> np.ndarray:
    """Running for a quarter of an hour, nothing telling the pump to stand."""
    on = (rows["motor_running"] > 0.5) & ~(rows["tank_float_up"] > 0.5) & ~(rows["low_level_probe_wet"] < 0.5)
    held = on.copy()
    for shift in (1, 2, 3, -1):
        held &= np.roll(on, shift)
    return held


def told(state: State) -> str:
    """The findings in a few words."""
    found = []
    for finding in state.findings:
        size = finding.size
        amount = f" {size.value:.2f} ({size.low:.2f} to {size.high:.2f})" if size else ""
        day = (datetime.fromisoformat(finding.flagged) - START).days
        found.append(f"{finding.cause}{amount} from day {day}")
    return "; ".join(found) or "nothing found"


def together(site: SiteFacts, seed: int) -> None:
    """Print how much of wear, leak and cable growing at once is seen with power and flow alone, the level steady."""
    site = replace(site, well=replace(site.well, seasonal_range_m=0.0))
    ends, ramp = START + timedelta(days=DAYS), {"ramp_days": DAYS}
    sizes = (("worn-pump", 0.5 * WEAR[site.pump.kind]), ("riser-leak", LEAK), ("cable-fault", CABLE))
    faults = [Fault(name, START, ends, size, shape="ramp", options=ramp) for name, size in sizes]
    facts, worn = fitted(site, readings(site, faults, seed), False)
    sound = fitted(site, readings(site, [], seed), False)[1]
    state = judged(facts, worn)[0]
    true = true_loss(SiteModel(facts), worn, sound)
    off = seen_loss(state) - true
    print(
        f"  together   lost {true:.3f}, seen less true {off:+.3f}, to reach {WITHIN[False]:g}{mark(abs(off) <= WITHIN[False])}; {told(state)}"
    )


def main(names: list[str], seed: int) -> None:
    print(f"seed {seed}")
    for number, name in enumerate(names):
        site, ends = load_site(FOLDER / f"{name}.toml"), START + timedelta(days=DAYS)
        share = WEAR[site.pump.kind]
        growing = Fault("worn-pump", START, ends, share, shape="ramp", options={"ramp_days": DAYS})
        worn_rows, sound_rows = (readings(site, faults, seed + number) for faults in ([growing], []))
        first_rows = readings(site, [Fault("worn-pump", START, ends, FIRST_DAY[site.pump.kind])], seed + number, 40)
        for speed in (True, False):
            facts, worn = fitted(site, worn_rows, speed)
            sound, first = fitted(site, sound_rows, speed)[1], fitted(site, first_rows, speed)[1]
            print(f"{name}, {site.pump.kind}, {'speed and current' if speed else 'power and flow'}")
            state, as_sound = judged(facts, worn)[0], judged(facts, sound)
            true = true_loss(SiteModel(facts), worn, sound)
            off, learnt = seen_loss(state) - true, taken(state, as_sound[0], speed)
            missed = mark(max(abs(off), abs(learnt)) <= WITHIN[speed])
            print(
                f"  growing    lost {true:.3f}, seen less true {off:+.3f}, taken for its own {learnt:+.3f}, to reach "
                f"{WITHIN[speed]:g}{missed}; {told(state)}"
            )
            state, baseline = judged(facts, first)
            learnt, std = baseline.together({"flow": 1.0, "meter": 1.0})
            print(f"  first day  flow learnt {learnt:+.3f} +- {std:.3f}; {told(state)}")
            state, baseline = as_sound
            known = (f"{p.name} {p.value:+.3f} +- {p.std:.3f}" for p in baseline.parameters if p.told)
            print(f"  healthy    {', '.join(known)}; {told(state)}")
        together(site, seed + number)


if __name__ == "__main__":
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("sites", nargs="*", default=["dustmill", "cistern-hill", "quiet-fold"])
    asked.add_argument(
        "--seed", type=int, default=secrets.randbelow(10**6), help="of the weather; drawn where not given"
    )
    given = asked.parse_args()
    main(given.sites, given.seed)
