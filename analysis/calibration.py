"""What a weighed share is worth: a finding's `confidence` must mean "true in that share of cases".

Flow: life.py (a case's shares, by Bayes' rule) -> HERE -> the finding that people see.
Shares are too sure of themselves: signatures are models, and whatever is not in them looks like the nearest cause.
Never: a figure that depends on the site, so that equal grounds mean equal confidence everywhere.
"""

import numpy as np

AT_EVENS, PER_LOG_ODDS = -0.28, 0.48
RENAMED, OF_THE_ARRAY = -0.6, -0.65
"""Log of the odds that a finding is true: at a share of one half, for each unit of the share's own log odds, of one that has changed its name,
and of what an array lost, which nobody sees but through the sky.

Counted on 329 weighed findings of 513 drawn seasons of two plants that are not in this repository, each plant for as much as the other,
and of no season on which a rule was ever tried: on seasons looked at while rules were written, and on the plants under tests/bench, more
come true (of shares beyond 0.99, 0.93 against 0.87), which is no news of a pump that nobody has seen. Counted on one of the two plants and
tried on the other, each of the four numbers brings the stated nearer to the true (mean log score -0.67 and -0.50, with shares and a table of
them alone -0.70 and -0.55). Stated so, the mean distance of stated and true over ten bins is 0.06 at the one plant and 0.11 at the other, of
which 0.06 and 0.07 are the counting's own. Count again whenever the weighing changes, on plants of more than one hand."""
MOST_LOG_ODDS = 4.5  # a share of 0.989: beyond it shares say nothing more
OTHERS_HOLD = 0.58
"""Of what is left, the part that the named rivals share if nothing else is left: so that as many of those 329 findings' rivals are told as came
true, 44; among the 114 that were wrong."""


def stated(
    share: float, rivals: dict[str, float], renamed: bool = False, of_the_array: bool = False
) -> tuple[float, dict[str, float]]:
    """A weighed share and its rivals' as they are told; together at most 1, in the order in which they came.

    renamed
        Whether it was told of by another name first: what lies that near to another cause is surer than it may be.
    of_the_array
        Whether the days' figures of the array tell of it.

    >>> stated(0.5, {"worn-pump": 0.2})  # doctest: +ELLIPSIS
    (0.43..., {'worn-pump': 0.13...})
    """
    if share <= 0.0:
        return 0.0, {}
    with np.errstate(divide="ignore"):
        own = min(float(np.log(share) - np.log1p(-min(share, 1.0))), MOST_LOG_ODDS)
    odds = float(np.exp(AT_EVENS + PER_LOG_ODDS * own + RENAMED * renamed + OF_THE_ARRAY * of_the_array))
    told = odds / (1.0 + odds)
    if share >= 1.0:
        return told, {}
    room = OTHERS_HOLD * (1.0 - told) / (1.0 - share)
    return told, {name: min(rival * room, told) for name, rival in rivals.items()}
