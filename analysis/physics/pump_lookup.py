"""A pump's surfaces as regular tables: a season's rows in a few tens of nanoseconds each.

Flow: PumpModel -> HERE -> expected.py, operating_point.py. Tables are bilinear in head and in the root of the distance from
where lifting begins, where flow rises steepest. Their error is tested: 999 of 1000 conditions within 0.2 % of the largest flow,
power or speed; the rest, in the cells where the curve ends, within about 1 %. Not so for about a fifth of drawn tables of 16 rows and more that
are coarsely rounded (0.1 m3/h, 0.1 m, 10 W): their own surface has cliffs, at which flow jumps by a tenth or two within 1 % of power, and a cell
across one lies between its sides (0.1 to 2 % of the conditions of such a table, by 0.27 of the largest flow at the worst); flow still never falls
as power rises.
Never: I/O, pandas, reasons (ask the exact model's `answer`).
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.physics.blocks import in_blocks
from analysis.physics.centrifugal import CentrifugalCore
from analysis.physics.helical import HelicalCore

Floats = NDArray[np.float64]
Places = NDArray[np.int32]

HEADS = 257
STEPS = 193
SECANTS, CLOSE, MET = 9, 1e-10, 1e-14
UNMET, HALVINGS = 1e-7, 40  # of the largest: what secants have not met by then, as on a shelf of the curve, is halved
WORTH_PICKING = 0.7  # of the places still open: to pick them costs as much as a third of a secant


@dataclass(frozen=True)
class Sheet:
    """z on a regular grid over (u, v), both 0 to 1, flattened so that one index reaches a cell."""

    flat: Floats
    rows: int
    columns: int

    @cached_property
    def _rises(self) -> Floats:
        """From each node to the next of its row."""
        return np.diff(self.flat, append=0.0)

    def cells(self, u: Floats, v: Floats) -> "tuple[Places, Floats, Floats]":
        """Where (u, v) lies, for `of` of any sheet of this size: each one's lowest node, and the shares of the way across and along."""
        across, along = u * (self.rows - 1), v * (self.columns - 1)
        with np.errstate(invalid="ignore"):
            i = across.astype(np.int32)
            j = along.astype(np.int32)
        np.minimum(np.maximum(i, 0, out=i), self.rows - 2, out=i)
        np.minimum(np.maximum(j, 0, out=j), self.columns - 2, out=j)
        across -= i
        along -= j
        i *= self.columns
        i += j
        return i, across, along

    def of(self, cells: "tuple[Places, Floats, Floats]") -> Floats:
        """Bilinear."""
        i, across, along = cells
        near = self._rises.take(i, mode="clip")
        near *= along
        near += self.flat.take(i, mode="clip")
        i = i + self.columns
        low = self._rises.take(i, mode="clip")
        low *= along
        low += self.flat.take(i, mode="clip")
        low -= near
        low *= across
        near += low
        return near

    def at(self, u: Floats, v: Floats) -> Floats:
        """Bilinear; u and v must lie within 0 to 1 or be NaN (then NaN)."""
        return self.of(self.cells(u, v))


@dataclass(frozen=True)
class Ladder:
    """y on a regular grid over v, 0 to 1; linear between."""

    values: Floats

    @cached_property
    def _rises(self) -> Floats:
        return np.diff(self.values, append=0.0)

    def cells(self, v: Floats) -> "tuple[Places, Floats]":
        """Where v lies, for `of` of any ladder of this length."""
        along = v * (len(self.values) - 1)
        with np.errstate(invalid="ignore"):
            j = along.astype(np.int32)
        np.minimum(np.maximum(j, 0, out=j), len(self.values) - 2, out=j)
        along -= j
        return j, along

    def of(self, cells: "tuple[Places, Floats]") -> Floats:
        j, along = cells
        near = self._rises.take(j, mode="clip")
        near *= along
        near += self.values.take(j, mode="clip")
        return near

    def at(self, v: Floats) -> Floats:
        return self.of(self.cells(v))


class Tabulated(Protocol):
    """What is asked of a pump to tabulate it; `pump_model.PumpModel` answers."""

    @property
    def core(self) -> HelicalCore | CentrifugalCore: ...
    @property
    def speed_known(self) -> bool: ...
    @property
    def head_limits_m(self) -> tuple[float, float]: ...
    @property
    def speed_top(self) -> float: ...
    def relative_speed_of_power(self, power_w: Floats, head_m: Floats) -> Floats: ...
    def relative_speed_of_flow(self, flow_m3_h: Floats, head_m: Floats) -> Floats: ...


