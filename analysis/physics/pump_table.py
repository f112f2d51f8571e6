"""A pump's table of rows, judged before anything is fitted to it.

Flow: datasheet or test bench -> HERE -> pump_curve.py. A table that breaks physics is refused by name: its units slipped.
Never: I/O, pandas, repairs.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.physics.hydraulic_power import hydraulic_power_w

Floats = NDArray[np.float64]

EFFICIENCY_MAX = 0.95  # to water; the best large pump on a bench stays below (common practice, no source)
EFFICIENCY_MIN = 0.02  # the best row of any real pump is far above (same)
SPEED_LEAST_RPM = 120.0  # the fastest row of any borehole pump is above; a mains or inverter frequency is not (same)
SPEEDS_APART = 20.0  # fastest over slowest row: no bench goes so slow, where a four-hundredth of the head is left; a Hz is sixty 1/min (same)
METER_ZERO = 0.01  # of the largest: how far below 0 a bench's meter may read at rest (same)


@dataclass(frozen=True)
class PumpTable:
    """Rows of one pump, each float64[n]; `speed_rpm` is None where the table has no speeds."""

    head_m: Floats
    flow_m3_h: Floats
    power_w: Floats
    speed_rpm: Floats | None = None


def pump_table(
    head_m: ArrayLike, flow_m3_h: ArrayLike, power_w: ArrayLike, speed_rpm: ArrayLike | None = None
) -> PumpTable:
    """Rows as arrays, refused where they cannot be a pump's.

    Parameters
    ----------
    head_m, flow_m3_h, power_w : array-like, shape (n,), n >= 3
        Total head, flow and power of each row, at two heads or more. [m], [m3/h], [W]
    speed_rpm : array-like, shape (n,), optional
        Speed of each row; None, or any NaN in it, means a table without speeds. [1/min]

    Returns
    -------
    PumpTable

    Raises
    ------
    ValueError
        Shapes differ, too few rows or heads, a negative or missing value, no flow at all, or an efficiency that says that
        a unit slipped; the text names the column and the row, counted from 1.

    References
    ----------
    .. [1] Conservation of energy: hydraulic power rho g Q H never exceeds the power taken in.
    """
    columns: dict[str, Any] = {"head_m": head_m, "flow_m3_h": flow_m3_h, "power_w": power_w}
    arrays = {name: np.atleast_1d(np.asarray(values, float)) for name, values in columns.items()}
    head, flow, power = arrays["head_m"], arrays["flow_m3_h"], arrays["power_w"]
    if len({len(values) for values in arrays.values()}) > 1 or head.ndim != 1:
        sizes = ", ".join(f"{name} {values.shape}" for name, values in arrays.items())
        raise ValueError(f"curve: columns must be flat and of one length, got {sizes}")
    if len(head) < 3 or len(np.unique(head)) < 2:
        raise ValueError(f"curve: needs 3 rows or more, at 2 heads or more; got {len(head)} at {len(np.unique(head))}")
    for name, values in arrays.items():
        bad = ~(values >= 0) | ~np.isfinite(values)
        if bad.any():
            row = int(np.argmax(bad))
            raise ValueError(f"curve[{row + 1}].{name}: must be a number, 0 or more, got {values[row]!r}")
    if not flow.max() > 0:
        raise ValueError("curve: some row needs a flow_m3_h above 0")
    if not power.min() > 0:
        raise ValueError(f"curve[{int(np.argmin(power)) + 1}].power_w: must be above 0, got {power.min():g}")
    _judge_energy(head, flow, power)
    return PumpTable(head, flow, power, _speeds(speed_rpm, len(head)))


def bench_table(
    head_m: ArrayLike, flow_m3_h: ArrayLike, power_w: ArrayLike, speed_rpm: ArrayLike | None = None
) -> PumpTable:
    """Rows as a bench measured them: without those that lack a value or stand still, meters' zeros put to 0; then `pump_table`.

    Parameters
    ----------
    head_m, flow_m3_h, power_w : array-like, shape (n,)
        Total head, flow and power of each row; NaN or None where not read. [m], [m3/h], [W]
    speed_rpm : array-like, shape (n,), optional
        Speed of each row; None, or no value in it at all, means a bench without speeds. [1/min]

    Returns
    -------
    PumpTable

    Raises
    ------
    ValueError
        As `pump_table`; rows are counted without those left out. A column that holds no numbers.

    References
    ----------
    .. [1] Zero errors of meters at rest: common practice, no source.
    """
    head, flow, power = _numbers("head_m", head_m), _numbers("flow_m3_h", flow_m3_h), _numbers("power_w", power_w)
    speed = None if speed_rpm is None else _numbers("speed_rpm", speed_rpm)
    if speed is not None and np.isnan(speed).all():
        speed = None
    columns = [head, flow, power] if speed is None else [head, flow, power, speed]
    if len({column.shape for column in columns}) > 1 or head.ndim != 1:
        return pump_table(head, flow, power, speed)  # refuses them by name
    head, flow = (
        np.where((values < 0) & (values > -METER_ZERO * np.nanmax(values, initial=0.0)), 0.0, values)
        for values in (head, flow)
    )
    standing = (power == 0) if speed is None else (power == 0) | (speed == 0)
    whole = ~np.any([np.isnan(column) for column in columns], axis=0) & ~(standing & (flow == 0))
    table = pump_table(head[whole], flow[whole], power[whole], None if speed is None else speed[whole])
    if table.speed_rpm is not None:
        refuse_speeds_apart(table.speed_rpm)
    return table


def refuse_speeds_apart(speed_rpm: Floats) -> None:
    """Refuse a table whose speeds are told in two units.

    Parameters
    ----------
    speed_rpm : array, shape (n,), n >= 1
        Speed of each row, all known and above 0. [1/min]

    Returns
    -------
    None

    Raises
    ------
    ValueError
        The slowest row is far below the fastest; the text names the row, counted from 1.

    References
    ----------
    .. [1] How slow a bench still goes beside its fastest row: common practice, no source.
    """
    row, least, most = int(np.argmin(speed_rpm)), speed_rpm.min(), speed_rpm.max()
    if least < most / SPEEDS_APART:
        raise ValueError(
            f"curve[{row + 1}].speed_rpm: {least:g} beside {most:g} 1/min: is one in Hz? Times 60 it is 1/min"
        )


def _numbers(name: str, values: ArrayLike) -> Floats:
    try:
        listed = np.atleast_1d(np.asarray(values, object))
        return np.array([np.nan if value is None else value for value in listed.ravel()], float).reshape(listed.shape)
    except (TypeError, ValueError):
        raise ValueError(f"curve: {name} must hold numbers, got {values!r}") from None


def _speeds(speed_rpm: ArrayLike | None, count: int) -> Floats | None:
    if speed_rpm is None:
        return None
    speeds = np.atleast_1d(np.array([np.nan if one is None else one for one in np.atleast_1d(speed_rpm)], float))
    if speeds.shape != (count,):
        raise ValueError(f"curve: speed_rpm has {speeds.size} rows, the other columns {count}")
    if np.isnan(speeds).any():
        return None
    if not (speeds > 0).all():
        raise ValueError(f"curve[{int(np.argmin(speeds)) + 1}].speed_rpm: must be above 0, got {speeds.min()!r}")
    if speeds.max() < SPEED_LEAST_RPM:
        raise ValueError(
            f"curve: speed_rpm reaches {speeds.max():g} 1/min at most, too slow for a pump; is it in Hz? Times 60 it is 1/min"
        )
    return speeds


def _judge_energy(head: Floats, flow: Floats, power: Floats) -> None:
    share = hydraulic_power_w(flow, head) / power
    row = int(np.argmax(share))
    if share[row] > EFFICIENCY_MAX:
        raise ValueError(
            f"curve[{row + 1}]: {flow[row]:g} m3/h at {head[row]:g} m is {share[row]:.0%} of power_w = {power[row]:g}; "
            "no pump does that: is power_w in kW, flow_m3_h in L/min or head_m in feet?"
        )
    if share[row] < EFFICIENCY_MIN:
        raise ValueError(
            f"curve: the best row turns {share[row]:.1%} of power_w into lift; "
            "is flow_m3_h in m3/s or L/s, or head_m in bar?"
        )
