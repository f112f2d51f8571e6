"""The morning on which the live part of the demo begins: the latest on which its pumps have sun to run on.

Flow: the sites' own weather -> HERE -> play.py.
Under thick cloud a pump that stands tells nobody why, and there is little to see.
"""

from datetime import UTC, datetime, timedelta

import numpy as np

from samples.plant.drawn import draw_plant
from samples.plant.sky import make_sky
from samples.scenario import SampleSite, scenario

START_HOUR_UTC = 8
"""The middle of the sites' morning, so that there is something to see at any hour of ours."""
LIVE_H = 4.0
FAIR_W_M2 = 600.0
LOOK_BACK_DAYS = 30
STEP_S = 300


def last_fair_morning(now: datetime | None = None) -> datetime:
    """The latest instant at START_HOUR_UTC, not after `now` (with time zone; None: this one), with sun at every live site
    in the hours that follow; the sunniest of the last LOOK_BACK_DAYS where none is fair.
    """
    now = now or datetime.now(UTC)
    today = now.astimezone(UTC).replace(hour=START_HOUR_UTC, minute=0, second=0, microsecond=0)
    latest = today if today <= now else today - timedelta(days=1)
    mornings = [latest - timedelta(days=back) for back in range(LOOK_BACK_DAYS)]
    light: list[float] = []
    for morning in mornings:
        light.append(light_w_m2(morning))
        if light[-1] >= FAIR_W_M2:
            return morning
    return mornings[int(np.argmax(light))]


def light_w_m2(morning: datetime) -> float:
    """What falls into the arrays' planes in the LIVE_H hours from `morning` on, at the live site that gets least: its mean. [W/m2]"""
    return min(_light_w_m2(site, morning) for site in scenario(morning) if site.live_fault)


def _light_w_m2(site: SampleSite, morning: datetime) -> float:
    plant = draw_plant(site.facts, site.seed, site.likeness)
    begins = morning.timestamp()
    days = np.arange(int(begins // 86400) - 1, int(begins // 86400) + 2)
    sky = make_sky(site.facts, plant.climate, plant.landscape_seed, plant.seed, days, STEP_S)
    live = (sky.unix_s > begins) & (sky.unix_s <= begins + 3600.0 * LIVE_H)
    return float(sky.plane_w_m2[live].mean())