class PumpLookup:
    """Same questions as PumpModel, same NaN outside validity, from tables. Arguments broadcast; floats become arrays."""

    def __init__(self, model: Tabulated) -> None:
        self.model = model
        low, high = model.head_limits_m
        self._head_low, self._head_high = low, high
        # points crowd towards the highest head, where a centrifugal pump's flow ends like a root
        heads = high - (high - low) * np.linspace(1, 0, HEADS) ** 2
        core = model.core
        top = np.minimum(core.run_out_speed(heads), model.speed_top)
        lift = np.minimum(core.lift_speed(heads), top)
        root = np.linspace(0, 1, STEPS)[:, None] ** 2
        x = lift + root * (top - lift)
        power_lift, power_top = core.power_at_head(lift, heads), core.power_at_head(top, heads)
        self._x_lift, self._x_span = Ladder(lift), Ladder(np.maximum(top - lift, 1e-9))
        self._p_lift, self._p_span = Ladder(power_lift), Ladder(np.maximum(power_top - power_lift, 1e-9))
        flow_of_x = core.flow(x, heads)
        self._flow_of_x = _sheet(flow_of_x)
        power = power_lift + root * (power_top - power_lift)
        power_of_x = core.power_at_head(x, heads)
        at_power = _inverse(core.power_at_head, heads, x, power_of_x, power)
        self._flow_of_p = _sheet(core.flow(at_power, heads))
        self._x_of_p = _sheet((at_power - lift) / np.maximum(top - lift, 1e-9))
        self._power_of_x = _sheet(power_of_x)
        self._nodes = heads, x, flow_of_x

    @cached_property
    def _by_flow(self) -> "tuple[Ladder, Sheet]":
        """Largest flow by head, and power over the share of it; only those pay for it who ask by flow."""
        (heads, x, flow_of_x), core = self._nodes, self.model.core
        flow_top = flow_of_x[-1]
        flow = np.linspace(0, 1, STEPS)[:, None] * flow_top
        at_flow = _inverse(core.flow, heads, x, flow_of_x, flow)
        return Ladder(np.maximum(flow_top, 1e-9)), _sheet(core.power_at_head(at_flow, heads))

    @in_blocks
    def flow_of_power(self, power_w: ArrayLike, head_m: ArrayLike, wear: ArrayLike = 0.0) -> Floats:
        """Flow at power and head; 0 below where lifting begins, NaN outside validity. [W], [m] -> [m3/h]"""
        head, v = self._heads(head_m)
        rungs = self._p_lift.cells(v)
        u = self._root(np.asarray(power_w, float), self._p_lift.of(rungs), self._p_span.of(rungs))
        return self._worn(self._flow_of_p.at(u, v), head, wear)

    @in_blocks
    def flow(self, speed_rpm: ArrayLike, head_m: ArrayLike, wear: ArrayLike = 0.0) -> Floats:
        """Flow at speed and head; 0 below where lifting begins, NaN outside validity. [1/min], [m] -> [m3/h]"""
        head, v = self._heads(head_m)
        rungs = self._x_lift.cells(v)
        u = self._root(self._x(speed_rpm), self._x_lift.of(rungs), self._x_span.of(rungs))
        return self._worn(self._flow_of_x.at(u, v), head, wear)

    flow_of_speed = flow

    @in_blocks
    def power_of_speed(self, speed_rpm: ArrayLike, head_m: ArrayLike) -> Floats:
        """Power at speed and head, also where nothing is lifted; NaN outside validity. [1/min], [m] -> [W]"""
        head, v = self._heads(head_m)
        x, lift = np.broadcast_arrays(self._x(speed_rpm), self._x_lift.at(v))
        power = self._power_of_x.at(self._root(x, lift, self._x_span.at(v)), v)
        idle = (x < lift) & (x >= 0)
        if idle.any():
            power[idle] = self.model.core.power_at_head(x[idle], np.broadcast_to(head, x.shape)[idle])
        return power

    def flow_and_power(self, speed_rpm: ArrayLike, head_m: ArrayLike) -> tuple[Floats, Floats]:
        """`flow` and `power_of_speed` at once, for the price of little more than one. [1/min], [m] -> [m3/h], [W]"""
        head, v = self._heads(head_m)
        rungs = self._x_lift.cells(v)
        x, lift = self._x(speed_rpm), self._x_lift.of(rungs)
        if x.shape != lift.shape:
            x, lift = np.broadcast_arrays(x, lift)
        u = self._root(x, lift, self._x_span.of(rungs))
        cells = self._flow_of_x.cells(u, v)
        power = self._power_of_x.of(cells)
        idle = (x < lift) & (x >= 0)
        if idle.any():
            power[idle] = self.model.core.power_at_head(x[idle], np.broadcast_to(head, x.shape)[idle])
        return self._flow_of_x.of(cells), power

    @in_blocks
    def speed_of_power(self, power_w: ArrayLike, head_m: ArrayLike) -> Floats:
        """Speed at power and head; NaN where nothing is lifted, outside validity or without speeds. [W], [m] -> [1/min]"""
        _, v = self._heads(head_m)
        power, lift = np.asarray(power_w, float), self._p_lift.at(v)
        u = self._root(power, lift, self._p_span.at(v))
        x = self._x_lift.at(v) + self._x_of_p.at(u, v) * self._x_span.at(v)
        scale = self.model.core.reference_rpm if self.model.speed_known else np.nan
        return np.where(power < lift, np.nan, x * scale)

    @in_blocks
    def power_of_flow(self, flow_m3_h: ArrayLike, head_m: ArrayLike, wear: ArrayLike = 0.0) -> Floats:
        """Power that lifts this flow; NaN outside validity. [m3/h], [m] -> [W]"""
        head, v = self._heads(head_m)
        flow = np.asarray(flow_m3_h, float)
        if np.any(np.asarray(wear) != 0.0):
            flow = flow + np.asarray(wear, float) * self.model.core.leak_m3_h(head)
        top, power = self._by_flow
        u = flow / top.at(v)
        return power.at(np.where((u >= 0) & (u <= 1), u, np.nan), v)

    def _heads(self, head_m: ArrayLike) -> tuple[Floats, Floats]:
        head = np.atleast_1d(np.asarray(head_m, float))
        share = (self._head_high - head) / (self._head_high - self._head_low)
        share[~((share >= 0) & (share <= 1))] = np.nan
        return head, 1.0 - np.sqrt(share)

    def _x(self, speed_rpm: ArrayLike) -> Floats:
        speed = np.asarray(speed_rpm, float)
        return speed / self.model.core.reference_rpm if self.model.speed_known else np.full(speed.shape, np.nan)

    @staticmethod
    def _root(value: Floats, low: Floats, span: Floats) -> Floats:
        """Root of the share of the way from lifting to the top; 0 below, NaN above the top or below 0."""
        share = value - low
        share /= span
        share[~((share <= 1.0) & (value >= 0))] = np.nan
        np.maximum(share, 0.0, out=share)
        return np.sqrt(share, out=share)

    def _worn(self, flow: Floats, head: Floats, wear: ArrayLike) -> Floats:
        if np.any(np.asarray(wear) != 0.0):
            return np.maximum(flow - np.asarray(wear, float) * self.model.core.leak_m3_h(head), 0.0)
        return flow


