"""Where a fitted pump may be asked: reasons for every head, speed and flow outside its table.

Flow: PumpModel -> HERE -> reason codes. Never: values; extrapolation beyond the margins below.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from analysis.physics.centrifugal import CentrifugalCore
from analysis.physics.helical import HelicalCore
from analysis.physics.reason import Reason

Floats = NDArray[np.float64]
Codes = NDArray[np.uint8]

SPEED_MARGIN = 1.15  # answers reach this far above the table's fastest row
HEAD_LOWEST = 0.2  # a centrifugal pump follows its affinity down to here, as a share of its lowest head
SPEED_LOWEST = HEAD_LOWEST**0.5  # and so, of its slowest row's speed
HEAD_MARGIN = (0.5, 1.2)  # and, for a helical rotor, from half its lowest head to 1.2 of its highest


@dataclass(frozen=True)
class Validity:
    """Reason codes, uint8, of the shape of what is asked. Speeds are relative to the table's fastest; `slowest` is that of its slowest row."""

    core: HelicalCore | CentrifugalCore
    head_range_m: tuple[float, float]
    speed_known: bool
    slowest: float

    @cached_property
    def head_limits_m(self) -> tuple[float, float]:
        """Lowest and highest head that any answer is given for. [m]"""
        if isinstance(self.core, HelicalCore):
            return HEAD_MARGIN[0] * self.head_range_m[0], HEAD_MARGIN[1] * self.head_range_m[1]
        top = float(self.core.f_grid[0] * SPEED_MARGIN ** self.core.exponents[0])
        return HEAD_LOWEST * self.head_range_m[0], top

    def of_head(self, head: Floats) -> Codes:
        """Whether this head [m] can be asked about at all."""
        reason = np.where(self._outside(head), Reason.HEAD_OUTSIDE, Reason.OK)
        reason = np.where(self.core.lift_speed(head) > SPEED_MARGIN, Reason.BEYOND_SHUT_OFF, reason)
        reason = np.where(head < 0, Reason.IMPOSSIBLE, reason)
        return np.where(np.isnan(head), Reason.MISSING, reason).astype(np.uint8)

    def of_speed(self, x: Floats, head: Floats) -> Codes:
        """Relative speed x against head [m]."""
        reason = self.of_head(head)
        idle = (reason == Reason.BEYOND_SHUT_OFF) & (x <= SPEED_MARGIN)  # any allowed speed is too slow for it
        reason = np.where(idle, Reason.OK, reason).astype(np.uint8)
        reason = first_said(reason, x <= self.core.lift_speed(head), Reason.NOT_LIFTING)
        reason = first_said(reason, x > self.core.run_out_speed(head), Reason.BEYOND_RUN_OUT)
        reason = np.where(x > SPEED_MARGIN, Reason.TOO_FAST, reason)
        reason = np.where(x < 0, Reason.IMPOSSIBLE, reason)
        return self.without_speed(np.where(np.isnan(x) | np.isnan(head), Reason.MISSING, reason).astype(np.uint8))

    def of_flow(self, x: Floats, flow: Floats, head: Floats) -> Codes:
        """Relative speed x against flow [m3/h], with the head [m] that they mean."""
        reason = np.where(np.isnan(head), Reason.BEYOND_RUN_OUT, Reason.OK)
        if isinstance(self.core, HelicalCore):
            reason = np.where(self._outside(head), Reason.HEAD_OUTSIDE, reason)
        else:  # what a rotor displaces follows its speed down to rest
            reason = np.where(x < SPEED_LOWEST * self.slowest, Reason.TOO_SLOW, reason)
        reason = np.where(x > SPEED_MARGIN, Reason.TOO_FAST, reason)
        reason = np.where((x <= 0) | (flow < 0), Reason.IMPOSSIBLE, reason)
        reason = np.where(np.isnan(x) | np.isnan(flow), Reason.MISSING, reason)
        return self.without_speed(reason.astype(np.uint8))

    def without_speed(self, reason: Codes) -> Codes:
        """The same, or NO_SPEED throughout where the table has none."""
        if self.speed_known:
            return reason
        return np.where(reason == Reason.MISSING, reason, Reason.NO_SPEED).astype(np.uint8)

    def _outside(self, head: Floats) -> NDArray[np.bool_]:
        low, high = self.head_limits_m
        return (head < low) | ((head > high) & isinstance(self.core, HelicalCore))


def first_said(reason: Codes, where: NDArray[np.bool_], code: Reason) -> Codes:
    """`code` where nothing was said yet."""
    return np.where(where & (reason == Reason.OK), code, reason).astype(np.uint8)
