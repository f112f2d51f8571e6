"""A motor that takes far less than the sun offers: told from clouds, from weak sun, and from a drive at its least speed."""

from types import SimpleNamespace

import numpy as np
import pytest

from analysis.diagnosis import weigh_levels
from analysis.look import short_of_curve
from analysis.no_water import owed
from analysis.unloaded import unloaded_rows


class _Columns(SimpleNamespace):
    """As many columns as a test needs."""

    def __len__(self) -> int:
        return len(self.settled)


MINUTE_MS = 60_000
SUN_W, FULL_W, LIFT_W = 1500.0, 1000.0, 300.0


def plant_of_kind(
    helical: bool, channels: frozenset[str] = frozenset(), rated_rpm: float | None = None
) -> SimpleNamespace:
    """A pump of 1 kW whose table has no speeds."""
    return SimpleNamespace(
        helical=helical, has=channels, ceiling_w=FULL_W, full_power_w=FULL_W, lift_power_w=LIFT_W,
        pump=SimpleNamespace(speed_known=False),
        facts=SimpleNamespace(motor=SimpleNamespace(rated_speed_rpm=rated_rpm)),
    )  # fmt: skip


def found(
    plant: SimpleNamespace, power: np.ndarray, voltage: np.ndarray, held: np.ndarray, offer: np.ndarray | None = None,
    speed: np.ndarray | None = None,
) -> np.ndarray:  # fmt: skip
    """One-minute rows of one day."""
    n = len(power)
    expected = SimpleNamespace(mpp_power_w=np.full(n, SUN_W) if offer is None else offer)
    nothing = np.full(n, np.nan)
    return unloaded_rows(
        plant, np.arange(n, dtype=np.int64) * MINUTE_MS, np.zeros(n, np.int64), np.full(n, 1 / 60), expected, power, voltage,
        nothing if speed is None else speed, power > 20.0, held,
    )  # fmt: skip


def told(before_w: float, after_w: float, before_v: float, after_v: float, minutes: int = 30) -> np.ndarray:
    """An impeller's rows: half an hour as before, then so many minutes."""
    power = np.r_[np.full(30, before_w), np.full(minutes, after_w)]
    voltage = np.r_[np.full(30, before_v), np.full(minutes, after_v)]
    return found(plant_of_kind(False), power, voltage, voltage > 115.0)


def test_a_load_that_let_go_is_known_after_minutes_by_the_voltage_that_rose_with_it() -> None:
    rows = told(900.0, 60.0, 100.0, 125.0)
    assert not rows[:38].any()
    assert rows[38:].all()


def test_under_a_cloud_power_falls_and_voltage_does_not_rise() -> None:
    assert not told(900.0, 260.0, 120.0, 118.0).any()


def test_a_drive_that_a_cloud_surprised_climbs_again() -> None:
    power = np.tile(np.r_[np.full(5, 900.0), np.full(4, 280.0)], 12)
    voltage = np.where(power > 500.0, 100.0, 120.0)
    assert not found(plant_of_kind(False), power, voltage, voltage > 115.0).any()


def test_a_voltage_that_sinks_again_was_no_load_that_let_go() -> None:
    power, voltage = (
        np.r_[np.full(30, 900.0), np.full(60, 280.0)],
        np.r_[np.full(30, 100.0), np.linspace(120.0, 100.0, 60)],
    )
    assert not found(plant_of_kind(False), power, voltage, voltage > 99.0)[50:].any()


def test_a_rotor_needs_no_such_sign() -> None:
    power, voltage = np.full(20, 150.0), np.full(20, 125.0)
    assert found(plant_of_kind(True), power, voltage, voltage > 115.0).all()
    assert not found(plant_of_kind(True), power, voltage * 0.8, np.zeros(20, bool)).any()


def test_without_a_voltage_it_takes_power_that_stayed_while_the_sun_moved() -> None:
    minutes = 5 * 60
    power, unread = np.full(minutes, 60.0), np.full(minutes, np.nan)
    offer = np.linspace(600.0, 1500.0, minutes)
    rows = found(plant_of_kind(False), power, unread, np.zeros(minutes, bool), offer)
    assert not rows[:120].any()
    assert rows[150:].all()
    follows = found(plant_of_kind(False), 0.25 * offer, unread, np.zeros(minutes, bool), offer)
    assert not follows.any()


