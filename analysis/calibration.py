"""What a weighed share is worth: a finding's `confidence` must mean "true in that share of cases".

Flow: life.py (a case's shares, by Bayes' rule) -> HERE -> the finding that people see.
Shares are too sure of themselves: signatures are models, and whatever is not in them looks like the nearest cause.
Never: a figure that depends on the site, so that equal grounds mean equal confidence everywhere.
"""

import numpy as np

AT_EVENS, PER_LOG_ODDS = 0.43, 0.39
RENAMED, LEFT_OVER, ONCE = -0.49, -1.2, -1.09
"""Log of the odds that a finding is true: at a share of one half; for each unit of the share's own log odds; of one that has changed its name; of
what is seen only as what is left over once all is taken away that has a mark of its own (dust, shade, the unexplained); and of what showed in
one stretch and went by itself, for a fault stays until someone comes.

Counted by tests/bench/bench_confidence.py on engine 14, on 761 findings of 757 seasons of four simulated plants, not in this repository, whose
authors knew nothing of the engine. Findings of one plant err together and count for less the more there are of them. A season's end is looked
at, what would wait until it is likelier (not_yet_told.py) included, and a name that is right counts as true however it is dated. With each plant
left out and stated by the numbers of the others, the mean distance of stated and true over ten bins is 0.06, 0.08, 0.05 and 0.06 (206, 183, 192
and 180 findings, of which as many err by 0.06 if every confidence is exact). Dust with a mark of its own (MARKED) was counted as left over then;
with it apart on two of the plants no number moves by more than 0.06, and the distances are 0.06, 0.09, 0.06 and 0.09. Of A and B seasons had been
looked at when rules were made, and rules were taken or left by what they did on C and D. Counted again on engine 15, on 898 findings of the same
plants, of which seasons of C and D had been looked at by then: as stated they err by 0.08, 0.08, 0.05 and 0.07, by numbers counted on the others by
0.08, 0.08, 0.09 and 0.07, so that the older numbers stand. Count again whenever the weighing changes, on plants of more than one hand."""
MOST_LOG_ODDS = 4.5  # a share of 0.989: beyond it shares say nothing more
OTHERS_HOLD = {False: 0.6, True: 0.2}
"""Of what is left, the part that the named rivals share if nothing else is left: so that as many of the same findings' rivals are told as came
true; of one that came once (True), nothing at all is the likelier rest."""
BY_ITSELF = {
    "silent": (0.99, 0.95),
    "over-voltage": (0.97, 0.64),
    "sensor-fault": (0.93, 0.37),
    "controller-trip": (0.95, 0.7),
    "short-cycling": (0.86, 0.42),
}
"""Causes that no other competes with: the share that is true of those that came again or stay, and of those that came once. Counted likewise, each
drawn towards what is true of all of them by as much as three findings. A silence that came once is set and not counted: that no reading came is
what it says, though some of the plants list a day without a row as nothing wrong."""
UNREAD = (0.75, 0.3)
"""Likewise of trips whose code nothing reads: a float that nobody reads stops a pump too. Set with care between what was counted here (all of 3, none
of 1) and what was true before such stops were held against their own evenness (3 of 8)."""
ARE_LEFT_OVER = frozenset({"panel-soiling", "shading", "unexplained"})
MARKED = "marked"
"""In a case's numbers where one of these causes showed by a mark of its own all the same: clear days that fell together."""


def stated(
    share: float, rivals: dict[str, float], renamed: bool = False, left_over: bool = False, once: bool = False
) -> tuple[float, dict[str, float]]:
    """A weighed share and its rivals' as they are told; together at most 1, none above the first, in the order in which they came.

    renamed
        Whether it was told of by another name first: what lies that near to another cause is surer than it may be.
    left_over
        Whether its cause is one of ARE_LEFT_OVER.
    once
        Whether it showed in one stretch alone and is over.

    >>> stated(0.5, {"worn-pump": 0.2})  # doctest: +ELLIPSIS
    (0.60..., {'worn-pump': 0.09...})
    """
    if share <= 0.0:
        return 0.0, {}
    with np.errstate(divide="ignore"):
        own = min(float(np.log(share) - np.log1p(-min(share, 1.0))), MOST_LOG_ODDS)
    odds = float(np.exp(AT_EVENS + PER_LOG_ODDS * own + RENAMED * renamed + LEFT_OVER * left_over + ONCE * once))
    told = odds / (1.0 + odds)
    if share >= 1.0:
        return told, {}
    room = OTHERS_HOLD[once] * (1.0 - told) / (1.0 - share)
    return told, {name: min(rival * room, told) for name, rival in rivals.items()}


def odds_on(share: float, log_odds: float) -> float:
    """A share whose odds are so many times greater or, below 0, smaller. 0 to 1

    >>> odds_on(0.5, 0.0)
    0.5
    """
    more = share * float(np.exp(log_odds))
    return more / (more + 1.0 - share)


def stated_by_itself(cause: str, once: bool, unread: bool = False) -> float:
    """Of a cause that no other competes with; `unread`: of trips whose code nothing reads. 0 to 1"""
    return (UNREAD if unread else BY_ITSELF[cause])[once]
