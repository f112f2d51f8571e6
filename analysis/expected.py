"""What should have come: every reading's expected values, each with its standard uncertainty.

Flow: site facts -> SiteModel (tables, built once); rows and factors -> HERE -> estimates, causes, pages.
Each row's answer depends on that row, the facts and the factors alone, bit for bit, however the rows are cut.
Never: pandas, I/O, learning, judgement.

Examples
--------
A site file, three readings of a November noon, and what should have come (site.toml is the example of the manual):

>>> import numpy as np
>>> from logger.record.site_file import load_site
>>> from analysis.expected import Factors, Rows, SiteModel
>>> model = SiteModel(load_site("site.toml"))
>>> noon = np.datetime64("2025-11-12T10:00", "ms").astype(np.int64) + 60_000 * np.arange(3)
>>> rows = Rows(noon, {"input_power_w": np.array([400.0, 900.0, np.nan])})
>>> seen = model.expect(rows)

On that power this pump should lift, each figure with its standard uncertainty; what was not measured is not guessed:

>>> for flow, std, head in zip(seen.flow_m3_h, seen.flow_m3_h_std, seen.head_m):
...     print(f"{flow:.1f} +- {std:.1f} m3/h against {head:.0f} m")
1.0 +- 0.1 m3/h against 48 m
2.9 +- 0.2 m3/h against 53 m
nan +- nan m3/h against nan m

A clear sky offered more than the controller took; and a pump worn by a tenth would have lifted less, though not by a tenth, for
less water draws the well down less:

>>> print(f"{seen.mpp_power_w[0]:.0f} W offered, {seen.flow_of_sun_m3_h[0]:.1f} m3/h")
1864 W offered, 5.1 m3/h
>>> worn = model.expect(rows, Factors(flow=0.9))
>>> print(f"{worn.flow_m3_h[1]:.1f} m3/h instead of {seen.flow_m3_h[1]:.1f}")
2.6 m3/h instead of 2.9
"""

from dataclasses import dataclass, fields
from functools import cached_property
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from analysis.factors import HEALTHY, NAMES, Factors
from analysis.motor_rating import MotorRating, motor_rating
from analysis.operating_line import (
    FLOW_PER_M_AT_SPEED,
    HEAD,
    POWER_PER_M_AT_SPEED,
    hydraulics,
    operating_line,
    slope_line,
)
from analysis.physics.array_power import array_model
from analysis.physics.grid import Line
from analysis.physics.pump_curve import fit_pump
from analysis.physics.pump_table import refuse_speeds_apart
from analysis.physics.sky_table import sky_table
from analysis.physics.system_curve import system_curve
from analysis.row_physics import SELDOM_ASKED, RowPhysics
from analysis.rows import Floats, Rows, columns_of, nothing
from analysis.uncertainty import prior
from logger.record.site_facts import SiteFacts

__all__ = ["HEALTHY", "Expected", "Factors", "SiteModel"]

BLOCK = 16_384
"""Rows worked on at once: the working set stays in the processor's second-level cache."""
BRIEF_BLOCK = 65_536
"""Likewise for a brief answer: its rows are a block of the engine's, and to begin anew costs it more than the cache saves."""
KEPT_FACTORS = 8

COLUMNS = (
    "poa_w_m2",
    "clear_poa_w_m2",
    "cell_temp_c",
    "mpp_power_w",
    "mpp_voltage_v",
    "mpp_current_a",
    "input_power_w",
    "head_m",
    "flow_m3_h",
    "flow_at_speed_m3_h",
    "power_at_speed_w",
    "flow_of_sun_m3_h",
    "motor_current_a",
)
"""Those with an uncertainty, `<name>_std`."""


