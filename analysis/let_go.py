"""The days of a case that waited and never became likely enough, taken for this installation's own way.

Flow: not_yet_told.py (the case), close.py -> HERE -> memory.py.
Whatever it is that the array or the pump does differently since then, weeks have not shown it to be a fault. It is learnt as the first days
were, and days before it are days of another way. Never: a case that was told of.
"""

import numpy as np

from analysis.estimates.scatter import GROUPS, Scatter
from analysis.estimates.vector import SIZE
from analysis.learning import Learnt, group_anew, learn
from analysis.memory import Case, Memory
from analysis.rows import Floats
from analysis.shaded import TAKEN
from analysis.soiling import SUNS


def its_own_way(memory: Memory, learnt: Learnt, scatter: Scatter, case: Case, day: int) -> Learnt:
    """What is learnt once `case` is let go at the close of `day`. Changes the memory's days: of its group none before it count any more."""
    group = case.family.removeprefix("slow-")
    since = day - int(case.weighed["day"]) + int(case.weighed["window"])
    recent: Floats = memory.arrays["recent"].copy()
    places = GROUPS[group]
    recent[:-since, places] = np.nan
    memory.arrays["recent"] = recent
    if group == "electric":
        for name in (TAKEN, SUNS):
            memory.arrays[name] = memory.arrays[name][-since:]
    learnt = group_anew(learnt, group, scatter)
    for row in recent[-since:]:
        of_group = np.full(SIZE, np.nan)
        of_group[places] = row[places]
        learnt = learn(learnt, of_group, scatter)
    return learnt
