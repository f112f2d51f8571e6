"""How deep a pump that lifts less should draw its own well, as that well was learnt.

Flow: recent day vectors, learning.py -> HERE -> slow_life.py.
Never: causes, rows.
"""

import numpy as np

from analysis.estimates.vector import BANDS, PLACE
from analysis.learning import Learnt
from analysis.rows import Floats

LEVEL, FLOW = (np.array([PLACE[f"{name}{band}"] for band in range(BANDS)]) for name in "lq")
REST = PLACE["rest"]


def drawn_as_learnt(learnt: Learnt, recent: Floats) -> Floats:
    """Day vectors (d, SIZE) whose pumping levels are judged by the well that was learnt, not by the driller's figures alone.

    The vector's level is what it lies below the driller's drawdown at the flow of the day. A well that draws down less than he wrote, by
    3 m at full flow, does so by 2 m at two thirds of it: a pump that has come to lift less would seem to draw it deeper, as if more water
    were lifted than is metered. What the resting level is off goes along at every flow.
    """
    if np.isnan(recent[:, LEVEL]).all():
        return recent
    share = np.exp(recent[:, FLOW] - learnt.mean[FLOW])
    draws = learnt.mean[LEVEL] - learnt.mean[REST]
    expected = np.where(np.isnan(share), 0.0, (share - 1.0) * draws)
    if not expected.any():
        return recent
    found = recent.copy()
    found[:, LEVEL] -= expected
    return found