@dataclass(frozen=True)
class Expected:
    """n rows' expected values: float64[n] each, NaN where not known or where nothing is asked (night, nothing fed).

    daylight, poa_measured
        bool[n]: the sun is up (upper edge, refraction in it); `poa_w_m2` is the sensor's, not the clear sky's.
    sun_elevation_deg
        Apparent. NaN at night.
    poa_w_m2, clear_poa_w_m2
        Irradiance in the plane of the array: as the sensor reads it, and of rows without a reading, sensor fitted or not, a clear
        sky's less what the modules' glass turns away at low angles; and the clear sky: as it falls in where the site has a sensor to be
        compared with it, else less the same. [W/m2]
    cell_temp_c
        From the module's, else the air's temperature, else the usual one of the place and season. [deg C]
    mpp_power_w, mpp_voltage_v, mpp_current_a
        The array's maximum at the controller's input, under `poa_w_m2`. Not limited to what the controller takes.
    input_power_w
        Measured: the channel, else voltage times current. [W]
    head_m
        Total head: from measured level and pressure where there are any, else along the system curve at the power. [m]
    flow_m3_h
        What the healthy pump lifts, as the meter shows it, on the measured input power at `head_m`; power above what its
        fastest speed takes counts as that. NaN where the head lies off the pump's table. [m3/h]
    flow_at_speed_m3_h, power_at_speed_w
        Likewise at the measured speed. NaN without speed or where the datasheet has none. [m3/h], [W]
    flow_of_sun_m3_h
        What it would lift on `mpp_power_w`, the controller's maximum power and speed limit honoured: the water that the
        sun offered. [m3/h]
    motor_current_a
        At the measured speed and `head_m`: torque over rated torque. NaN but for permanent-magnet and brushed motors.
    """

    daylight: NDArray[np.bool_]
    poa_measured: NDArray[np.bool_]
    sun_elevation_deg: Floats
    poa_w_m2: Floats
    poa_w_m2_std: Floats
    clear_poa_w_m2: Floats
    clear_poa_w_m2_std: Floats
    cell_temp_c: Floats
    cell_temp_c_std: Floats
    mpp_power_w: Floats
    mpp_power_w_std: Floats
    mpp_voltage_v: Floats
    mpp_voltage_v_std: Floats
    mpp_current_a: Floats
    mpp_current_a_std: Floats
    input_power_w: Floats
    input_power_w_std: Floats
    head_m: Floats
    head_m_std: Floats
    flow_m3_h: Floats
    flow_m3_h_std: Floats
    flow_at_speed_m3_h: Floats
    flow_at_speed_m3_h_std: Floats
    power_at_speed_w: Floats
    power_at_speed_w_std: Floats
    flow_of_sun_m3_h: Floats
    flow_of_sun_m3_h_std: Floats
    motor_current_a: Floats
    motor_current_a_std: Floats

    def __len__(self) -> int:
        return len(self.sun_elevation_deg)


NAMES_OF_COLUMNS = tuple(item.name for item in fields(Expected))
EXPECTED_COLUMNS = tuple((name, place - 2 in SELDOM_ASKED) for place, name in enumerate(NAMES_OF_COLUMNS))
"""Every column's name, flags first, and whether a brief answer goes without it."""
T = TypeVar("T")


def _kept(kept: dict[Factors, T], factors: Factors, found: T) -> None:
    while len(kept) >= KEPT_FACTORS:
        kept.pop(next(iter(kept)))
    kept[factors] = found


