"""An evidence speaks of speed, load, current or level only where a channel told it."""

import numpy as np
import pytest

from analysis.causes.registry import all_causes, shifts

BY_POWER = {"size": 0.26, "shift_q0": -0.54, "shift_q1": -0.40, "shift_q2": -0.26}
BY_SPEED = {"shift_n0": -0.5, "shift_n1": -0.4, "shift_n2": -0.2, "shift_t0": 0.0, "shift_t1": -0.01, "shift_t2": 0.01}
UNREAD = ("speed", "head", "torque", "current", "per turn", "level", "under water", "intake", "light")


@pytest.mark.parametrize(
    ("cause", "figures"),
    [
        ("worn-pump", BY_POWER),
        ("cable-fault", {"size": 0.15, "shift_q1": -0.1}),
        ("clogging", BY_POWER),
        ("clogging", {"size": 0.2, "shift_q1": -0.1, "shift_q2": -0.3}),
        ("riser-leak", BY_POWER),
        ("reverse-rotation", BY_POWER),
        ("broken-shaft", {"hours": 3.0, "sun": -2.0, "spare": -1.75, "flow": 0.0}),
    ],
)
def test_where_only_power_and_water_are_read_nothing_else_is_said(cause: str, figures: dict[str, float]) -> None:
    said = all_causes()[cause].sentence(figures, None)
    assert not [word for word in UNREAD if word in said], said


def test_where_they_are_read_they_are_said() -> None:
    files = all_causes()
    worn = files["worn-pump"].sentence(BY_POWER | BY_SPEED, None)
    assert "most at low speed" in worn
    assert "takes no more power" in worn
    assert "no more power" not in files["worn-pump"].sentence(BY_POWER | BY_SPEED | {"shift_t2": 0.2}, None)
    motor = files["cable-fault"].sentence({"size": 0.1, "shift_n1": 0.0, "shift_i1": 0.0, "shift_t1": 0.1}, None)
    assert "flow per turn and motor current" in motor
    assert "voltage" in files["cable-fault"].sentence({"size": 0.15, "shift_av0": -0.12, "shift_av1": -0.19}, None)
    broken = files["broken-shaft"].sentence({"torque": float(np.log(0.3)), "water": 12.4}, None)
    assert "30 % of its usual load" in broken
    assert "12.4 m over the intake" in broken
    assert "probe says wet" in files["broken-shaft"].sentence({"current": -1.0, "probe": 1.0}, None)


def test_an_obstruction_or_a_hole_speaks_of_speed_where_it_is_read() -> None:
    files = all_causes()
    assert "the faster it runs" in files["clogging"].sentence(
        BY_SPEED | {"size": 0.2, "shift_q1": -0.1, "shift_q2": -0.3}, None
    )
    assert "at all speeds" in files["riser-leak"].sentence(BY_POWER | BY_SPEED, None)
    assert "same amount" not in files["riser-leak"].sentence({"size": 0.2, "shift_n2": -0.2}, None)
    assert "same amount" not in files["riser-leak"].sentence({"size": 0.2, "shift_n1": -0.2, "shift_n2": -0.4}, None)


def test_what_drags_leaves_as_before_only_what_was_read() -> None:
    drags = {"amount": 0.3, "shift_t1": 0.31, "shift_n1": 0.0}
    said = all_causes()["unexplained"].sentence(drags, None)
    assert "while flow per turn is as before" in said
    assert "level" not in said
    said = all_causes()["unexplained"].sentence(drags | {"shift_l1": 0.1, "shift_p1": 0.0}, None)
    assert "flow per turn, level and pressure are as before" in said
    said = all_causes()["unexplained"].sentence(drags | {"shift_l1": 3.1, "shift_p1": 0.0}, None)
    assert "flow per turn and pressure are as before" in said
    other = all_causes()["unexplained"].sentence({"shift_l2": -7.7, "shift_p2": -4.7}, None)
    assert "pumping level below expected at the measured flow, m: -7.70" in other


def test_an_entry_is_not_taken_for_another_that_begins_alike() -> None:
    assert shifts({"shift_q0": 1.0, "shift_q2": 3.0, "shift_quite": 5.0}, "q") == [1.0, 3.0]
    assert shifts({"shift_first": 2.0}, "first") == [2.0]
    assert shifts({"shift_pw": 2.0}, "p") == []
