"""What is told of a weighed finding's share: never more than was counted, rising with it, one distribution."""

import numpy as np
import pytest

from analysis.calibration import OTHERS_HOLD, stated


def test_more_weight_is_never_told_as_less() -> None:
    for renamed in (False, True):
        for of_the_array in (False, True):
            told = [stated(share, {}, renamed, of_the_array)[0] for share in np.linspace(0, 1, 201)]
            assert (np.diff(told) >= 0).all()
            assert told[0] == 0.0
            assert told[-1] < 0.9  # the causes are not all that there is


@pytest.mark.parametrize("share", [0.5, 0.8, 0.95, 1.0])
def test_a_share_is_surer_than_it_may_be(share: float) -> None:
    """And surer still of what has changed its name, and of what an array lost."""
    plain, renamed, array, both = (
        stated(share, {}, renamed, array)[0]
        for renamed, array in ((False, False), (True, False), (False, True), (True, True))
    )
    assert both < min(renamed, array) < max(renamed, array) < plain < share


def test_a_share_of_all_but_all_says_no_more_than_many_a_hundred_to_one() -> None:
    assert stated(1.0 - 1e-9, {})[0] == stated(0.995, {})[0] == stated(1.0, {})[0]


def test_what_is_left_is_the_rivals_in_part() -> None:
    told, others = stated(0.9, {"worn-pump": 0.06, "riser-leak": 0.04})
    assert sum(others.values()) == pytest.approx(OTHERS_HOLD * (1.0 - told))


def test_shares_stay_one_distribution_with_the_named_cause_first() -> None:
    for share in np.linspace(0.05, 1.0, 39):
        for parts in ((1.0,), (0.5, 0.5), (0.7, 0.2, 0.1)):
            rivals = {f"rival {k}": (1.0 - share) * part for k, part in enumerate(parts)}
            told, others = stated(float(share), rivals)
            assert told + sum(others.values()) <= 1.0 + 1e-12
            assert all(other <= told + 1e-12 for other in others.values())
