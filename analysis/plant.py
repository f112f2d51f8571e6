"""One site made ready for the engine: its facts, its days, what should come, and the scales that judgement uses.

Flow: site file -> expected.py -> HERE -> look.py, estimates, causes.
Never: rows.
"""

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from analysis.expected import SiteModel
from analysis.physics.invert import settled
from analysis.physics.pump_model import PumpModel
from analysis.physics.system_curve import SystemCurve
from analysis.solar_days import SolarDays
from logger.record.site_facts import SiteFacts

PLANTS_KEPT = 1024  # sites of one worker, about 2 MB of tables each
NEARLY = 0.999  # of the fastest speed, so that it still lies within what the pump answers for
FASTEST_ROUNDS, CLOSE = 24, 1e-12  # steps towards the working point at top speed; of full flow
IDLE_LEAST_SHARE = (
    0.08  # of full power, at full speed: bearings, seals and the stator's rubber (common practice, no source)
)
WATER_AT_MAX_SHARE = 0.85  # of the array's rating: what an array gives at noon when warm (common practice, no source)


@dataclass(frozen=True, eq=False)
class Plant:
    """What is computed once per site file."""

    facts: SiteFacts
    days: SolarDays
    model: SiteModel

    @cached_property
    def helical(self) -> bool:
        """Displacement pump: torque follows lift, not flow."""
        return self.facts.pump.kind == "helical-rotor"

    @cached_property
    def current_known(self) -> bool:
        """The site file tells what current a sound motor takes for its torque."""
        motor = self.facts.motor
        turning = any(row.speed_rpm for row in self.facts.pump.curve)
        return bool(motor.kind in ("permanent-magnet", "brushed-dc") and motor.rated_current_a and turning)

    @cached_property
    def turns_by_rating(self) -> bool:
        """A datasheet without speeds, but a motor's rated speed: the speeds that its table hides go along with that."""
        return not self.pump.speed_known and bool(self.facts.motor.rated_speed_rpm)

    @cached_property
    def turns_or_field(self) -> bool:
        """The speeds of the datasheet and those that are read may be the shaft's or the field's: an induction motor slips between them.

        A borehole's impellers mostly have such a motor, where nobody wrote down which.
        """
        kind = self.facts.motor.kind
        return self.pump.speed_known and (kind == "induction" or (kind is None and not self.helical))

    @cached_property
    def outlet_m(self) -> float:
        """Height of the outlet above the wellhead's gauge, at least a metre. [m]"""
        return max(self.facts.delivery.outlet_height_m, 1.0)

    @cached_property
    def array_stc_w(self) -> float:
        """The array's rating. [W]"""
        array = self.facts.array
        return array.modules_in_series * array.strings * array.module.p_mp_w

    @property
    def rated_current_a(self) -> float:
        """The array's current at maximum power, by its datasheet. [A]"""
        return self.facts.array.strings * self.facts.array.module.i_mp_a

    @cached_property
    def full_power_w(self) -> float:
        """The power around which the pump works at full sun. [W]

        At its fastest it takes what this site's lift asks for: a datasheet's table goes on to heads that few sites have, and
        the power that stands there for them is never drawn here.
        """
        curve = max(row.power_w for row in self.facts.pump.curve)
        offered = min(curve, self.facts.controller.max_power_w, WATER_AT_MAX_SHARE * self.array_stc_w)
        return min(offered, self._fastest_power_w)

    @cached_property
    def _fastest_power_w(self) -> float:
        """Power at the fastest speed that the pump answers for, against this site's own head; infinite where it does not. [W]"""
        fastest_rpm = NEARLY * self.pump.speed_top * self.pump.core.reference_rpm
        most = self.full_flow_m3_h
        flow = settled(
            lambda at: np.nan_to_num(self.pump.flow(fastest_rpm, self.system.head_m(at))),
            np.array([most]), CLOSE * most, FASTEST_ROUNDS,
        )  # fmt: skip
        power = float(self.pump.power_of_speed(fastest_rpm, self.system.head_m(flow))[0])
        return power if power > 0 else float("inf")

    @cached_property
    def full_flow_m3_h(self) -> float:
        """The largest flow that meter and pump can honestly show. [m3/h]"""
        return self.facts.pump.largest_flow_m3_h

    @cached_property
    def start_power_w(self) -> float:
        """Below it the pump is not expected to lift: the smallest power in the datasheet's table. [W]"""
        return min(row.power_w for row in self.facts.pump.curve)

    @cached_property
    def ceiling_w(self) -> float:
        """What pump or controller takes at most, so that the array is left below its maximum. [W]"""
        return min(max(row.power_w for row in self.facts.pump.curve), self.facts.controller.max_power_w)

    @cached_property
    def pump(self) -> PumpModel:
        """The datasheet's pump, its powers at the controller's input."""
        return self.model.pump

    @cached_property
    def system(self) -> SystemCurve:
        """Well, riser and pipe."""
        return self.model.curve

    @cached_property
    def metres_a_bar(self) -> float:
        """Head of one bar. [m/bar]"""
        return self.system.m_per_bar

    @cached_property
    def lift_speed_rpm(self) -> float:
        """Speed at which lifting begins from the resting level; NaN where the datasheet has no speeds. [1/min]"""
        return float(self.pump.lift_speed(self.system.head_m(np.zeros(1)))[0])

    @cached_property
    def lift_power_w(self) -> float:
        """Likewise the power; NaN where the pump's table does not reach. [W]"""
        return float(self.pump.lift_power(self.system.head_m(np.zeros(1)))[0])

    def idle_power_w(self, relative_speed: np.ndarray | float) -> np.ndarray:
        """Power of a pump that lifts nothing: a helical rotor with no lift upon it, a centrifugal pump at a shut valve. [-] -> [W]"""
        core, speed, nothing = self.pump.core, np.asarray(relative_speed, float), np.zeros(())
        power = core.power_at_head(speed, nothing) if self.helical else core.power(speed, nothing)
        return np.maximum(power, IDLE_LEAST_SHARE * self.ceiling_w * np.nan_to_num(speed))

    @cached_property
    def riser_m3(self) -> float:
        """Water that stands in the riser. [m3]"""
        delivery = self.facts.delivery
        return float(np.pi / 4 * (delivery.riser_inner_diameter_mm / 1000) ** 2 * delivery.riser_length_m)

    def wellhead_head_m(self, flow_m3_h: np.ndarray) -> np.ndarray:
        """Head above the datum at the wellhead's gauge, tabulated over flow (within 1 mm). [m3/h] -> [m]"""
        flows, heads = self._wellhead
        return np.interp(flow_m3_h, flows, heads)

    @cached_property
    def _wellhead(self) -> tuple[np.ndarray, np.ndarray]:
        flows = np.linspace(0.0, 1.5 * self.full_flow_m3_h, 257)
        return flows, self.facts.delivery.outlet_height_m + self.system.pipe_loss_m(flows)

    @cached_property
    def has(self) -> frozenset[str]:
        """The channels fitted, by the site file."""
        return frozenset(self.facts.sensors.channels)

    @cached_property
    def band_edges_w(self) -> np.ndarray:
        """Edges between the low, middle and high band of input power. [W], shape (2,)"""
        return np.array([0.5, 0.75]) * self.full_power_w


@lru_cache(maxsize=PLANTS_KEPT)
def _plant(facts: SiteFacts) -> Plant:
    site = facts.site
    return Plant(facts, SolarDays(site.latitude_deg, site.longitude_deg, site.timezone), SiteModel(facts))


def plant_of(facts: SiteFacts) -> Plant:
    """The plant of a site file; kept, so that thousands of turns build it once.

    A site file is dozens of facts, whose hash takes longer than many a day's judgement: the same object is known by itself.
    """
    kept = _by_object.get(id(facts))
    if kept is not None and kept[0] is facts:
        return kept[1]
    plant = _plant(facts)
    if len(_by_object) >= PLANTS_KEPT:
        _by_object.clear()
    _by_object[id(facts)] = facts, plant
    return plant


_by_object: dict[int, tuple[SiteFacts, Plant]] = {}
"""By the identity of a site file that is held here, so that no other can come by it."""
