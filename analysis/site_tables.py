"""What the row arithmetic asks of a site's tables: the seam between `expected.SiteModel` and `row_physics.RowPhysics`.

Flow: expected.py answers this -> row_physics.py asks it. Never: values.
"""

from typing import Protocol

from analysis.factors import Factors
from analysis.motor_rating import MotorRating
from analysis.operating_line import Hydraulics
from analysis.physics.array_power import ArrayModel
from analysis.physics.grid import Line
from analysis.physics.pump_model import PumpModel
from analysis.physics.sky_table import SkyTable
from analysis.physics.system_curve import SystemCurve
from logger.record.site_facts import SiteFacts


class SiteTables(Protocol):
    """One site's tables, built once from its facts."""

    facts: SiteFacts
    sky: SkyTable
    array: ArrayModel
    pump: PumpModel
    curve: SystemCurve
    hydraulics: Hydraulics

    @property
    def motor(self) -> MotorRating | None: ...
    def deviations(self, factors: Factors) -> dict[str, float]: ...
    def lines(self, factors: Factors) -> tuple[Line, Line]: ...
