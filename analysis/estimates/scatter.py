"""How far the day's vector of a sound installation may lie from its site file, from itself, and from day to day.

Flow: plant.py, bench.py -> HERE -> learning.py, baseline.py, slow.py.
Standard deviations; where they come from stands beside each. Never: rows.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from analysis.estimates.bench import Bench, bench_of
from analysis.estimates.effects import head_shift, shift
from analysis.estimates.own_light import sides_apart
from analysis.estimates.vector import BANDS, HOURS, PLACE, SIZE
from analysis.plant import Plant
from analysis.rows import Floats


@dataclass(frozen=True)
class Scatter:
    """Covariances (SIZE, SIZE) but `own` and `rest` (SIZE,), variances.

    modes: the named physical parameters in which a new installation may differ from its site file, and how far each may.
    rest: what remains of each entry's tolerance when those are known: the shape of table, bands and horizon.
    drift: a sound installation about what was learnt, for weeks. shared: a day about its weeks, all entries together (sky, air).
    own: likewise, each entry by itself; only a start, learnt later.
    """

    modes: dict[str, "Mode"]
    rest: Floats
    drift: Floats
    shared: Floats
    own: Floats

    @cached_property
    def tolerance(self) -> Floats:
        """Covariance (SIZE, SIZE) of a new installation about its site file."""
        return _sum([mode.std * mode.direction for mode in self.modes.values()]) + np.diag(self.rest)


@dataclass(frozen=True)
class Mode:
    """One named parameter: its unit (of `amount`), its standard uncertainty before learning, and what one unit of it shifts (SIZE,)."""

    unit: str
    std: float
    direction: Floats


def scatter_of(plant: Plant) -> Scatter:
    """The scatter of one site."""
    sun_measured = "irradiance_w_m2" in plant.has
    return Scatter(
        tolerance_modes(plant),
        _tolerance_own(plant) ** 2,
        _sum(_drift(plant, sun_measured)) + np.diag(_drift_own(plant, sun_measured) ** 2),
        _sum([shift(s=_sky_of_a_day(plant, sun_measured)), shift(av=0.004)]),
        _day_own(plant, sun_measured) ** 2,
    )


LOW = np.array([2.5, 1.5, 1.0])
"""At low power table, sensors and the lag of everything weigh more, by band."""


def _sum(modes: list[Floats]) -> Floats:
    return sum((np.outer(mode, mode) for mode in modes), np.zeros((SIZE, SIZE)))


UNKNOWN_SCALE = 1.5
"""Log of the amperes a unit of torque takes, where no plate tells: a winding for 60 V or for 400 V. Learnt on the first days."""
RATING_STD = 0.1
"""A motor's rated speed against the speed at the end of a datasheet's table that has none (a guess)."""
SLIP_STD = 0.05
"""What a drive tells as its motor's speed is its own frequency as often as the shaft's, and a datasheet likewise: an induction motor's slip, 3 to
8 % in a borehole's small ones, lies between them one way or the other (common practice, no source)."""
TURNS_WITHIN, TURNS_ELSEWHERE = 0.003, 0.025
"""How far a scale of speed that was learnt so holds elsewhere, where the table hides its impellers' speeds: within a band of power, whose mean moves
with the season (of 49 sound sites of two plants each is likelier so than at a percent, the worst among them too); and for each unit of log of power
that a fault adds, which moves a band to speeds that were never learnt (a percent to the next band)."""
METER_STD = 0.02
"""ISO 4064 class 2 meters keep +-2 % in their upper flow zone when new (from memory); installed for years, twice that."""