def _sheet(values: Floats) -> Sheet:
    return Sheet(np.ascontiguousarray(values).ravel(), *values.shape)


def _inverse(
    function: Callable[[Floats, Floats], Floats], heads: Floats, x: Floats, value: Floats, wanted: Floats
) -> Floats:
    """Where a function of x and head that rises down each column reaches `wanted`, from its values at the nodes `x`; a column for each head.

    Between two nodes it is nearly straight, so that a few secants kept between them (Illinois) do, and most places are left alone after
    three; where lifting begins it is like a root and takes them all. Where a drooping or rounded table leaves a shelf, on which flow runs away
    from head, no number of secants is enough, and the place between is halved instead.
    """
    last = len(x) - 1
    risen = np.maximum.accumulate(value, axis=0)  # a noisy table's power may dip: the first time that it is reached
    place = np.stack([np.searchsorted(column, seek) for column, seek in zip(risen.T, wanted.T, strict=True)], axis=1)
    above, below = np.minimum(place, last), np.maximum(place - 1, 0)
    below, above = ((place * x.shape[1] + np.arange(x.shape[1])).ravel() for place in (below, above))
    seek, head = wanted.ravel(), np.broadcast_to(heads, wanted.shape).ravel()
    left, right = x.take(below), x.take(above)
    miss_left: Floats
    miss_right: Floats
    miss_left, miss_right = value.take(below) - seek, value.take(above) - seek
    again_short = again_far = np.zeros(seek.shape, bool)
    found, open_, most = np.empty(seek.size), np.arange(seek.size), float(np.abs(wanted).max())
    for _ in range(SECANTS):
        rise = miss_right - miss_left
        flat = ~(rise > 0)
        rise[flat] = 1.0
        at = left - miss_left * (right - left) / rise
        np.copyto(at, right, where=flat)
        found[open_] = at
        miss = function(at, head) - seek
        off = np.abs(miss)
        if off.max() <= CLOSE * most:
            break
        on = (off > MET * most).nonzero()[0]
        if len(on) < WORTH_PICKING * len(open_):
            seek, head, left, right, miss_left, miss_right, at, miss = (
                column.take(on) for column in (seek, head, left, right, miss_left, miss_right, at, miss)
            )
            open_, again_short, again_far = open_[on], again_short[on], again_far[on]
        short = miss < 0
        far = ~short
        # the end that stays a second time counts half, or it would stay for ever
        np.multiply(miss_right, 0.5, out=miss_right, where=short & again_short)
        np.multiply(miss_left, 0.5, out=miss_left, where=far & again_far)
        for end, missed, moved in ((left, miss_left, short), (right, miss_right, far)):
            np.copyto(end, at, where=moved)
            np.copyto(missed, miss, where=moved)
        again_short, again_far = short, far
    unmet = (np.abs(miss) > UNMET * most).nonzero()[0]
    if len(unmet):
        found[open_[unmet]] = _halved(function, *(column.take(unmet) for column in (head, left, right, seek)))
    return found.reshape(wanted.shape)


def _halved(
    function: Callable[[Floats, Floats], Floats], head: Floats, left: Floats, right: Floats, seek: Floats
) -> Floats:
    """The same between `left`, where the function is below `seek`, and `right`."""
    for _ in range(HALVINGS):
        middle = 0.5 * (left + right)
        short = function(middle, head) < seek
        left, right = np.where(short, middle, left), np.where(short, right, middle)
    return 0.5 * (left + right)
