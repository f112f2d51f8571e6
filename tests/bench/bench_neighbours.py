"""Dust on a site that reads no sun, judged alone and under the sky that a neighbour's sensor tells of.

Run: python tests/bench/bench_neighbours.py [--pairs N] [--days N] [--seed N]
Each pair stands some 12 km apart: days' weather and haze are shared, clouds are each place's own. Prints found seasons, false findings
and by how many points the size was off, alone and told, over the same seasons.
"""

import argparse
import os
import secrets
import sys
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

os.environ |= {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
sys.path.insert(0, str(Path(__file__).parents[2]))

import numpy as np

from analysis.merge import merged
from analysis.rows import Rows
from analysis.season import review_rows, rows_of_frame
from analysis.sky import shares_told, with_sky
from logger.record.finding import Finding
from logger.record.site_facts import SiteFacts
from samples.cases import SEASON_START, draw_site
from samples.faults import Fault
from samples.plant.drawn import Likeness
from samples.season import live_season

NEAR_DEG = 0.08


def pair(seed: int, days: int, loss: float) -> tuple[SiteFacts, Rows, SiteFacts, Rows]:
    """A site without a sensor on which dust grows, and its neighbour with one."""
    kind = ("helical-rotor", "multistage-centrifugal")[seed // 2 % 2]
    one = draw_site(seed, kind, "full")
    channels = tuple(
        name for name in one.sensors.channels if name not in ("irradiance_w_m2", "module_temp_c", "ambient_temp_c")
    )
    one = replace(one, sensors=replace(one.sensors, channels=channels))
    other = draw_site(seed + 1, "multistage-centrifugal", "full")
    place = replace(
        other.site, latitude_deg=one.site.latitude_deg + NEAR_DEG, longitude_deg=one.site.longitude_deg + NEAR_DEG
    )
    place = replace(place, altitude_m=one.site.altitude_m)
    other = replace(other, site=place)
    end = SEASON_START + timedelta(days=days)
    begins = SEASON_START + timedelta(days=days * 0.4)
    dust = Fault("panel-soiling", begins, None, loss, shape="ramp", options={"ramp_days": 0.3 * days})
    sky = Likeness(landscape_seed=seed)
    return (*_rows(one, [dust], end, seed, sky), *_rows(other, [], end, seed + 7919, sky))


def _rows(facts: SiteFacts, faults: list[Fault], end, seed: int, sky: Likeness) -> tuple[SiteFacts, Rows]:
    season = live_season(facts, faults, SEASON_START, end, 60, seed, likeness=sky)
    return facts, merged(rows_of_frame(season.frame)).rows


def dust_of(findings: tuple[Finding, ...]) -> tuple[Finding | None, int]:
    """The last of soiling, and how many were named otherwise."""
    dust = [one for one in findings if one.cause == "panel-soiling"]
    return (dust[-1] if dust else None), sum(one.cause != "panel-soiling" for one in findings)


def main() -> None:
    """Draw pairs, judge, print."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--pairs", type=int, default=6)
    asked.add_argument("--days", type=int, default=120)
    asked.add_argument("--seed", type=int, default=secrets.randbelow(2**31))
    args = asked.parse_args()
    print(f"seed {args.seed}, {args.pairs} pairs of {args.days} days")
    off: dict[str, list[float]] = {"alone": [], "told": []}
    found, otherwise = dict.fromkeys(off, 0), dict.fromkeys(off, 0)
    for number in range(args.pairs):
        loss = float(np.random.default_rng([args.seed, number]).uniform(0.07, 0.2))
        facts, rows, other, others = pair(args.seed + 2 * number, args.days, loss)
        told = shares_told(other, others)
        for name, given in (("alone", rows), ("told", with_sky(rows, told))):
            dust, false = dust_of(review_rows(facts, given).findings)
            otherwise[name] += false
            size = float("nan")
            if dust is not None and dust.size is not None:
                size = dust.size.value
                found[name] += 1
                off[name].append(100 * abs(size - loss))
            print(
                f"  {number} {facts.pump.kind} loss {loss:.3f} {name}: {size:.3f} flagged {dust.flagged[:10] if dust else '-'} others {false} hours told {len(told)}"
            )
    for name, points in off.items():
        middle = f"{np.median(points):.1f}, 90 % {np.quantile(points, 0.9):.1f}" if points else "-"
        print(f"{name:6s} found {found[name]} of {args.pairs}, points off: {middle}; named otherwise {otherwise[name]}")


if __name__ == "__main__":
    main()
