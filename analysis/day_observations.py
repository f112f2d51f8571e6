"""One sound day of rows -> what it tells of the factors: the numbers that a baseline learns from.

Flow: a whole day's rows, their expected values and which of them are sound -> HERE -> baseline.py
Sums run over a whole day from contiguous copies, so that the same day gives the same bits however its rows arrived.
Never: judgement of soundness, learning.
"""

import numpy as np
from numpy.typing import NDArray

from analysis.expected import Expected, SiteModel
from analysis.factors import NAMES
from analysis.observation import DayEstimate, Observation
from analysis.physics.clear_periods import clear_periods
from analysis.rows import Floats, Rows

Flags = NDArray[np.bool_]

ROWS_MIN = 8
"""Fewer rows tell nothing of a day."""
INDEPENDENT_ROWS = 25
"""Weather and regulation hang together over minutes: a day's rows count as no more independent ones than this."""
MODEL_STD = {
    "flow": 0.010,
    "flow_at_speed": 0.006,
    "power_at_speed": 0.010,
    "motor_current": 0.015,
    "level": 0.15,
    "pressure": 0.3,
    "array_power": 0.015,
    "array_voltage": 0.010,
    "clear_sky": 0.03,
}
"""What a model's shape leaves from one day to the next: shares, metres for level and pressure (of pipe). Common practice."""


def observe_day(
    model: SiteModel, rows: Rows, expected: Expected, flow_m3_h: Floats, sound: Flags, at_maximum: Flags, date: str
) -> DayEstimate:
    """What a day's sound running tells.

    Parameters
    ----------
    model : SiteModel
    rows : Rows
        The day's, rising in time. [n]
    expected : Expected
        `model.expect(rows)` at HEALTHY. [n]
    flow_m3_h : float64[n]
        Measured flow, from the channel or shared out from the register; NaN where not known. [m3/h]
    sound, at_maximum : bool[n]
        Settled running without suspicion; array at its maximum power.
    date : str
        Local date, ISO 8601.

    Returns
    -------
    DayEstimate
        Empty where nothing can be compared.

    References
    ----------
    .. [1] JCGM 100:2008, 4.2 and 5.2 (means of correlated readings).
    """
    watts = expected.input_power_w
    pumped = sound & (watts > 0)
    if np.count_nonzero(pumped) < ROWS_MIN:
        return DayEstimate(date, (), 0.0)
    power = float(np.median(watts[pumped]))
    shares = _slopes(model, power)
    seen: list[Observation | None] = [
        _share("flow", flow_m3_h, expected.flow_m3_h, pumped, shares["flow"]),
        _share("flow_at_speed", flow_m3_h, expected.flow_at_speed_m3_h, pumped, shares["flow_at_speed"]),
        _share("power_at_speed", watts, expected.power_at_speed_w, pumped, shares["power_at_speed"]),
        _share("motor_current", rows["motor_current_a"], expected.motor_current_a, pumped, shares["motor_current"]),
        *_of_levels(model, rows, expected, flow_m3_h, pumped),
        *_of_array(rows, expected, sound & at_maximum),
    ]
    return DayEstimate(date, tuple(o for o in seen if o is not None), _hours(rows.time_ms, pumped))


def _slopes(model: SiteModel, power_w: float) -> dict[str, dict[str, float]]:
    """Relative change of each expected value by each factor, at the day's middle power."""
    at = np.array([power_w])
    flow, by_flow, by_head, flow_m, power_m = model.slopes(at)
    share = {name: float(by_flow[0, i] / max(flow[0], 1e-6)) for i, name in enumerate(NAMES)} | {"meter": 1.0}
    head = {name: float(by_head[0, i]) for i, name in enumerate(NAMES)}
    speed_flow = {name: value * float(flow_m[0]) / max(float(flow[0]), 1e-6) for name, value in head.items()}
    speed_power = {name: value * float(power_m[0]) / power_w for name, value in head.items()}
    own_power = speed_power | {"power": 1.0 + speed_power["power"]}
    return {
        "flow": share,
        "flow_at_speed": speed_flow | {"flow": 1.0 + speed_flow["flow"], "meter": 1.0},
        "power_at_speed": own_power,
        "motor_current": own_power | {"motor_current": 1.0},
    }


