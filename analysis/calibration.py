"""What a slow finding's share is worth: its `confidence` must mean "true in that share of cases".

Flow: life.py (a case's shares, by Bayes' rule) -> HERE -> the finding that people see.
Shares are too sure of themselves: signatures are models, and whatever is not in them looks like the nearest cause.
Never: a figure that depends on the site, so that equal shares mean equal confidence everywhere.
"""

import numpy as np

SHARES = (0.0, 0.5, 0.85, 0.88, 1.0)
"""As weighed; life.py cuts them off at its `SURE`, so that most findings stand there."""
STATED = (0.0, 0.2, 0.25, 0.7, 0.75)
"""True in so many cases. Counted on 55 slow findings of drawn seasons of both worlds of tests/bench (all fit-outs, seeds 520000 and
620000 on, and seasons of array faults): from 0.85 on 23 of 32 were true, from 0.5 to 0.85 3 of 20. A rough count: no season was
kept back to check it. Count again, with more seasons, whenever the weighing changes."""
OTHERS_HOLD = 0.5
"""Of what is left, the part that the named rivals share; the rest says that nothing of the kind is wrong. Common sense, not counted."""


def stated(share: float, rivals: dict[str, float]) -> tuple[float, dict[str, float]]:
    """A slow cause's share and its rivals' as they are told; together at most 1, in the order in which they came.

    >>> stated(0.5, {"worn-pump": 0.2})  # doctest: +ELLIPSIS
    (0.2, {'worn-pump': 0.16...})
    """
    told = float(np.interp(share, SHARES, STATED))
    if share >= 1.0:
        return told, {}
    room = OTHERS_HOLD * (1.0 - told) / (1.0 - share)
    return told, {name: min(rival * room, told) for name, rival in rivals.items()}
