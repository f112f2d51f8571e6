"""What is told of a finding's share: never more than was counted, rising with it, one distribution."""

from itertools import product

import numpy as np
import pytest

from analysis.calibration import BY_ITSELF, OTHERS_HOLD, UNREAD, stated, stated_by_itself
from analysis.causes.registry import all_causes
from analysis.life import as_finding
from analysis.memory import Case
from tests.cases.recorded import HERE, read_case

GROUNDS = list(product((False, True), repeat=3))


def test_more_weight_is_never_told_as_less() -> None:
    for grounds in GROUNDS:
        told = [stated(share, {}, *grounds)[0] for share in np.linspace(0, 1, 201)]
        assert (np.diff(told) >= 0).all()
        assert told[0] == 0.0
        assert told[-1] < 0.97  # the causes are not all that there is


@pytest.mark.parametrize("share", [0.5, 0.8, 0.95, 1.0])
def test_each_ground_for_doubt_makes_it_less_sure(share: float) -> None:
    """Of what changed its name, of what is only left over, and of what came once and went."""
    told = {grounds: stated(share, {}, *grounds)[0] for grounds in GROUNDS}
    for grounds, one in told.items():
        for place in (k for k in range(3) if not grounds[k]):
            assert told[(*grounds[:place], True, *grounds[place + 1 :])] < one


def test_a_share_of_all_but_all_says_no_more_than_many_a_hundred_to_one() -> None:
    assert stated(1.0 - 1e-9, {})[0] == stated(0.995, {})[0] == stated(1.0, {})[0]


@pytest.mark.parametrize("once", [False, True])
def test_what_is_left_is_the_rivals_in_part(once: bool) -> None:
    told, others = stated(0.99, {"worn-pump": 0.006, "riser-leak": 0.004}, once=once)
    assert sum(others.values()) == pytest.approx(OTHERS_HOLD[once] * (1.0 - told))


def test_shares_stay_one_distribution_with_the_named_cause_first() -> None:
    for share, grounds in product(np.linspace(0.05, 1.0, 39), GROUNDS):
        for parts in ((1.0,), (0.5, 0.5), (0.7, 0.2, 0.1)):
            rivals = {f"rival {k}": (1.0 - share) * part for k, part in enumerate(parts)}
            told, others = stated(float(share), rivals, *grounds)
            assert told + sum(others.values()) <= 1.0 + 1e-12
            assert all(other <= told + 1e-12 for other in others.values())


def test_each_cause_that_no_other_competes_with_has_its_count() -> None:
    names = {name for name, file in all_causes().items() if file.watch is not None}
    assert set(BY_ITSELF) == names - {"string-out"}, "a string's loss is one with the days' figures"
    for name in BY_ITSELF:
        assert stated_by_itself(name, once=True) < stated_by_itself(name, once=False) < 1.0
    assert stated_by_itself("controller-trip", once=False, unread=True) == UNREAD[0]


@pytest.mark.parametrize("family", ["silent", "no-water"])
def test_what_showed_once_and_went_is_told_less_surely_than_what_lasts_or_came_again(family: str) -> None:
    """As long as it lasts nobody knows that it will go."""
    facts, _, _ = read_case(HERE / "none" / "helical")
    cause = "silent" if family == "silent" else "closed-delivery"

    def told(ended_ms: int | None, revision: int) -> float:
        case = Case(family, cause, cause, 60_000, 1, 0, 60_000, ended_ms, confidence=0.9, revision=revision)
        return as_finding(facts, case).confidence

    assert told(60_000, 1) < told(None, 1) == told(None, 2) == told(60_000, 2)