def _share(kind: str, measured: Floats, should: Floats, which: Flags, slopes: dict[str, float]) -> Observation | None:
    """Logarithm of the ratio of sums, with the scatter of the rows' ratios behind it."""
    with np.errstate(invalid="ignore"):
        good = which & (measured > 0) & (should > 0)
    if np.count_nonzero(good) < ROWS_MIN:
        return None
    top, bottom = np.ascontiguousarray(measured[good]), np.ascontiguousarray(should[good])
    value = float(np.log(np.sum(top) / np.sum(bottom)))
    scatter = float(np.std(top / bottom)) / np.sqrt(min(len(top), INDEPENDENT_ROWS))
    return Observation(kind, value, float(np.hypot(scatter, MODEL_STD[kind])), _nonzero(slopes))


def _of_levels(
    model: SiteModel, rows: Rows, expected: Expected, flow_m3_h: Floats, which: Flags
) -> list[Observation | None]:
    """Pumping level and wellhead pressure against the system curve at the measured flow. [m]"""
    flow = np.where(flow_m3_h > 0, flow_m3_h, expected.flow_m3_h)
    curve = model.curve
    level = rows["water_level_m"] - curve.level_m(flow)
    head = rows["discharge_pressure_bar"] * curve.m_per_bar - curve.outlet_height_m - curve.pipe_loss_m(flow)
    known = which & ~np.isnan(flow)
    middle = np.median(flow[known]) if known.any() else 0.0
    found = []
    for part in (known & (flow <= middle), known & (flow > middle)):  # little and much flow: tells lift from drawdown
        mean = float(np.mean(flow[part])) if part.any() else 0.0
        drawdown, beyond = float(curve.drawdown_m(mean)), float(curve.pipe_loss_m(mean))
        found.append(_difference("level", level, part, {"level_offset_m": 1.0, "drawdown": drawdown}))
        found.append(_difference("pressure", head, part, {"friction": beyond}))
    return found


def _difference(kind: str, difference: Floats, which: Flags, slopes: dict[str, float]) -> Observation | None:
    good = np.ascontiguousarray(difference[which & ~np.isnan(difference)])
    if len(good) < ROWS_MIN:
        return None
    scatter = float(np.std(good)) / np.sqrt(min(len(good), INDEPENDENT_ROWS))
    return Observation(kind, float(np.mean(good)), float(np.hypot(scatter, MODEL_STD[kind])), _nonzero(slopes))


def _of_array(rows: Rows, expected: Expected, which: Flags) -> list[Observation | None]:
    """Power and voltage at maximum against the array's; without a sensor under the clear sky, the air's factor is in it."""
    slopes = {"array_current": 1.0, "array_voltage": 1.0}
    unseen = which & ~expected.poa_measured & (expected.mpp_power_w > 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        told = expected.clear_poa_w_m2 * expected.input_power_w / expected.mpp_power_w
    clear = clear_periods(rows.time_ms, np.where(unseen, told, np.nan), expected.clear_poa_w_m2)
    lit = which & expected.poa_measured & (expected.poa_w_m2 > 200.0)
    found = [
        _share("array_power", expected.input_power_w, expected.mpp_power_w, lit, slopes),
        _share("clear_sky", expected.input_power_w, expected.mpp_power_w, clear & unseen, slopes | {"clear_sky": 1.0}),
    ]
    sunny = which & (expected.clear_poa_w_m2 > 200.0)
    return [
        *found,
        _share("array_voltage", rows["pv_voltage_v"], expected.mpp_voltage_v, sunny, {"array_voltage": 1.0}),
    ]


def _nonzero(slopes: dict[str, float]) -> dict[str, float]:
    return {name: value for name, value in slopes.items() if value != 0.0}


def _hours(time_ms: NDArray[np.int64], which: Flags) -> float:
    """Running time behind the rows: each stands for the usual spacing."""
    if len(time_ms) < 2:
        return 0.0
    return float(np.median(np.diff(time_ms))) * int(np.count_nonzero(which)) / 3_600_000.0
