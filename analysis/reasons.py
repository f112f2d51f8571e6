"""Why an expected value is missing: asked of the rows that somebody looks at, never of a season.

Flow: expected.py's model, rows and answer -> HERE -> whoever uses the expected side as a library.
Never: words for users; the engine.
"""

import numpy as np
from numpy.typing import NDArray

from analysis.expected import Expected, SiteModel
from analysis.physics.reason import Reason
from analysis.rows import Floats, Rows, columns_of
from logger.record.channels import CHANNELS

Codes = NDArray[np.uint8]
OF_SUN = ("irradiance_w_m2", "module_temp_c", "ambient_temp_c")
OF_WATER = ("input_power_w", "water_level_m", "discharge_pressure_bar")


def reasons(model: SiteModel, rows: Rows, seen: Expected) -> tuple[Codes, Codes]:
    """`Reason` codes of the array's and the water's expected values.

    Parameters
    ----------
    model : SiteModel
    rows : Rows
        [n]
    seen : Expected
        What `model.expect(rows)` gave, of the healthy installation.

    Returns
    -------
    of_array : uint8[n]
        Of `mpp_power_w`, its voltage and current. OK where they have a value.
    of_flow : uint8[n]
        Of `flow_m3_h`. NOT_LIFTING where it is 0; power above what the fastest speed takes counts as that, and is no reason.
    """
    rows = columns_of(rows)
    return _of_array(rows, seen), _of_flow(model, rows, seen)


def _of_array(rows: Rows, seen: Expected) -> Codes:
    reason = np.full(len(seen), Reason.OK, np.uint8)
    missing = np.isnan(seen.mpp_power_w)
    reason[missing] = Reason.DARK
    reason[missing & _beyond(rows, OF_SUN)] = Reason.OUT_OF_RANGE
    return reason


def _of_flow(model: SiteModel, rows: Rows, seen: Expected) -> Codes:
    missing, power = np.isnan(seen.flow_m3_h), seen.input_power_w
    reason = np.where(seen.flow_m3_h == 0.0, Reason.NOT_LIFTING, Reason.OK).astype(np.uint8)
    known = missing & ~np.isnan(power) & ~np.isnan(seen.head_m)
    reason[missing] = np.where(np.isnan(seen.sun_elevation_deg), Reason.DARK, Reason.MISSING)[missing]
    reason[known] = model.pump.answer("flow_of_power", power[known], seen.head_m[known]).reason
    reason[missing & _beyond(rows, OF_WATER)] = Reason.OUT_OF_RANGE
    given = _given_power(rows)
    reason[missing & (given < CHANNELS["input_power_w"].lowest)] = Reason.IMPOSSIBLE
    return reason


def _given_power(rows: Rows) -> Floats:
    product = rows["pv_voltage_v"] * rows["pv_current_a"]
    return np.where(np.isnan(rows["input_power_w"]), product, rows["input_power_w"])


def _beyond(rows: Rows, channels: tuple[str, ...]) -> NDArray[np.bool_]:
    """Any of these readings is beyond what its instrument can say."""
    found = np.zeros(len(rows), bool)
    for name in channels:
        found |= (rows[name] > CHANNELS[name].highest) | (rows[name] < CHANNELS[name].lowest)
    return found
