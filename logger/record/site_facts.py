"""What was installed at one site: the typed facts of a site file.

Flow: site_file.py reads and judges the file -> HERE -> analysis, dashboard.
Depths are from one marked datum at the wellhead, positive downwards. Optional facts are None where unknown.
Never: parsing, defaults that the file does not state.
"""

from dataclasses import dataclass, field
from datetime import date
from typing import Any, Literal

PumpKind = Literal["helical-rotor", "multistage-centrifugal"]
MotorKind = Literal["permanent-magnet", "induction", "brushed-dc"]
PowerAt = Literal["controller-input", "motor-terminals"]
VisitKind = Literal["panels-washed", "pump-lifted", "leads-moved", "meter-replaced", "controller-replaced", "other"]


def fact(unit: str = "", lowest: float | None = None, highest: float | None = None, **rest: Any) -> Any:
    """A field with its unit and the range that any real installation keeps to."""
    return field(metadata={"unit": unit, "lowest": lowest, "highest": highest}, **rest)


def unknown(unit: str = "", lowest: float | None = None, highest: float | None = None) -> Any:
    """An optional fact."""
    return fact(unit, lowest, highest, default=None)


@dataclass(frozen=True)
class Site:
    """Where the pump stands."""

    id: str
    name: str
    latitude_deg: float = fact("deg", -90, 90)
    longitude_deg: float = fact("deg", -180, 180)
    altitude_m: float = fact("m", -430, 6000)
    timezone: str = "UTC"
    lowest_ambient_c: float | None = unknown("deg C", -60, 40)
    highest_ambient_c: float | None = unknown("deg C", 0, 60)


@dataclass(frozen=True)
class Module:
    """One photovoltaic module's datasheet, at standard test conditions."""

    p_mp_w: float = fact("W", 5, 1000)
    v_mp_v: float = fact("V", 5, 200)
    i_mp_a: float = fact("A", 0.1, 30)
    v_oc_v: float = fact("V", 5, 250)
    i_sc_a: float = fact("A", 0.1, 35)
    temp_coeff_p_mp_pct_c: float = fact("%/deg C", -1, 0)
    temp_coeff_v_oc_pct_c: float = fact("%/deg C", -1, 0)
    temp_coeff_i_sc_pct_c: float = fact("%/deg C", -0.05, 0.3)
    noct_c: float = fact("deg C", 35, 60)


@dataclass(frozen=True)
class Array:
    """The array: `strings` in parallel, each of `modules_in_series`. Azimuth clockwise from true north."""

    module: Module
    modules_in_series: int = fact("", 1, 60)
    strings: int = fact("", 1, 100)
    tilt_deg: float = fact("deg", 0, 90)
    azimuth_deg: float = fact("deg", 0, 360)
    cable_length_m: float | None = unknown("m", 0, 2000)
    cable_mm2: float | None = unknown("mm2", 0.5, 300)


@dataclass(frozen=True)
class Controller:
    """The pump controller's datasheet and settings. `allowed_layouts`: (in series, strings) pairs."""

    max_input_voltage_v: float = fact("V", 10, 2000)
    min_input_voltage_v: float = fact("V", 5, 1500)
    max_power_w: float = fact("W", 20, 1e6)
    start_delay_s: float = fact("s", 0, 3600)
    low_level_hold_min: float = fact("min", 0, 1440)
    speed_limit_pct: float = fact("%", 10, 100)
    mpp_min_v: float | None = unknown("V", 5, 1500)
    mpp_max_v: float | None = unknown("V", 5, 2000)
    max_input_current_a: float | None = unknown("A", 0.5, 2000)
    allowed_layouts: tuple[tuple[int, int], ...] | None = None


@dataclass(frozen=True)
class Cable:
    """Copper from controller to motor, one way."""

    length_m: float = fact("m", 0, 2000)
    conductor_mm2: float = fact("mm2", 0.5, 300)


@dataclass(frozen=True)
class Motor:
    """What is known of the motor."""

    kind: MotorKind | None = None
    rated_current_a: float | None = unknown("A", 0.1, 1000)
    rated_speed_rpm: float | None = unknown("1/min", 100, 10000)


@dataclass(frozen=True)
class CurveRow:
    """One row of the pump's datasheet table."""

    head_m: float = fact("m", 0, 1000)
    power_w: float = fact("W", 0, 1e6)
    flow_m3_h: float = fact("m3/h", 0, 1000)
    speed_rpm: float | None = unknown("1/min", 1, 10000)


@dataclass(frozen=True)
class Pump:
    """The pump and its datasheet table. `setting_depth_m`: its intake below the datum."""

    kind: PumpKind
    curve_power_at: PowerAt
    curve: tuple[CurveRow, ...]
    setting_depth_m: float = fact("m", 1, 1000)

    @property
    def largest_flow_m3_h(self) -> float:
        """Of all rows of the table. [m3/h]"""
        return max(row.flow_m3_h for row in self.curve)


@dataclass(frozen=True)
class Well:
    """From the driller's log. Drawdown s = B Q + C Q^2 with Q in m3/h.

    The bounds let through the smallest well that is pumped at all, 0.1 m3/h with 20 m of drawdown, in either term.
    """

    static_level_m: float = fact("m", -5, 1000)
    drawdown_linear_m_per_m3_h: float = fact("m/(m3/h)", 0, 500)
    drawdown_quadratic_m_per_m3_h2: float = fact("m/(m3/h)^2", 0, 2000)
    tested_yield_m3_h: float = fact("m3/h", 0.01, 1000)
    probe_depth_m: float | None = unknown("m", 0, 1000)
    seasonal_range_m: float | None = unknown("m", 0, 200)


@dataclass(frozen=True)
class Delivery:
    """Riser and pipe. `outlet_height_m`: the tank's inlet above the datum."""

    riser_length_m: float = fact("m", 0, 1000)
    riser_inner_diameter_mm: float = fact("mm", 5, 1000)
    pipe_length_m: float = fact("m", 0, 20000)
    pipe_inner_diameter_mm: float = fact("mm", 5, 1000)
    roughness_mm: float = fact("mm", 0, 5)
    minor_loss_coefficient: float = fact("", 0, 1000)
    outlet_height_m: float = fact("m", -100, 500)


@dataclass(frozen=True)
class Tank:
    """Where the water goes."""

    capacity_m3: float = fact("m3", 0.05, 100000)


@dataclass(frozen=True)
class Sensors:
    """What is fitted. `commissioned`: the first day of healthy running, when known."""

    channels: tuple[str, ...]
    meter_step_m3: float | None = unknown("m3", 0.0001, 100)
    commissioned: date | None = None


@dataclass(frozen=True)
class Visit:
    """What people did on site."""

    date: date
    kind: VisitKind
    note: str = ""


@dataclass(frozen=True)
class SiteFacts:
    """One site file, judged and typed. `digest` names this content: it changes when a fact changes."""

    site: Site
    array: Array
    controller: Controller
    cable: Cable
    pump: Pump
    well: Well
    delivery: Delivery
    tank: Tank
    sensors: Sensors
    motor: Motor = Motor()
    visits: tuple[Visit, ...] = field(default=(), metadata={"key": "visit"})
    digest: str = field(default="", metadata={"key": None})
