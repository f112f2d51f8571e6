"""An impeller that a cloud slows below the speed at which it lifted a little minutes ago lifts nothing, and that is no fault."""

from typing import Any

import numpy as np

from analysis.just_before import just_before
from analysis.plant import plant_of
from tests.analysis.causes.test_standing_rules import Sized, seen_of
from tests.cases.recorded import HERE, read_case

PLANT = plant_of(read_case(HERE / "dry-running" / "centrifugal", "middle")[0])
RAN, MINUTES = 12, 20


def slowed(speed: float, load: float, flow: float = 0.4) -> np.ndarray[Any, Any]:
    """Of minutes at a share of full flow and then none, at this share of the speed and at so many times the load of it cubed."""
    before = np.arange(MINUTES) < RAN
    rpm = np.where(before, 2800.0, 2800.0 * speed)
    came = np.where(before, flow * PLANT.full_flow_m3_h, 0.0)
    seen: Any = Sized(
        **seen_of(MINUTES, 1.0, turning=True, flow_m3_h=came, pv_voltage_v=100.0, motor_speed_rpm=rpm).__dict__
    )
    seen.speed_rpm, seen.moved_m3 = rpm, came / 60
    seen.power_w = np.where(before, 3000.0, 3000.0 * load * speed**3)
    return just_before(PLANT, seen).slowed


def test_a_few_per_cent_of_speed_take_all_of_a_little_flow() -> None:
    assert PLANT.has & {"motor_speed_rpm", "drive_frequency_hz"}
    assert slowed(0.9, 0.65)[RAN + 3 :].all()
    assert not slowed(0.9, 0.65)[:RAN].any()
    assert not slowed(0.99, 0.65).any(), "hardly slower"
    assert not slowed(0.9, 0.65, flow=1.0).any(), "at much flow there is speed to spare"
    assert not slowed(0.9, 0.3).any(), "lighter than any impeller that throws water"