class SiteModel:
    """One site's tables, built once from its facts (0.03 to 0.1 s); safe to share between threads that only ask.

    Parameters
    ----------
    facts : SiteFacts

    Raises
    ------
    ValueError
        A datasheet that no pump or module can have; the message names the fact.
    """

    def __init__(self, facts: SiteFacts) -> None:
        self.facts = facts
        self.sky = sky_table(facts.site, facts.array, "irradiance_w_m2" not in facts.sensors.channels)
        self.array = array_model(facts.array)
        speeds = [row.speed_rpm for row in facts.pump.curve]
        if all(speeds):
            refuse_speeds_apart(np.array(speeds, float))
        self.pump = fit_pump(facts.pump, facts.motor, facts.cable)
        self.curve = system_curve(facts)
        self.hydraulics = hydraulics(facts, self.pump, self.curve)
        self.prior = prior(facts)
        self._solved: Line | None = None
        self._lines: dict[Factors, tuple[Line, Line]] = {}
        self._deviations: dict[Factors, dict[str, float]] = {}

    def covariance(self, factors: Factors) -> Floats:
        """The factors' covariance: their own, or what the tolerances leave. float64[k, k] in the order of NAMES."""
        return np.array(self.prior.covariance if factors.covariance is None else factors.covariance)

    def deviations(self, factors: Factors = HEALTHY) -> dict[str, float]:
        """Likewise each factor's own standard uncertainty, by name."""
        found = self._deviations.get(factors)
        if found is None:
            covariance = self.covariance(factors)
            found = {name: float(np.sqrt(covariance[i, i])) for i, name in enumerate(NAMES)}
            _kept(self._deviations, factors, found)
        return found

    @cached_property
    def motor(self) -> MotorRating | None:
        """Where the motor draws its rated current; None where nothing tells."""
        return motor_rating(self.facts, self.pump)

    def lines(self, factors: Factors = HEALTHY) -> tuple[Line, Line]:
        """Operating lines over power: at any power, and kept to the speed limit. Columns: `operating_line`."""
        found = self._lines.get(factors)
        if found is None:
            covariance = self.covariance(factors)
            site = self.hydraulics
            found = (
                operating_line(site, factors, covariance, site.top),
                operating_line(site, factors, covariance, site.capped),
            )
            _kept(self._lines, factors, found)
        return found

    def slopes(self, power_w: Floats) -> tuple[Floats, Floats, Floats, Floats, Floats]:
        """How the healthy operating point answers to the factors, at given powers.

        Parameters
        ----------
        power_w : float64[n]

        Returns
        -------
        flow : float64[n]
            [m3/h]
        flow_slopes, head_slopes : float64[n, len(NAMES)]
            Change for a unit of each factor, power kept. [m3/h], [m]
        flow_per_m_at_speed, power_per_m_at_speed : float64[n]
            Change with head, speed kept; 0 where the datasheet has no speeds. [m3/h per m], [W per m]
        """
        if self._solved is None:
            self._solved = slope_line(self.hydraulics)
        found = np.stack(self._solved(power_w), axis=-1)
        size, line = len(NAMES), self.lines()[0](power_w)
        return (
            found[:, 0],
            found[:, 1 : 1 + size],
            found[:, 1 + size :],
            line[FLOW_PER_M_AT_SPEED],
            line[POWER_PER_M_AT_SPEED],
        )

    def head_of_sun(self, power_w: Floats) -> Floats:
        """Total head along the system curve at the power offered, speed limit honoured. [W] -> [m]"""
        return self.lines()[1](power_w)[HEAD]

    def expect(self, rows: Rows, factors: Factors = HEALTHY, brief: bool = False) -> Expected:
        """Every row's expected values.

        Parameters
        ----------
        rows : Rows
            Any channels, any spacing, any order. [n]; lists and single numbers will do.
        factors : Factors
            The installation; HEALTHY = its datasheets.
        brief : bool
            Without the uncertainties of `SELDOM_ASKED`, which then hold NaN: what the engine asks for each minute.

        Returns
        -------
        Expected
            [n] each. Columns whose channels are missing hold NaN, as do rows in which a reading they rest on is beyond what any
            instrument can say (`logger.record.channels`): `reasons.reasons` says why.

        Raises
        ------
        ValueError
            A channel of another length than the times.
        """
        rows = columns_of(rows)
        n = len(rows)
        floats = np.empty((1 + 2 * len(COLUMNS), n))
        flags = np.zeros((2, n), bool)
        physics = RowPhysics(self, factors, rows, brief)
        step = BRIEF_BLOCK if brief else BLOCK
        for low in range(0, n, step):
            physics.work(slice(low, min(low + step, n)), floats, flags)
        columns = list(floats)
        if brief:
            for place in SELDOM_ASKED:
                columns[place] = nothing(n)
        return Expected(flags[0], flags[1], *columns)

    def expect_briefly(self, rows: Rows, before: Expected | None = None) -> Expected:
        """`expect`, brief, of the healthy installation.

        before : Expected or None
            Of the first of the rows, worked out already: a row's columns are the same whatever stands beside it.
        """
        if before is None or not len(before):
            return self.expect(rows, brief=True)
        more = self.expect(rows.take(slice(len(before), None)), brief=True)
        columns: list[Any] = [
            nothing(len(rows)) if seldom else np.concatenate([getattr(before, name), getattr(more, name)])
            for name, seldom in EXPECTED_COLUMNS
        ]
        return Expected(*columns)
