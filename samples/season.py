"""A season of readings from a simulated plant, with what was really wrong.

Flow: site facts, faults, seed -> plant -> instruments -> a table like a logger's -> CSV, Parquet, truth.json.
`python -m samples.season --site SITE.toml --seed 1 --out FOLDER` writes one.
Never: analysis.
"""

import argparse
import json
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from logger.record.site_facts import SiteFacts
from logger.record.site_file import load_site
from samples.dirt import Dirt, soil_record
from samples.faults import Fault, effects_of, epoch
from samples.plant.drawn import Likeness, Plant, draw_plant
from samples.plant.sensors import CLASSES, FLAGS, biases, meter_register, ordered, read, sick, true_values
from samples.plant.simulate import Lived, live, set_scene
from samples.plant.sky import day_origin_s
from samples.plant.streams import stream
from samples.truth import Truth, truths

Floats = NDArray[np.float64]
PLANT_STEP_S = 60
REGISTER_FACTOR_SPREAD = 0.012
DRAWN, CLEAN = Likeness(), Dirt()


@dataclass
class Season:
    """A season with everything that a live run needs to carry on from it."""

    frame: pd.DataFrame
    truths: list[Truth]
    lived: Lived
    plant: Plant
    faults: list[Fault]
    volume_m3: float


def make_season(
    facts: SiteFacts,
    faults: list[Fault],
    start: datetime,
    end: datetime,
    step_s: int = 60,
    seed: int = 0,
    channels: tuple[str, ...] | None = None,
    likeness: Likeness = DRAWN,
    dirt: Dirt = CLEAN,
) -> tuple[pd.DataFrame, list[Truth]]:
    """Readings from `start` (left out) to `end` (included) every `step_s` seconds (1 to 900, must divide 86400).

    Returns the table (`time` in UTC and the channels of the site file, or `channels`) and the truth about its faults.
    The same arguments give the same table. ValueError: a step that does not fit, an empty span, a channel that is none.
    """  # fmt: skip
    season = live_season(facts, faults, start, end, step_s, seed, channels, likeness, dirt)
    return season.frame, season.truths


def live_season(
    facts: SiteFacts, faults: list[Fault], start: datetime, end: datetime, step_s: int = 60, seed: int = 0,
    channels: tuple[str, ...] | None = None, likeness: Likeness = DRAWN, dirt: Dirt = CLEAN,
) -> Season:  # fmt: skip
    """As make_season, with the plant and its state kept."""
    if not 1 <= step_s <= 900 or 86400 % step_s:
        raise ValueError(f"step_s must be 1 to 900 and divide 86400, got {step_s}")
    if not epoch(start) < epoch(end):
        raise ValueError(f"the season ends ({end}) before it starts ({start})")
    plant = draw_plant(facts, seed, likeness)
    plant_step = step_s if step_s <= PLANT_STEP_S else PLANT_STEP_S
    lived = live(
        set_scene(plant, solar_days(facts, start, end), plant_step, effects_of(faults)), solar_days(facts, start, end)
    )
    columns, volume = instrument(lived, faults, channels or facts.sensors.channels)
    time_s = ordered(lived.sky.unix_s)
    keep = (time_s > epoch(start)) & (time_s <= epoch(end))
    frame = _table(time_s[keep], {name: values[keep] for name, values in columns.items()}, plant_step, step_s)
    frame = _silent(frame, faults)
    known = truths(lived, faults, epoch(start), epoch(end))
    last = volume[keep][-1] if keep.any() else 0.0
    return Season(soil_record(frame, dirt, seed), known, lived, plant, faults, float(last))


def solar_days(facts: SiteFacts, start: datetime, end: datetime) -> NDArray[np.int64]:
    """Day numbers whose solar days hold start to end."""
    origin = day_origin_s(facts.site.longitude_deg)
    first, last = np.floor((epoch(start) - origin) / 86400), np.floor((epoch(end) - 1 - origin) / 86400)
    return np.arange(int(first), int(last) + 1)


def instrument(
    lived: Lived, faults: list[Fault], channels: tuple[str, ...], start_m3: float | None = None
) -> tuple[dict[str, Floats], Floats]:
    """What the instruments of `channels` read, in time order, and the exact volume behind the register."""
    plant = lived.plant
    true = true_values(lived)
    off = biases(plant.seed, channels)
    rng = stream(plant.seed, "meter")
    factor = 1.0 + REGISTER_FACTOR_SPREAD * float(np.clip(rng.normal(0, 0.5), -1, 1))
    begin = float(rng.uniform(50, 4000)) if start_m3 is None else start_m3
    time_s = ordered(lived.sky.unix_s)
    flow = ordered(lived.run.flow)
    flow_read = _sick_flow(flow, faults, time_s)
    volume = begin + np.cumsum(flow_read) * lived.scene.step_s / 3600.0 * factor
    found: dict[str, Floats] = {}
    for name in channels:
        if name == "volume_m3":
            step = plant.facts.sensors.meter_step_m3 or 0.01
            found[name] = meter_register(flow_read, lived.scene.step_s, step, begin, factor)
        elif name in FLAGS:
            found[name] = ordered(true[name])
        elif name in CLASSES:
            found[name] = ordered(read(name, true[name], plant.seed, lived.days, off[name]))
        else:
            raise ValueError(f"no instrument is made for channel {name!r}")
    for fault in faults:
        name = fault.channel or ""
        if fault.cause == "sensor-fault" and name in found and name not in ("volume_m3", *FLAGS):
            found[name] = sick(name, found[name], how_sick(fault), time_s, CLASSES[name].step)
    return found, volume


