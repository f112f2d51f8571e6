"""Without a sensor of the sun: what the array should give under the sky that neighbours tell of, in place of a clear one.

Flow: sky.py (a column beside the rows) -> HERE -> electric.py.
Only the day's figures use it, which are worked out when the day is over: no fast finding waits for a neighbour.
Never: hours that nobody told of; a site that measures its own sun.
"""

from dataclasses import replace

import numpy as np

from analysis.estimates.steady import Hours
from analysis.estimates.sums import Sums
from analysis.look import Columns
from analysis.sky import CHANNEL


def under_told_sky(seen: Columns) -> Columns:
    """The columns with light, maximum power and its current scaled by the told share: light does not move a voltage much.

    float64 columns of n rows as before; nothing is changed where no share is told.
    """
    share = seen.rows.values.get(CHANNEL)
    if share is None:
        return seen
    scale = np.where(np.isnan(share) | seen.expected.poa_measured, 1.0, share)
    expected = seen.expected
    told = replace(
        expected,
        poa_w_m2=expected.poa_w_m2 * scale,
        mpp_power_w=expected.mpp_power_w * scale,
        mpp_current_a=expected.mpp_current_a * scale,
    )
    return replace(seen, expected=told)


def told_hours(seen: Columns, usable: np.ndarray, hours: Hours, least_h: float) -> np.ndarray:
    """Hours of which neighbours told for at least `least_h` of their usable rows: known to be clear, or by how much they were not.

    bool[days, HOURS]
    """
    share = seen.rows.values.get(CHANNEL)
    if share is None:
        return np.zeros(hours.shape, bool)
    return Sums(usable & ~np.isnan(share), hours.bins, hours.shape, rising=True).hours(seen.dt_h) >= least_h
