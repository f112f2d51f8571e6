"""What the installation asks of the pump: head over flow, from well, riser and pipe.

Flow: site facts, flow, measured level or pressure -> HERE -> operating_point.py, expected.py.
Total head is that over which the pump lifts: from the water's surface in the well to the outlet, with friction. The velocity head
at the outlet (millimetres) is left out. Never: I/O, pandas.
"""

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.physics.hydraulic_power import GRAVITY_M_S2
from analysis.physics.pipe_friction import friction_head_m, minor_head_m
from analysis.physics.water import density_kg_m3, kinematic_viscosity_m2_s
from analysis.physics.well_drawdown import step_drawdown_m

if TYPE_CHECKING:
    from logger.record.site_facts import SiteFacts

Floats = NDArray[np.float64]

WATER_C = (
    20.0  # borehole water in a warm country (common practice, no source); 10 degC away moves friction by about 5 %
)


@dataclass(frozen=True)
class SystemCurve:
    """One site's well, riser and pipe. Every method takes floats or arrays that broadcast; NaN in, NaN out.

    Flow is in m3/h, heads and levels in m; levels are depths below the datum. `friction_factor` multiplies friction and
    fittings (1 = as built), `extra_lift_m` lowers the resting level.
    """

    static_level_m: float
    drawdown_linear: float
    drawdown_quadratic: float
    riser_length_m: float
    riser_diameter_m: float
    pipe_length_m: float
    pipe_diameter_m: float
    roughness_m: float
    minor_loss_coefficient: float
    outlet_height_m: float
    setting_depth_m: float
    water_c: float = WATER_C

    def __post_init__(self) -> None:
        self.head_m(np.array([0.0, 1.0]))  # a wrong fact is refused here, by name, not in the season's middle

    @property
    def density_kg_m3(self) -> float:
        """Density of the water. [kg/m3]"""
        return float(density_kg_m3(self.water_c))

    @property
    def m_per_bar(self) -> float:
        """Head of one bar. [m/bar]"""
        return 1e5 / (self.density_kg_m3 * GRAVITY_M_S2)

    @cached_property
    def _viscosity_m2_s(self) -> float:
        return float(kinematic_viscosity_m2_s(self.water_c))

    def drawdown_m(self, flow_m3_h: ArrayLike) -> Floats:
        """How far the pumped level lies below the resting one. [m3/h] -> [m]"""
        return step_drawdown_m(flow_m3_h, self.drawdown_linear, self.drawdown_quadratic)

    def level_m(self, flow_m3_h: ArrayLike, extra_lift_m: ArrayLike = 0.0) -> Floats:
        """Pumping level below the datum. [m3/h], [m] -> [m]"""
        return self.static_level_m + np.asarray(extra_lift_m, float) + self.drawdown_m(flow_m3_h)

    def resting_level_m(self, level_m: ArrayLike, flow_m3_h: ArrayLike) -> Floats:
        """Resting level that a measured pumping level means. [m], [m3/h] -> [m]"""
        return np.asarray(level_m, float) - self.drawdown_m(flow_m3_h)

    def riser_loss_m(self, flow_m3_h: ArrayLike) -> Floats:
        """Friction from pump to wellhead. [m3/h] -> [m]"""
        nu = self._viscosity_m2_s
        return friction_head_m(flow_m3_h, self.riser_length_m, self.riser_diameter_m, self.roughness_m, nu)

    def pipe_loss_m(self, flow_m3_h: ArrayLike) -> Floats:
        """Friction and fittings from wellhead to outlet. [m3/h] -> [m]"""
        nu = self._viscosity_m2_s
        straight = friction_head_m(flow_m3_h, self.pipe_length_m, self.pipe_diameter_m, self.roughness_m, nu)
        return straight + minor_head_m(flow_m3_h, self.minor_loss_coefficient, self.pipe_diameter_m)

    def head_m(
        self,
        flow_m3_h: ArrayLike,
        level_m: ArrayLike | None = None,
        pressure_bar: ArrayLike | None = None,
        friction_factor: ArrayLike = 1.0,
        extra_lift_m: ArrayLike = 0.0,
    ) -> Floats:
        """Total head at a flow; what is measured replaces what is computed, row by row where it is not NaN.

        Parameters
        ----------
        flow_m3_h : float or ndarray
            Flow through the riser. [m3/h]
        level_m : float or ndarray, optional
            Measured pumping level below the datum. [m]
        pressure_bar : float or ndarray, optional
            Measured gauge pressure at the wellhead, taken at the datum. [bar]
        friction_factor : float or ndarray, optional
            Multiplies friction and fittings, 1 as built. [-]
        extra_lift_m : float or ndarray, optional
            Lowers the resting level where the level is not measured. [m]

        Returns
        -------
        ndarray, broadcast shape
            Level + riser friction + (pressure as head, or outlet height + pipe friction and fittings). [m]

        References
        ----------
        .. [1] F. M. White, Fluid Mechanics, ch. 6, energy equation of a pipe system. From memory.
        """
        flow, factor = np.asarray(flow_m3_h, float), np.asarray(friction_factor, float)
        computed_level = self.level_m(flow, extra_lift_m)
        level = computed_level if level_m is None else _first_known(level_m, computed_level)
        beyond = self.outlet_height_m + factor * self.pipe_loss_m(flow)
        if pressure_bar is not None:
            beyond = _first_known(np.asarray(pressure_bar, float) * self.m_per_bar, beyond)
        return level + factor * self.riser_loss_m(flow) + beyond

    def slope_m_per_m3_h(self, flow_m3_h: ArrayLike, friction_factor: ArrayLike = 1.0) -> Floats:
        """How fast head rises with flow, level and pressure not measured. [m3/h] -> [m/(m3/h)]"""
        flow = np.asarray(flow_m3_h, float)
        step = 1e-4 * np.maximum(np.abs(flow), 0.1)
        high, low = (self.head_m(flow + sign * step, friction_factor=friction_factor) for sign in (1, -1))
        return (high - low) / (2 * step)

    def submergence_m(self, flow_m3_h: ArrayLike, level_m: ArrayLike | None = None) -> Floats:
        """Water above the pump's intake; negative means that it draws air. [m3/h], [m] -> [m]"""
        computed = self.level_m(flow_m3_h)
        return self.setting_depth_m - (computed if level_m is None else _first_known(level_m, computed))


