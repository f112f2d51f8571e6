"""Which channels left what the others say of them: what stands behind a finding that no named cause explains.

Flow: look.py, novelty.py -> HERE -> explanation.py.
Never: causes, judgement; a channel that was not measured.
"""

import numpy as np

from analysis.look import Columns
from analysis.novelty import LEAST_ROWS_A_CHANNEL, Novelty
from analysis.rows import Floats

OF_THE_PUMP = (
    "pv_voltage_v", "pv_current_a", "motor_current_a", "motor_speed_rpm", "discharge_pressure_bar", "water_level_m",
    "irradiance_w_m2", "controller_temp_c",
)  # fmt: skip
LEAST_SHARE = 0.5  # of the settled rows: a channel that reads less often would leave too few whole rows
POWERS = ("input_power_w", "flow_m3_h", "pv_current_a", "motor_current_a", "motor_speed_rpm", "irradiance_w_m2")
"""Bound to one another by powers of the speed (affinity laws), so that their logarithms lie about a plane."""


def departures(seen: Columns, began_ms: int) -> dict[str, float]:
    """Middle departure of each channel after a finding began, in standard deviations of the healthy rows before it.

    Parameters
    ----------
    seen : Columns
        Rows of the week before and of some days after. [n]
    began_ms : int
        When it began. [ms]

    Returns
    -------
    dict
        By channel, the farthest first: how far its settled rows lie from what the other channels say of them, in units of what
        they scatter when healthy (`Novelty.score`); "input_power_w" and "flow_m3_h" are the controller's input and the meter's flow.
        Empty where one channel alone is read, or too few settled rows stand before or after.
    """
    before, after = seen.settled & (seen.time_ms < began_ms), seen.settled & (seen.time_ms >= began_ms)
    channels = {
        name: column for name, column in _channels(seen).items() if _read(column, before) and _read(column, after)
    }
    whole = before & np.all([np.isfinite(column) for column in channels.values()], axis=0) if channels else before
    if len(channels) < 2 or whole.sum() < LEAST_ROWS_A_CHANNEL * len(channels):
        return {}
    healthy = Novelty.fit({name: column[whole] for name, column in channels.items()})
    was = healthy.score({name: column[whole] for name, column in channels.items()}).departure
    now = healthy.score({name: column[after] for name, column in channels.items()}).departure
    middle = {name: float((np.nanmedian(now[name]) - np.median(was[name])) / _spread(was[name])) for name in channels}
    return dict(sorted(middle.items(), key=lambda item: -abs(item[1])))


def _channels(seen: Columns) -> dict[str, Floats]:
    found = {"input_power_w": seen.power_w, "flow_m3_h": seen.flow_m3_h} | {
        name: seen.rows[name] for name in OF_THE_PUMP
    }
    with np.errstate(invalid="ignore", divide="ignore"):
        return {
            name: np.where(column > 0, np.log(column), np.nan) if name in POWERS else column
            for name, column in found.items()
        }


def _spread(away: Floats) -> float:
    """Of all healthy rows, in standard deviations: the model's own is that of the rows nearest to a plane, and the pump bends."""
    return max(float(np.diff(np.quantile(away, [0.1587, 0.8413]))[0]) / 2.0, 1.0)


def _read(column: Floats, rows: np.ndarray) -> bool:
    known = np.isfinite(column[rows])
    return bool(known.sum() > LEAST_SHARE * max(rows.sum(), 1) and np.ptp(column[rows][known]) > 0)
