"""One plant out of all that a site file allows: every part drawn within its tolerance.

Flow: site facts, seed -> HERE -> run.py, sensors.py.
Never: faults.
"""

from dataclasses import dataclass, field, replace

import numpy as np

from logger.record.site_facts import SiteFacts
from samples.plant.array import Horizon, Panels, panels_of
from samples.plant.helical import Helical
from samples.plant.motor import Motor, motor_of
from samples.plant.pipes import Pipes, pipes_of
from samples.plant.pump_fit import Pump, pump_of
from samples.plant.streams import stream
from samples.plant.weather import Climate
from samples.plant.well import Borehole, well_of


@dataclass(frozen=True)
class Habits:
    """How water is drawn: m3 a day, shares of it in the morning and evening peaks, how much days differ."""

    m3_day: float
    morning: float = 0.35
    evening: float = 0.40
    spread: float = 0.2


@dataclass(frozen=True)
class Control:
    """The controller as it behaves: thresholds in W, temperatures in deg C, share of the maximum that it finds."""

    start_w: float
    stop_w: float
    delay_s: float
    mppt_share: float
    least_rpm: float
    most_rpm: float
    warm_c: float
    derate_c: float
    derate_per_c: float


@dataclass(frozen=True)
class Plant:
    """One installation as it really is. `seed` also draws its sensors; `landscape_seed` its weather."""

    facts: SiteFacts
    seed: int
    landscape_seed: int
    climate: Climate
    panels: Panels
    motor: Motor
    pump: Pump
    flow_factor: float
    pipes: Pipes
    well: Borehole
    control: Control
    habits: Habits
    seep_m3_h: float
    extra: dict = field(default_factory=dict)


@dataclass(frozen=True)
class Likeness:
    """How far from the papers a plant is drawn; None = drawn. `flow`, `array`: factors on datasheet values."""

    flow: float | None = None
    array: float | None = None
    level_m: float | None = None
    demand_m3_day: float | None = None
    horizon: tuple[Horizon, ...] = ()
    climate: Climate | None = None
    landscape_seed: int | None = None


def _within(rng: np.random.Generator, spread: float, most: float) -> float:
    return float(np.clip(rng.normal(0.0, spread), -most, most))


def latitude_climate(latitude_deg: float, altitude_m: float) -> Climate:
    """A dry-land climate of a latitude: south of the equator it rains about January, north of it in August."""
    south = latitude_deg < 0
    far = min(abs(latitude_deg), 40.0)
    return Climate(
        rain_peak_doy=25.0 if south else 228.0, warmest_doy=12.0 if south else 120.0,
        mean_c=28.5 - 0.14 * far - altitude_m * 0.0042, season_c=1.5 + 0.16 * far,
        beam_depth=0.34 + 0.0035 * max(0.0, 22.0 - far),
    )  # fmt: skip


def draw_plant(facts: SiteFacts, seed: int, likeness: Likeness) -> Plant:
    """The plant of `seed` at this site."""
    rng = stream(seed, "plant")
    flow = 1.0 + _within(rng, 0.035, 0.08) if likeness.flow is None else likeness.flow
    quality = 0.985 + _within(rng, 0.012, 0.03) if likeness.array is None else likeness.array
    level = _within(rng, 0.6, 1.5) if likeness.level_m is None else likeness.level_m
    harder, rougher = float(np.exp(rng.normal(0, 0.12))), float(np.exp(rng.normal(0.05, 0.12)))
    losses, rub = float(np.exp(rng.normal(0, 0.08))), float(np.exp(rng.normal(0, 0.12)))
    storage, radius = float(10 ** rng.uniform(-4.0, -2.3)), float(rng.uniform(0.07, 0.11))
    motor = motor_of(facts, losses)
    pump = pump_of(facts, motor_of(facts))
    if isinstance(pump, Helical):
        pump = replace(pump, rub_nm=pump.rub_nm * rub, litre=pump.litre * flow, stick=float(rng.uniform(1.5, 2.4)))
        pump = replace(pump, lifts_at_m=pump.rated_head * float(rng.uniform(1.05, 1.5)))
    else:
        pump = replace(
            pump, h0=pump.h0 * (1.0 + 0.3 * (flow - 1.0)), h1=pump.h1 / flow, h2=pump.h2 / flow**2,
            p0=pump.p0 * rub**0.3, p1=pump.p1 / flow, p2=pump.p2 / flow**2,
        )  # fmt: skip
    peak_doy = latitude_climate(facts.site.latitude_deg, 0).rain_peak_doy
    control = _control(facts, motor, rng)
    share = rng.uniform(0.75, 1.5)
    demand = likeness.demand_m3_day or share * 5.8 * max(row.flow_m3_h for row in facts.pump.curve)
    return Plant(
        facts, seed, seed if likeness.landscape_seed is None else likeness.landscape_seed,
        likeness.climate or latitude_climate(facts.site.latitude_deg, facts.site.altitude_m),
        panels_of(facts, quality, likeness.horizon), motor, pump, flow, pipes_of(facts.delivery, rougher),
        well_of(facts.well, storage, radius, facts.well.static_level_m + level, harder, peak_doy - 60.0),
        control, Habits(demand, rng.uniform(0.2, 0.45), rng.uniform(0.25, 0.5), rng.uniform(0.1, 0.3)),
        float(rng.uniform(0, 4e-4)),
    )  # fmt: skip


def _control(facts: SiteFacts, motor: Motor, rng: np.random.Generator) -> Control:
    helical = facts.pump.kind == "helical-rotor"
    start = rng.uniform(0.11, 0.16) if helical else rng.uniform(0.09, 0.14)
    speeds = [row.speed_rpm for row in facts.pump.curve if row.speed_rpm]
    most = max([motor.rated_rpm, *speeds]) * rng.uniform(1.0, 1.03)
    return Control(
        start * motor.rated_w, 0.62 * start * motor.rated_w, facts.controller.start_delay_s * rng.uniform(0.9, 1.15),
        rng.uniform(0.965, 0.99), (0.2 if helical else 0.3) * motor.rated_rpm, most,
        rng.uniform(16.0, 24.0), rng.uniform(66.0, 72.0), rng.uniform(0.025, 0.05),
    )  # fmt: skip
