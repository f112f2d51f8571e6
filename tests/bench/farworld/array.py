"""Power and voltage of the third plant's array: dust, shade, strings, joints, and a controller that holds back.

Never: imports of the analysis or of another plant.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from tests.bench.farworld.sky import Module, Sky, wander

if TYPE_CHECKING:
    from tests.bench.farworld.case import Season


@dataclass
class Power:
    """`best_w`: the array's largest power; `healthy_w`: without its faults, under the same sun; `tracked_w`: what reaches the controller;
    `limit_w`: what it lets through; `held`: the share that it keeps back; `joint_ohm`: in series with the array."""

    module: Module
    sun: np.ndarray
    heat_c: np.ndarray
    box_c: np.ndarray
    best_w: np.ndarray
    healthy_w: np.ndarray
    tracked_w: np.ndarray
    limit_w: np.ndarray
    held: np.ndarray
    dead: np.ndarray
    joint_ohm: np.ndarray
    lit: np.ndarray


def power_of(s: Season, sky: Sky) -> Power:
    """The array's day, step by step."""
    site, rng = s.site, s.rng
    module = Module(site["sheet"], round(site["sheet"]["v_oc"] / 0.62))
    full = sky.beam + sky.diffuse
    horizon = _horizon(s, sky) if "horizon" in s.odd else np.zeros(len(full))
    native = full - sky.beam * horizon
    dust = np.zeros(len(full))
    if "light-dust" in s.odd:
        since = s.day - np.concatenate([[0], sky.rain_days])[np.searchsorted(sky.rain_days, s.day, side="right")]
        dust = np.clip(since * 0.001, 0, 0.025)
    shade = _shade(s, sky)
    dirty = 1 - (1 - dust) * (1 - s.amount("panel-soiling") * 0.3)
    sun = np.maximum(native - sky.beam * (1 - horizon) * shade, 0) * (1 - dirty)
    heat = sky.air_c + full / (25.0 + 6.84 * sky.wind)  # Faiman (2008)
    count = site["series"] * site["strings"] * site["gain"]
    out, dead = s.on("string-out"), np.zeros(len(full))
    share = 1.0
    if "string-out" in s.faults:
        if site["strings"] > 1:
            share = 1.0 / site["strings"]
        else:
            share = (1.0 if s.faults["string-out"].much > 0.6 else 1 / 3) / site["series"]
            dead = out * share
    best = module.power_w(sun, heat) * count * (1 - out * share)
    healthy = module.power_w(native * (1 - dust), heat) * count
    per_amp = site["sheet"]["v_mp"] * site["series"] / (site["sheet"]["i_mp"] * site["strings"])
    ohm = s.amount("cable-fault", "array") * 0.2 * per_amp
    amps = best / (0.88 * site["sheet"]["v_mp"] * site["series"] * (1 - dead))
    arrives = np.clip(1 - amps**2 * ohm / np.maximum(best, 1.0), 0.3, 1.0)
    tracked = best * np.clip(0.985 + 0.004 * wander(rng, len(full), 10), 0.96, 0.995) * arrives
    hot = s.amount("controller-derating")
    box = sky.air_c + 10 + 16 * np.clip(full / 1000, 0, 1.2) + 6 * (hot > 0)
    limit_c = max(45.0, float(np.quantile(box[full > 500], 0.3))) if (full > 500).any() else 50.0
    held = np.clip((box - limit_c) / 12, 0, 1) * hot * 0.75
    return Power(module, sun, heat, box, best, healthy, tracked, tracked * (1 - held), held, dead, ohm, sun > 3)


def _horizon(s: Season, sky: Sky) -> np.ndarray:
    """A ridge that has always been there, in the east or in the west."""
    east = bool(s.rng.random() < 0.5)
    return 0.9 * (sky.height_deg < s.rng.uniform(5, 13)) * ((sky.azimuth_deg < 180) == east)


def _shade(s: Season, sky: Sky) -> np.ndarray:
    """A new thing beside the array: it hides the beam over a range of azimuth, up to its own height."""
    fault = s.faults.get("shading")
    if fault is None:
        return np.zeros(len(s.day))
    local = (s.day * 24 + s.site["lon"] / 15) % 24
    hour = s.rng.uniform(8.0, 10.0) if s.rng.random() < 0.5 else s.rng.uniform(14.0, 16.0)
    seen = fault.on & (np.abs(local - hour) < 0.3)
    angle = np.exp(1j * np.radians(sky.azimuth_deg))
    centre, half = np.degrees(np.angle(angle[seen].mean())), s.rng.uniform(12, 28)
    off = np.abs((sky.azimuth_deg - centre + 180) % 360 - 180)
    tall = max(float(np.median(sky.height_deg[seen])) + s.rng.uniform(3, 15), 20.0)
    return fault.at * 0.95 * (off < half) * (sky.height_deg < tall)


def array_volts(s: Season, power: Power, watts: np.ndarray) -> np.ndarray:
    """At the controller, V, while it takes `watts`; on the open side of the largest power."""
    lit = power.lit
    volts = np.zeros(len(watts))
    best, series, ohm = (
        np.maximum(power.best_w[lit], 1.0),
        s.site["series"] * (1 - power.dead[lit]),
        power.joint_ohm[lit],
    )
    drop = np.zeros(int(lit.sum()))
    at = 0.9 * s.site["sheet"]["v_mp"] * series
    for _ in range(3 if ohm.any() else 1):
        amps = watts[lit] / np.maximum(at, 5.0)
        drop = amps * ohm
        inside = np.clip((watts[lit] + amps * drop) / best, 0, 1)
        at = power.module.volts(power.sun[lit], power.heat_c[lit], inside) * series - drop
    volts[lit] = at
    return volts
