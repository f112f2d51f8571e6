"""A fitted pump, asked in any direction: flow, head, power, speed, each from two of the others.

Flow: pump_curve.py builds it -> HERE -> pump_lookup.py (fast tables), expected.py.
Exact inverses; for arrays of a season's size use `lookup()`. Outside validity NaN with a reason (`answer`).
Never: I/O, pandas, extrapolation beyond the margins below.
"""

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.physics.centrifugal import CentrifugalCore
from analysis.physics.helical import HelicalCore
from analysis.physics.invert import solve_increasing
from analysis.physics.pump_lookup import PumpLookup
from analysis.physics.pump_validity import SPEED_MARGIN, Validity, first_said
from analysis.physics.reason import Answer, Reason

Floats = NDArray[np.float64]
Codes = NDArray[np.uint8]
PumpKind = Literal["helical-rotor", "multistage-centrifugal"]

STRETCH_MAX = 4.0  # far below the slowest row the flow is small, and so is what can be wrong with it


@dataclass(frozen=True)
class Spread:
    """Standard uncertainties of the fit over its own rows, and shares that the pump's tolerance allows."""

    flow_of_power_m3_h: float
    flow_of_speed_m3_h: float
    power_w: float
    head_m: float
    steep_power_w: float  # what power and head may be off between rows: moves flow where the curve is steep
    steep_head_m: float
    tolerance_flow: float
    tolerance_head: float
    tolerance_power: float


