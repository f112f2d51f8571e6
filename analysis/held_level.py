"""How much of a limit a shift shows by the level alone at which the pump stands.

Flow: slow.py (shifts) -> HERE -> tried.py.
Never: judgement.
"""

import numpy as np

from analysis.estimates.vector import PLACE
from analysis.slow import Shift, SlowBench


def levels_tried(bench: SlowBench, moved: Shift) -> list[tuple[int, float]]:
    """Each form of a limit with the amount that its level tells; none where no level is told.

    How a limit falls through the day differs from day to day with wind and shade, but is measured more finely than the level; an
    amount solved from both would follow the course, and the level that says how bad it is would speak against every form.
    """
    at = np.flatnonzero(moved.places == PLACE["cap"])
    if not len(at):
        return []
    told = [
        (int(form), float(moved.mean[at[0]] / bench.directions[form, PLACE["cap"]])) for form in bench.groups["held"]
    ]
    return [
        (form, min(amount, bench.effects[form].most))
        for form, amount in told
        if amount > 0.3 * bench.effects[form].least
    ]