def tolerance_modes(plant: Plant) -> dict[str, Mode]:
    """The named parameters of one site.

    Pump: ISO 9906:2012 4.4.2 (from memory): below 10 kW +-10 % flow, +-8 % head, read as two standard deviations.
    """
    bench = bench_of(plant)
    well = plant.facts.well
    level, gauge = "water_level_m" in plant.has, "discharge_pressure_bar" in plant.has
    ones = np.ones(3)
    resting = max(1.5, 0.5 * (well.seasonal_range_m or 1.0))  # the driller's day against today's, m
    friction = plant.system.riser_loss_m(bench.flow_m3_h) + plant.system.pipe_loss_m(bench.flow_m3_h)
    slope = np.array([1.0, 0.0, -0.5])  # of a band, against the middle one
    steep = np.array([1.0, 0.0, -2.0 / 3.0])
    deeper = shift(**head_shift(plant, bench, ones, level), **({"l": 1.0} if level else {}), rest=1.0)
    drawn = shift(**head_shift(plant, bench, bench.drawdown_m, level), **({"l": bench.drawdown_m} if level else {}))
    rubbed = shift(**head_shift(plant, bench, friction, False), **({"p": 0.7 * friction} if gauge else {}))
    return {
        "flow": Mode("share", 0.046, shift(q=1.0, n=1.0)),
        "meter": Mode("share", METER_STD, shift(q=1.0, n=1.0)),
        "power": Mode("share", 0.05, shift(q=-bench.flow_per_power, t=1.0, i=1.0)),
        "leads": Mode("share", 0.01, shift(q=-bench.flow_per_power, t=1.0)),  # joints and motor cable: a volt or two
        "slip": Mode("share", 0.04, shift(q=slope, n=slope)),  # slip against displacement, at low power
        "torque_slope": Mode("share", 0.03, shift(t=steep, i=steep)),
        "motor_current": Mode(
            "share", 0.25 if plant.current_known else UNKNOWN_SCALE, shift(i=1.0)
        ),  # the rated current is a plate's, not the rated torque's
        "level_offset_m": Mode("m", resting, deeper),
        "drawdown": Mode("share", 0.3, drawn),  # a step test holds within a third (common practice, no source)
        "friction": Mode("share", 0.25, rubbed),
        "gauge_offset_m": Mode("m", 1.0, shift(p=1.0, stand=-1.0 / plant.outlet_m)),
        "level_sensor_m": Mode("m", 0.5, shift(l=1.0, rest=1.0)),
        "array_current": Mode("share", 0.03 if "irradiance_w_m2" in plant.has else 0.07, shift(s=1.0)),
        "array_voltage": Mode("share", 0.03, shift(av=1.0) if sides_apart(plant) else shift(av=1.0, s=1.0)),
        "irradiance_sensor": Mode("share", 0.08, shift(gc=1.0)),
        **_turns(plant, bench),
    }


def _turns(plant: Plant, bench: Bench) -> dict[str, Mode]:
    """The scale of the speed, where it is not known to be the datasheet's own."""
    std = RATING_STD if plant.turns_by_rating else SLIP_STD if plant.turns_or_field else 0.0
    return {"turns": Mode("share", std, misread_turns(plant, bench))} if std else {}


def misread_turns(plant: Plant, bench: Bench) -> Floats:
    """What a scale of speed that is wrong by a unit of log shifts, (SIZE,): n and t; impellers by the affinity laws."""
    if plant.helical:
        return shift(n=1.0, t=1.0)
    return shift(n=1.0 - 2.0 * bench.head_m * bench.flow_per_head, t=3.0 - 2.0 * bench.head_m * bench.power_per_head)


def misread_by_band(plant: Plant, bench: Bench) -> list[Floats]:
    """Likewise in each band by itself; the current of a torque that is worked out by speed goes with it. None where the scale is known."""
    if plant.helical or not (plant.turns_by_rating or plant.turns_or_field):
        return []
    misread = misread_turns(plant, bench)
    bands = [{name: PLACE[f"{name}{band}"] for name in "nti"} for band in range(BANDS)]
    modes = np.zeros((BANDS, SIZE))
    for mode, place in zip(modes, bands, strict=True):
        n, t = misread[[place["n"], place["t"]]]
        mode[[place["n"], place["t"], place["i"]]] = n, t, t - 1.0
    return list(modes)


def _by_speed(plant: Plant, told: float, else_: float) -> float:
    """How even a limit is: as its speed where that is read; its power moves with the well (a guess)."""
    return told if plant.has & {"motor_speed_rpm", "drive_frequency_hz"} else else_


def _tolerance_own(plant: Plant) -> Floats:
    return shift(
        q=0.025,
        n=0.025,
        t=0.025,
        i=0.03,
        p=0.3,
        l=0.3,
        rest=0.3,
        first=1.5,
        stand=1.0,  # a check valve may have wept from the first day on
        pw=0.05,
        av=0.008,
        gc=0.02,
        cap=0.6,
        cv=_by_speed(plant, 0.01, 0.05),
        cn=0.6,
        kept=2.0,
        top=0.6,
        ai=0.05,
        ap=0.05,
    ) + shift(s=_horizon(0.025, 1.2))


AIR = 1.0 / np.cos(np.radians(np.minimum(15.0 * np.abs(np.arange(HOURS) + 0.5 - HOURS / 2), 78.0)))
"""By hour of the sun's way, how much air its light passes, in that of a high noon. Haze takes of the beam by it (Beer and Lambert) and gives a part
back as light from all around, so that what an array loses grows with less than the air: with its root (a guess)."""
HAZE_STD = 0.03
"""Log of the light that weeks clearer or hazier than supposed give or take at noon (common practice, no source)."""