@dataclass(frozen=True)
class PumpModel:
    """One pump. Every method takes floats or arrays that broadcast, and returns float64 of the common shape.

    `wear` is the share of the reference flow (table's fastest speed, three quarters of its highest head or of
    shut-off) that leaks back: 0 healthy. At other heads the leak follows the head, in proportion (helical) or as its root.
    """

    kind: PumpKind
    core: HelicalCore | CentrifugalCore
    speed_known: bool
    head_range_m: tuple[float, float]
    speed_range: tuple[float, float]
    flow_max_m3_h: float
    power_max_w: float
    spread: Spread

    # -- from speed ------------------------------------------------------------------------------------------------

    def flow(self, speed_rpm: ArrayLike, head_m: ArrayLike, wear: ArrayLike = 0.0) -> Floats:
        """Flow at speed and head: 0 where nothing is lifted, NaN outside validity. [1/min], [m] -> [m3/h]"""
        x, head = self._pair(speed_rpm, head_m, self.core.reference_rpm)
        lifted = self.core.flow(x, head) - np.asarray(wear, float) * self.core.leak_m3_h(head)
        return self._valid(np.maximum(lifted, 0.0), self.validity.of_speed(x, head))

    flow_of_speed = flow

    def power_of_speed(self, speed_rpm: ArrayLike, head_m: ArrayLike) -> Floats:
        """Power at speed and head, worn or not. [1/min], [m] -> [W]"""
        x, head = self._pair(speed_rpm, head_m, self.core.reference_rpm)
        return self._valid(self.core.power_at_head(x, head), self.validity.of_speed(x, head))

    def head(self, speed_rpm: ArrayLike, flow_m3_h: ArrayLike) -> Floats:
        """Head at speed and flow; NaN where this speed cannot give the flow. [1/min], [m3/h] -> [m]"""
        x, flow = self._pair(speed_rpm, flow_m3_h, self.core.reference_rpm)
        head = self.core.head(x, flow)
        return self._valid(head, self.validity.of_flow(x, flow, head))

    head_of_speed = head

    def power(self, speed_rpm: ArrayLike, flow_m3_h: ArrayLike) -> Floats:
        """Power at speed and flow. [1/min], [m3/h] -> [W]"""
        x, flow = self._pair(speed_rpm, flow_m3_h, self.core.reference_rpm)
        return self._valid(self.core.power(x, flow), self.validity.of_flow(x, flow, self.core.head(x, flow)))

    def torque_n_m(self, speed_rpm: ArrayLike, head_m: ArrayLike) -> Floats:
        """Power over angular speed: what a permanent-magnet motor's current follows. [1/min], [m] -> [N m]"""
        speed = np.asarray(speed_rpm, float)
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.where(speed > 0, self.power_of_speed(speed, head_m) / (speed * np.pi / 30), np.nan)

    def breakaway_torque_n_m(self, head_m: ArrayLike) -> Floats:
        """Torque that starts it against a full riser; a rough figure, from the table's power. [m] -> [N m]"""
        head = np.asarray(head_m, float)
        return self._valid(
            self.core.breakaway_torque_n_m(head), self.validity.without_speed(self.validity.of_head(head))
        )

    def wear_of_slip_factor(self, slip_factor: ArrayLike, head_m: ArrayLike) -> Floats:
        """The `wear` that multiplies a helical rotor's slip, at this head and full speed. [-], [m] -> [-]

        ValueError for a centrifugal pump: it has no slip.
        """
        if not isinstance(self.core, HelicalCore):
            raise ValueError("slip_factor: only a helical rotor has slip; give a centrifugal pump's wear directly")
        head = np.asarray(head_m, float)
        with np.errstate(divide="ignore", invalid="ignore"):
            added = (np.asarray(slip_factor, float) - 1) * self.core.slip(np.ones_like(head), head)
            return np.where(head > 0, added / self.core.leak_m3_h(head), np.nan)

    # -- from power ------------------------------------------------------------------------------------------------

    def flow_of_power(self, power_w: ArrayLike, head_m: ArrayLike, wear: ArrayLike = 0.0) -> Floats:
        """Flow at power and head: 0 where the power does not lift, NaN outside validity. [W], [m] -> [m3/h]"""
        power, head = self._pair(power_w, head_m)
        x, reason = self._x_of_power(power, head)
        lifted = self.core.flow(x, head) - np.asarray(wear, float) * self.core.leak_m3_h(head)
        return self._valid(np.maximum(lifted, 0.0), reason)

    def speed_of_power(self, power_w: ArrayLike, head_m: ArrayLike) -> Floats:
        """Speed at power and head; NaN where the table has no speeds. [W], [m] -> [1/min]"""
        x, reason = self._x_of_power(*self._pair(power_w, head_m))
        return self._valid(x * self.core.reference_rpm, self.validity.without_speed(reason))

    # -- from flow -------------------------------------------------------------------------------------------------

    def power_of_flow(self, flow_m3_h: ArrayLike, head_m: ArrayLike, wear: ArrayLike = 0.0) -> Floats:
        """Power that lifts this flow to this head. [m3/h], [m] -> [W]"""
        x, head, reason = self._x_of_flow(flow_m3_h, head_m, wear)
        return self._valid(self.core.power_at_head(x, head), reason)

    def speed_of_flow(self, flow_m3_h: ArrayLike, head_m: ArrayLike, wear: ArrayLike = 0.0) -> Floats:
        """Speed that lifts this flow to this head; at flow 0 the speed where lifting begins. [m3/h], [m] -> [1/min]"""
        x, _, reason = self._x_of_flow(flow_m3_h, head_m, wear)
        return self._valid(x * self.core.reference_rpm, self.validity.without_speed(reason))

    def lift_power(self, head_m: ArrayLike) -> Floats:
        """Power at which lifting begins. [m] -> [W]"""
        head = np.asarray(head_m, float)
        x = self.core.lift_speed(head)
        return self._valid(self.core.power_at_head(x, head), self.validity.of_head(head))

    def lift_speed(self, head_m: ArrayLike) -> Floats:
        """Speed at which lifting begins. [m] -> [1/min]"""
        head = np.asarray(head_m, float)
        return self._valid(
            self.core.lift_speed(head) * self.core.reference_rpm,
            self.validity.without_speed(self.validity.of_head(head)),
        )

    # -- with reasons and uncertainty ------------------------------------------------------------------------------

    def answer(self, method: str, first: ArrayLike, second: ArrayLike) -> Answer:
        """Value, uncertainties and reason of one of the methods above, by its name.

        ValueError for a name that is none: `flow`, `power_of_speed`, `head`, `power`, `flow_of_power`, `power_of_flow`.
        """
        if method not in _STD_OF:
            raise ValueError(f"method must be one of {', '.join(_STD_OF)}, got {method!r}")
        one, two = np.broadcast_arrays(np.asarray(first, float), np.asarray(second, float))
        value = getattr(self, method)(one, two)
        if method == "flow_of_power":
            x, reason = self._x_of_power(one, two)
        elif method == "power_of_flow":
            x, _, reason = self._x_of_flow(one, two, 0.0)
        elif method in ("head", "power"):
            x = one / self.core.reference_rpm
            reason = self.validity.of_flow(x, two, self.core.head(x, two))
        else:
            x = one / self.core.reference_rpm
            reason = self.validity.of_speed(x, two)
        base, share = (getattr(self.spread, name) for name in _STD_OF[method])
        steep = self._steep(method, one, two)
        fit = self._valid(np.sqrt(base**2 + (0.004 * value) ** 2 + steep**2) * self._stretch(x), reason)
        return Answer(value, fit, share * value, reason)

    def lookup(self) -> PumpLookup:
        """The same model as regular tables: a few tens of nanoseconds a row."""
        return self._lookup

    @cached_property
    def validity(self) -> Validity:
        """Where answers are given."""
        return Validity(self.core, self.head_range_m, self.speed_known, self.speed_range[0])

    @property
    def head_limits_m(self) -> tuple[float, float]:
        """Lowest and highest head that any answer is given for. [m]"""
        return self.validity.head_limits_m

    @property
    def speed_top(self) -> float:
        """Largest relative speed that any answer is given for. [-]"""
        return SPEED_MARGIN

    def relative_speed_of_power(self, power_w: Floats, head_m: Floats) -> Floats:
        """Relative speed at power and head, without a judgement of validity; for tables. [W], [m] -> [-]"""
        return self._x_that_takes(power_w, head_m, self._x_top(head_m))

    def relative_speed_of_flow(self, flow_m3_h: Floats, head_m: Floats) -> Floats:
        """Relative speed at flow and head, without a judgement of validity; for tables. [m3/h], [m] -> [-]"""
        return self._x_of_flow(flow_m3_h, head_m, 0.0)[0]

    @cached_property
    def _lookup(self) -> PumpLookup:
        return PumpLookup(self)

    # -- validity --------------------------------------------------------------------------------------------------

    def _pair(self, first: ArrayLike, second: ArrayLike, scale: float = 1.0) -> tuple[Floats, Floats]:
        one, two = np.broadcast_arrays(np.asarray(first, float) / scale, np.asarray(second, float))
        return one, two

    def _stretch(self, x: Floats) -> Floats:
        """How far a relative speed lies from the table's, as a factor on the fit's uncertainty."""
        with np.errstate(divide="ignore", invalid="ignore"):
            away = np.maximum(np.log(np.maximum(self.speed_range[0] / x, x / self.speed_range[1])), 0.0)
        return np.minimum(np.sqrt(1 + (away / 0.15) ** 2), STRETCH_MAX)

    def _steep(self, method: str, one: Floats, two: Floats) -> Floats:
        """Half the span of flow over the model's own doubt in power or head; 0 for what is not a flow."""
        if method == "flow_of_power":
            around = [self.flow_of_power(np.maximum(one + d * self.spread.steep_power_w, 0.0), two) for d in (-1, 1)]
        elif method == "flow":
            around = [self.flow(one, np.maximum(two + d * self.spread.steep_head_m, 0.0)) for d in (-1, 1)]
        else:
            return np.zeros(one.shape)
        return np.nan_to_num(np.abs(around[1] - around[0])) / 2

    def _x_top(self, head: Floats) -> Floats:
        return np.minimum(self.core.run_out_speed(head), SPEED_MARGIN)

    def _x_of_power(self, power: Floats, head: Floats) -> tuple[Floats, Codes]:
        reason, top = self.validity.of_head(head), self._x_top(head)
        strongest = self.core.power_at_head(top, head)
        x = self._x_that_takes(power, head, top)
        idle = (reason == Reason.BEYOND_SHUT_OFF) & (power <= strongest)
        reason = np.where(idle, Reason.OK, reason).astype(np.uint8)
        reason = first_said(reason, x <= self.core.lift_speed(head), Reason.NOT_LIFTING)
        over = np.where(top < SPEED_MARGIN, Reason.BEYOND_RUN_OUT, Reason.TOO_STRONG)
        reason = np.where((power > strongest) & (reason <= 1), over, reason)
        reason = np.where(power < 0, Reason.IMPOSSIBLE, reason)
        return x, np.where(np.isnan(power) | np.isnan(head), Reason.MISSING, reason).astype(np.uint8)

    def _x_that_takes(self, power: Floats, head: Floats, top: Floats) -> Floats:
        return solve_increasing(lambda at: self.core.power_at_head(at, head), power, np.zeros_like(top), top)

    def _x_of_flow(self, flow_m3_h: ArrayLike, head_m: ArrayLike, wear: ArrayLike) -> tuple[Floats, Floats, Codes]:
        flow, head = self._pair(flow_m3_h, head_m)
        through = flow + np.asarray(wear, float) * self.core.leak_m3_h(head)
        through, head, flow = np.broadcast_arrays(through, head, flow)
        reason, top = self.validity.of_head(head), self._x_top(head)
        low = np.minimum(self.core.lift_speed(head), top)
        x = solve_increasing(lambda at: self.core.flow(at, head), through, low, top)
        over = np.where(top < SPEED_MARGIN, Reason.BEYOND_RUN_OUT, Reason.TOO_FAST)
        reason = np.where((through > self.core.flow(top, head)) & (reason <= 1), over, reason)
        reason = np.where(flow < 0, Reason.IMPOSSIBLE, reason)
        return x, head, np.where(np.isnan(through) | np.isnan(head), Reason.MISSING, reason).astype(np.uint8)

    @staticmethod
    def _valid(value: Floats, reason: Codes) -> Floats:
        return np.where(reason <= Reason.NOT_LIFTING, value, np.nan)


_STD_OF = {
    "flow": ("flow_of_speed_m3_h", "tolerance_flow"),
    "flow_of_power": ("flow_of_power_m3_h", "tolerance_flow"),
    "power_of_speed": ("power_w", "tolerance_power"),
    "power_of_flow": ("power_w", "tolerance_power"),
    "power": ("power_w", "tolerance_power"),
    "head": ("head_m", "tolerance_head"),
}