def test_near_its_rated_speed_a_motor_that_takes_little_has_no_load() -> None:
    plant = plant_of_kind(False, frozenset({"motor_speed_rpm"}), 3000.0)
    power, voltage, no = np.full(10, 250.0), np.full(10, 100.0), np.zeros(10, bool)
    assert found(plant, power, voltage, no, speed=np.full(10, 2990.0)).all()
    assert not found(plant, power, voltage, no, speed=np.full(10, 1900.0)).any()


@pytest.mark.parametrize("minutes", [31, 45, 200, 290])
def test_no_row_needs_a_later_one(minutes: int) -> None:
    rng = np.random.default_rng(7)
    power = np.r_[np.full(60, 900.0), np.full(240, 60.0)] * rng.normal(1.0, 0.01, 300)
    voltage = np.r_[np.full(60, 100.0), np.full(240, 124.0)]
    plant, offer = plant_of_kind(False), np.linspace(700.0, 1500.0, 300)
    whole = found(plant, power, voltage, voltage > 115.0, offer)
    part = found(plant, power[:minutes], voltage[:minutes], voltage[:minutes] > 115.0, offer[:minutes])
    assert whole[:minutes].tolist() == part.tolist()


def test_a_pump_that_gasps_at_a_light_load_is_short_of_water() -> None:
    reads = {"flow": 0.18, "torque": -1.2, "idle": 0.3, "water": 0.2, "lead": 0.0, "onset": 1.0}
    assert weigh_levels("no-water", "helical-rotor", reads).cause == "dry-running"
    assert weigh_levels("no-water", "multistage-centrifugal", reads).cause == "dry-running"


def test_a_stop_by_day_before_it_speaks_for_hands_at_the_leads() -> None:
    reads = {"flow": 0.0, "sun": -1.6, "spare": 0.0, "lead": 0.0, "onset": 0.0}
    stood = weigh_levels("no-water", "helical-rotor", reads | {"handled": 1.0}).shares["reverse-rotation"]
    by_itself = weigh_levels("no-water", "helical-rotor", reads | {"handled": 0.0}).shares["reverse-rotation"]
    assert stood > 2.0 * by_itself


def test_in_weak_sun_it_is_the_water_owed_since_the_last_that_tells() -> None:
    minutes = 10 * 60
    seen = _Columns(
        settled=np.full(minutes, True), surely_m3_h=np.full(minutes, 0.1), dt_h=np.full(minutes, 1 / 60),
        day=np.zeros(minutes, np.int64), moved_m3=np.where(np.arange(minutes) == 100, 0.01, 0.0),
    )  # fmt: skip
    plant = SimpleNamespace(full_flow_m3_h=1.0, facts=SimpleNamespace(sensors=SimpleNamespace(meter_step_m3=0.01)))
    rows = owed(plant, seen)
    assert not rows[:250].any()
    assert rows[251:].all()
    plant.facts.sensors.meter_step_m3 = 0.2
    assert not owed(plant, seen)[:424].any(), "a register that counts so coarsely is waited for"
    assert owed(plant, seen)[425:].all()
    seen.surely_m3_h = np.full(minutes, 0.04)
    assert not owed(plant, seen).any()


@pytest.mark.parametrize(
    ("over", "share", "short"),
    [
        (1.055, 0.5, True),  # one string of two, its cells a little colder than supposed
        (1.055, 0.9, False),  # just held back, by a dusty array
        (1.15, 0.5, False),  # a light load: the voltage has risen along the curve
        (1.22, 0.05, False),  # near no load the curve is steep, and a degree more or less changes all
    ],
)
def test_missing_current_is_no_light_load(over: float, share: float, short: bool) -> None:
    module = SimpleNamespace(v_oc_v=50.0, v_mp_v=41.0, i_sc_a=10.0, i_mp_a=9.45)
    plant = SimpleNamespace(facts=SimpleNamespace(array=SimpleNamespace(module=module)))
    sun = SimpleNamespace(
        mpp_voltage_v=np.full(2, 300.0), mpp_power_w=np.full(2, 3000.0), poa_measured=np.array([True, False])
    )
    told = short_of_curve(plant, np.full(2, 300.0 * over), np.full(2, 3000.0 * share), sun)
    assert told.tolist() == [short, False]  # under a sky that is only supposed nothing is known to be missing