def _drift(plant: Plant, sun_measured: bool) -> list[Floats]:
    """Season, age and the models' own faults over weeks (common practice, no source).

    Of 350 fortnights of sound simulated sites of four plants, nine of ten lie within what flow, load and current have here.
    """
    bench = bench_of(plant)
    level = "water_level_m" in plant.has
    warmth = 0.024  # 0.4 % a degree, weeks known to 6
    if plant.has & {"module_temp_c", "ambient_temp_c"}:
        warmth = (
            0.004 if "module_temp_c" in plant.has else 0.008
        )  # to 1 where the module itself is read, to 2 by the air
    season = 0.4 * (plant.facts.well.seasonal_range_m or 1.0)
    by_band = [TURNS_WITHIN * mode for mode in misread_by_band(plant, bench)]
    return [
        *by_band,
        shift(q=0.006, n=0.0045),
        shift(q=-0.006, t=0.006, i=0.006),
        shift(**head_shift(plant, bench, season * np.ones(3), level), **({"l": season} if level else {}), rest=season),
        shift(s=0.010 if sun_measured else HAZE_STD * np.sqrt(AIR)),
        shift(av=warmth) if sides_apart(plant) else shift(av=warmth, s=warmth),
        shift(s=np.linspace(-0.015, 0.015, HOURS)),
    ]


def _sky_of_a_day(plant: Plant, sun_measured: bool) -> float:
    """The best of some days under a supposed clear sky; where only power tells, the cells' warmth is in it."""
    return 0.008 if sun_measured else 0.025 if sides_apart(plant) else 0.05


LATE, LIFT_BEGINS_H = 0.3, 0.004
"""How far the first water wanders with the season: in risers; where impellers must reach a speed before they lift, besides in hours of full
flow. A metre of lift is ten minutes more of dawn, in which a tenth of the full flow comes; by the day's own answer to its power most of that is no
part of it: of 400 fortnights of sound impellers on five plants nine of ten lay within 0.3 risers, but for those whose days scatter more."""


def _late(plant: Plant) -> float:
    """Standard deviation over weeks of the water that the first start is short of. [risers]"""
    begins = 0.0 if plant.helical else LIFT_BEGINS_H * plant.full_flow_m3_h / plant.riser_m3
    return float(np.hypot(LATE, begins))


def _drift_own(plant: Plant, sun_measured: bool) -> Floats:
    return (
        shift(
            q=LOW * 0.0045,
            n=LOW * 0.0045,
            t=LOW * 0.004,
            i=LOW * 0.009,
            p=0.25,
            l=0.2,
            rest=0.2,
            first=_late(plant),
            stand=0.4,  # a tap opened at night, a herd at the pipe: it tells for and against a leak, and raises none (a guess)
            pw=0.008,
            av=0.004,
            gc=0.07,
            cv=_by_speed(plant, 0.006, 0.01),
            cap=0.02,
            cn=0.15,  # a heavier load slows it too: its speed tells who set a limit, not whether there is one
            ai=0.02,
            ap=0.02,
        )
        + shift(s=_horizon(0.01 if sun_measured else 0.02, 0.06))
    )


def _day_own(plant: Plant, sun_measured: bool) -> Floats:
    return shift(
        q=LOW * 0.016,
        n=LOW * 0.016,
        t=LOW * 0.01,
        i=LOW * 0.016,
        p=0.25,
        l=0.25,
        rest=0.15,
        first=0.35,
        stand=0.1,
        pw=0.008,
        av=0.006,
        gc=0.03,
        cap=0.03,
        cv=_by_speed(plant, 0.006, 0.02),
        cn=0.004,
        kept=1.0,
        top=0.3,
        ai=0.03,
        ap=0.03,
    ) + shift(s=_horizon(0.015 if sun_measured else 0.03, 0.06))


def _horizon(noon: float, edge: float) -> Floats:
    """By hour of the sun's way: `noon` in the middle, `edge` where horizon and season decide."""
    away = np.abs(np.arange(HOURS) + 0.5 - HOURS / 2)
    return noon + (edge - noon) * np.clip((away - 1.5) / 2.0, 0.0, 1.0)


HYDRAULIC = np.array(
    [PLACE[f"{name}{band}"] for name in "qntipl" for band in range(3)]
    + [PLACE[name] for name in ("rest", "first", "stand", "pw")]
)
ELECTRIC = np.array([PLACE["av0"], PLACE["av1"], PLACE["gc"], *(PLACE[f"s{hour}"] for hour in range(HOURS))])
HELD = np.array([PLACE["cap"], PLACE["cv"], PLACE["cn"]])
GROUPS = {"hydraulic": HYDRAULIC, "electric": ELECTRIC, "held": HELD}
"""Places of the vector that are weighed together; a cause belongs to one group."""
TELL_ALONE = np.full(SIZE, np.inf)
TELL_ALONE[PLACE["first"]] = 4.0
"""By place, how many days at most err by themselves: what makes the first water late on a sound day, its dawn and its meter, is much the same on
the next."""
