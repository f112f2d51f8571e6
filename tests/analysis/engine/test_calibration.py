"""What is told of a weighed finding's share: never more than was counted, rising with it, one distribution."""

import numpy as np

from analysis.calibration import SHARES, STATED, stated


def test_more_weight_is_never_told_as_less() -> None:
    told = [stated(share, {})[0] for share in np.linspace(0, 1, 201)]
    assert (np.diff(told) >= 0).all()
    assert told[0] == 0.0
    assert all(low <= high for low, high in zip(STATED, SHARES, strict=True))


def test_shares_stay_one_distribution_with_the_named_cause_first() -> None:
    for share in np.linspace(0.05, 1.0, 39):
        for parts in ((1.0,), (0.5, 0.5), (0.7, 0.2, 0.1)):
            rivals = {f"rival {k}": (1.0 - share) * part for k, part in enumerate(parts)}
            told, others = stated(float(share), rivals)
            assert told + sum(others.values()) <= 1.0 + 1e-12
            assert all(other <= told + 1e-12 for other in others.values())