def system_curve(facts: "SiteFacts", water_c: float = WATER_C) -> SystemCurve:
    """The system curve of a site file.

    Parameters
    ----------
    facts : SiteFacts
        Its well, delivery and pump's setting depth are used.
    water_c : float, optional
        Temperature of the water, 0 to 60. [deg C]

    Returns
    -------
    SystemCurve

    Raises
    ------
    ValueError
        A fact is impossible, by name.

    References
    ----------
    .. [1] As in the modules that it calls.
    """
    well, pipe = facts.well, facts.delivery
    return SystemCurve(
        static_level_m=well.static_level_m,
        drawdown_linear=well.drawdown_linear_m_per_m3_h,
        drawdown_quadratic=well.drawdown_quadratic_m_per_m3_h2,
        riser_length_m=pipe.riser_length_m,
        riser_diameter_m=pipe.riser_inner_diameter_mm / 1000,
        pipe_length_m=pipe.pipe_length_m,
        pipe_diameter_m=pipe.pipe_inner_diameter_mm / 1000,
        roughness_m=pipe.roughness_mm / 1000,
        minor_loss_coefficient=pipe.minor_loss_coefficient,
        outlet_height_m=pipe.outlet_height_m,
        setting_depth_m=facts.pump.setting_depth_m,
        water_c=water_c,
    )


def _first_known(measured: ArrayLike, computed: Floats) -> Floats:
    values = np.asarray(measured, float)
    return np.where(np.isnan(values), computed, values)
