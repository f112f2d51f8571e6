"""What a weighed share is worth: a finding's `confidence` must mean "true in that share of cases".

Flow: life.py (a case's shares, by Bayes' rule) -> HERE -> the finding that people see.
Shares are too sure of themselves in the middle: signatures are models, and whatever is not in them looks like the nearest cause.
Never: a figure that depends on the site, so that equal shares mean equal confidence everywhere.
"""

import numpy as np

SHARES = (0.0, 0.3, 0.5, 0.68, 0.8, 0.88, 1.0)
"""As weighed; life.py cuts them off at its `SURE`, so that most findings stand there."""
STATED = (0.0, 0.24, 0.42, 0.64, 0.76, 0.87, 0.9)
"""True in so many cases, about: counted on the 242 findings of 302 drawn seasons of four plants, written apart from one another, at all
fit-outs. Stated so, the mean distance of stated and true over ten bins is 0.064 there; a little below what was counted, because at the
plants nearest to a stranger's, and at healthy sites, fewer were true. Count again whenever the weighing changes."""
OTHERS_HOLD = 0.35
"""Of what is left, the part that the named rivals share: of 85 wrong findings 29 had the true cause among their rivals."""


def stated(share: float, rivals: dict[str, float]) -> tuple[float, dict[str, float]]:
    """A weighed share and its rivals' as they are told; together at most 1, in the order in which they came.

    >>> stated(0.5, {"worn-pump": 0.2})  # doctest: +ELLIPSIS
    (0.42..., {'worn-pump': 0.08...})
    """
    told = float(np.interp(share, SHARES, STATED))
    if share >= 1.0:
        return told, {}
    room = OTHERS_HOLD * (1.0 - told) / (1.0 - share)
    return told, {name: min(rival * room, told) for name, rival in rivals.items()}
