"""The day to expect: sun, water, power, efficiency and head by hour under a clear sky, for a day of each season.

Flow: SiteModel -> HERE -> commands/check.py, picture.py, checks that ask what noon brings.
Never: printing, measured rows.
"""

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from analysis.expected import SiteModel
from analysis.physics.hydraulic_power import GRAVITY_M_S2
from analysis.rows import Floats, Rows

SEASONS = ((3, 20), (6, 21), (9, 22), (12, 21))
"""Month and day: equinoxes and solstices."""
YEAR = 2026
"""Which year plays no part but for the weekday."""
STEP_S = 300


@dataclass(frozen=True)
class Hour:
    """Means over one clock hour; flow's is the water of that hour, the sun's what passes the modules' glass. [W/m2], [W], [m3/h], [m], [-]"""

    hour: int
    poa_w_m2: float
    power_w: float
    flow_m3_h: float
    head_m: float
    efficiency: float


@dataclass(frozen=True)
class ClearDay:
    """One clear day. Totals: water [m3] with its standard uncertainty, insolation [kWh/m2], energy taken [kWh], pumping [h]."""

    date: date
    hours: tuple[Hour, ...]
    water_m3: float
    water_std_m3: float
    insolation_kwh_m2: float
    energy_kwh: float
    pumping_h: float
    flow_most_m3_h: float
    power_most_w: float
    hottest_cell_c: float


def clear_days(model: SiteModel, year: int = YEAR) -> tuple[ClearDay, ...]:
    """A clear day of each season, in calendar order."""
    return tuple(clear_day(model, date(year, month, day)) for month, day in SEASONS)


def clear_day(model: SiteModel, day: date) -> ClearDay:
    """One local calendar day under a clear sky, at the site's usual temperature.

    Parameters
    ----------
    model : SiteModel
    day : date
        In the site's own time zone.

    Returns
    -------
    ClearDay
        Power is what the controller takes: the array's maximum, its own, or the pump's at the speed limit. Efficiency is
        hydraulic power over it. Flow counts as 0 where the head lies off the pump's table.
    """
    zone = ZoneInfo(model.facts.site.timezone)
    start = datetime(day.year, day.month, day.day, tzinfo=zone).astimezone(UTC)
    steps = np.arange(0, 86_400, STEP_S) + STEP_S // 2
    time_ms = (int(start.timestamp()) + steps).astype(np.int64) * 1000
    seen = model.expect(Rows(time_ms, {}))
    poa = np.nan_to_num(seen.poa_w_m2)
    flow, std = np.nan_to_num(seen.flow_of_sun_m3_h), np.nan_to_num(seen.flow_of_sun_m3_h_std)
    power, head = _taken(model, np.nan_to_num(seen.mpp_power_w))
    lifting = flow > 0.01 * model.pump.flow_max_m3_h
    taken = np.where(lifting, power, 0.0)
    hydraulic = model.curve.density_kg_m3 * GRAVITY_M_S2 * flow / 3600.0 * np.nan_to_num(head)
    local = [(start + timedelta(seconds=int(s))).astimezone(zone).hour for s in steps]
    hours = tuple(
        _hour(h, np.array(local) == h, poa, taken, flow, head, hydraulic, lifting) for h in sorted(set(local))
    )
    share = STEP_S / 3600.0
    return ClearDay(
        day, tuple(hour for hour in hours if hour.poa_w_m2 > 0.5),
        float(flow.sum() * share), float(std[lifting].sum() * share), float(poa.sum() * share / 1000.0),
        float(taken.sum() * share / 1000.0), float(lifting.sum() * share), float(flow.max()), float(taken.max()),
        float(np.nanmax(np.where(poa > 0, seen.cell_temp_c, np.nan), initial=-273.0)),
    )  # fmt: skip


def _taken(model: SiteModel, offered_w: Floats) -> tuple[Floats, Floats]:
    """Power that the controller takes of what the array offers, and the head there."""
    within = np.minimum(offered_w, model.facts.controller.max_power_w)
    head = model.head_of_sun(within)
    limit = model.hydraulics.capped(np.nan_to_num(head))[0]
    return np.minimum(within, np.where(np.isnan(head), 0.0, limit)), head


def _hour(
    hour: int,
    which: np.ndarray,
    poa: Floats,
    power: Floats,
    flow: Floats,
    head: Floats,
    hydraulic: Floats,
    lifting: np.ndarray,
) -> Hour:
    on = which & lifting
    energy = power[on].sum()
    return Hour(
        hour, float(poa[which].mean()), float(power[which].mean()), float(flow[which].mean()),
        float(head[on].mean()) if on.any() else float("nan"), float(hydraulic[on].sum() / energy) if energy > 0 else float("nan"),
    )  # fmt: skip