def how_sick(fault: Fault) -> dict:
    """The fault in the terms of sensors.sick."""
    return {
        "mode": fault.options.get("mode", "stuck"), "severity": fault.severity, "value": fault.options.get("value"),
        "begins": epoch(fault.begins), "ends": epoch(fault.ends),
    }  # fmt: skip


def _sick_flow(flow: Floats, faults: list[Fault], time_s: Floats) -> Floats:
    """The flow as a failing meter counts it."""
    for fault in faults:
        if fault.cause == "sensor-fault" and fault.channel in ("volume_m3", "flow_m3_h"):
            how = how_sick(fault)
            if how["mode"] in ("dead", "stuck"):
                flow = sick("flow_m3_h", flow, {**how, "mode": "dead"}, time_s, 1e-6)
            elif how["mode"] == "under-reading":
                flow = sick("flow_m3_h", flow, how, time_s, 1e-6)
    return flow


def _table(time_s: Floats, columns: dict[str, Floats], plant_step: int, step_s: int) -> pd.DataFrame:
    """Rows every `step_s`: means of what is measured, the last of registers, contacts and codes."""
    every = step_s // plant_step
    if step_s % plant_step:
        raise ValueError(f"step_s above {PLANT_STEP_S} must be a multiple of it, got {step_s}")
    if every > 1:
        whole = len(time_s) // every * every
        last = np.arange(every - 1, whole, every)
        columns = {
            name: values[last] if name == "volume_m3" or name in FLAGS
            else np.round(values[:whole].reshape(-1, every).mean(axis=1) / CLASSES[name].step) * CLASSES[name].step
            for name, values in columns.items()
        }  # fmt: skip
        time_s = time_s[last]
    time = pd.to_datetime(np.round(time_s * 1000).astype("int64"), unit="ms", utc=True)
    tidy = {name: np.round(values, 4) for name, values in columns.items()}
    return pd.DataFrame({"time": time, **tidy})


def _silent(frame: pd.DataFrame, faults: list[Fault]) -> pd.DataFrame:
    gone = np.zeros(len(frame), bool)
    time_s = frame["time"].dt.as_unit("ms").astype("int64").to_numpy() / 1e3
    for fault in faults:
        if fault.cause == "silent":
            gone |= (time_s >= epoch(fault.begins)) & (time_s < epoch(fault.ends))
    return frame.loc[~gone].reset_index(drop=True) if gone.any() else frame


def with_sensors(facts: SiteFacts, channels: tuple[str, ...], meter_step_m3: float | None = None) -> SiteFacts:
    """The same site with other sensors fitted."""
    step = meter_step_m3 or facts.sensors.meter_step_m3
    return replace(facts, sensors=replace(facts.sensors, channels=channels, meter_step_m3=step))


def _arguments() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m samples.season", description=__doc__.splitlines()[0])
    parser.add_argument("--site", type=Path, help="site file; without it a drawn case is written")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--out", type=Path, required=True, help="folder, made if missing")
    parser.add_argument("--days", type=int, default=212)
    parser.add_argument("--step", type=int, default=60, help="seconds between rows, 1 to 900")
    parser.add_argument("--csv", action="store_true", help="CSV instead of Parquet")
    parser.add_argument("--fault", action="append", default=[], metavar="CAUSE[:SEVERITY[:DAY]]", help="any number")
    return parser


def main(words: list[str] | None = None) -> int:
    """Writes readings, site.toml and truth.json of one season."""
    from samples.cases import SEASON_START, draw_case
    from samples.history import truth_json, write_csv
    from samples.site_text import site_text

    args = _arguments().parse_args(words)
    args.out.mkdir(parents=True, exist_ok=True)
    if args.site is None:
        case = draw_case(args.seed, days=args.days)
        facts, frame, known = case.facts, case.frame, case.truths + case.harmless
    else:
        facts = load_site(args.site)
        faults = [_fault(text, SEASON_START) for text in args.fault]
        end = SEASON_START + timedelta(days=args.days)
        frame, known = make_season(facts, faults, SEASON_START, end, args.step, args.seed)
    if args.csv:
        write_csv(frame, args.out / "readings.csv")
    else:
        frame.to_parquet(args.out / "readings.parquet", index=False)
    (args.out / "site.toml").write_text(site_text(facts))
    (args.out / "truth.json").write_text(json.dumps([truth_json(truth) for truth in known], indent=1))
    print(f"{facts.site.id}: {len(frame)} rows, {len(known)} faults or look-alikes, in {args.out}")
    return 0


def _fault(text: str, start: datetime) -> Fault:
    cause, _, rest = text.partition(":")
    severity, _, day = rest.partition(":")
    return Fault(cause, start + timedelta(days=float(day or 60)), None, float(severity or 0.2))


if __name__ == "__main__":
    raise SystemExit(main())
