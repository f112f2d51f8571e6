"""What a sensor must have had to follow before it is called stuck, and what counts as a try of the motor."""

from types import SimpleNamespace

import numpy as np

from analysis.not_turning import LIMITS, _lifted, weighty_rows
from analysis.what_moves import MOVES, swung

FULL_W = 1000.0
ROW_H = 1 / 12


def followed(drive: list[float], swing: float, channel: str = "water_level_m") -> list[bool]:
    """Whether what moves the channel has swung, up to each five-minute row."""
    moves = np.array(drive)
    seen = SimpleNamespace(dt_h=np.full(len(moves), ROW_H))
    return [bool(told) for told in swung(seen, channel, moves, np.arange(len(moves)), swing)]


def test_a_level_need_not_follow_a_gust_of_flow() -> None:
    """Ten minutes of flow draw a well's storage, not yet its level; half an hour does both."""
    assert not any(followed([0.1] * 12 + [1.0] * 2 + [0.1] * 12, 0.5))
    rows = int(np.ceil(MOVES.drawn_h / ROW_H))
    told = followed([0.1] * 12 + [1.0] * (rows + 1), 0.5)
    assert not told[12]
    assert told[-1]


def test_a_gauge_must_follow_at_once() -> None:
    """Friction is there with the flow."""
    assert followed([0.1, 0.1, 1.0], 0.5, "discharge_pressure_bar") == [False, False, True]


def test_what_is_not_known_asks_nothing() -> None:
    """Without a meter only the flow expected tells."""
    assert all(followed([np.nan] * 5, 0.5))
    assert followed([np.nan, 0.0, 1.0], 0.5, "discharge_pressure_bar")[-1]


def fed(power_w: list[float], speed_rpm: float = 30.0, flow_m3_h: float = 0.0) -> SimpleNamespace:
    """Rows of a controller that says it drives, at a mean speed too low to count as turning."""
    n = len(power_w)
    return SimpleNamespace(
        power_w=np.array(power_w), driven=np.ones(n, bool), turning=np.zeros(n, bool), speed_rpm=np.full(n, speed_rpm),
        moved_m3=np.zeros(n), rows={"flow_m3_h": np.full(n, flow_m3_h)},
    )  # fmt: skip


def test_a_try_of_a_moment_in_dim_light_is_no_feeding_of_a_motor_that_stands() -> None:
    """The controller's word is of the row's end; the row's mean power says for how long."""
    plant = SimpleNamespace(full_power_w=FULL_W, helical=True)
    told = weighty_rows(plant, fed([0.5 * LIMITS.fed_share * FULL_W, 2 * LIMITS.fed_share * FULL_W, np.nan]))
    assert told.tolist() == [False, True, True]


def test_short_runs_that_lift_are_no_tries() -> None:
    """A mean speed of a tenth with water beside it is a pump that ran for a part of the row."""
    plant = SimpleNamespace(full_power_w=FULL_W)
    assert _lifted(plant, fed([100.0, 100.0], flow_m3_h=0.4)).all()
    assert not _lifted(plant, fed([100.0, 100.0])).any()


def test_water_metered_a_row_after_a_short_run_says_that_it_turned() -> None:
    """The current is of the row, the meter's step may come with the next; at rest without a run before it a step says nothing."""
    plant = SimpleNamespace(full_power_w=FULL_W)
    seen = fed([100.0, 0.0, 0.0, 0.0])
    seen.driven[1:] = False
    seen.moved_m3[1:] = [0.1, 0.0, 0.1]
    assert _lifted(plant, seen).tolist() == [False, True, False, False]
