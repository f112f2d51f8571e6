"""A string lost within the day is told after an hour or two; cloud, shade, a full tank and a speed limit are not taken for one."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from analysis.causes import string_out
from analysis.estimates.vector import HOURS, PLACE, SIZE
from analysis.look import look
from analysis.memory import Memory
from analysis.plant import Plant, plant_of
from analysis.rows import Rows
from analysis.symptoms import DayView, Episode
from logger.record.site_file import read_site
from tests.cases.recorded import HERE

MINUTE_MS = 60_000
SEEN = read_site((HERE / "string-out/centrifugal_full/site.toml").read_text(), "site.toml")
DAY = 20_000


def plant_with(strings: int, modules: int, *channels: str) -> Plant:
    """A plant of so many strings and modules, whose controller can take all that they give."""
    facts = SEEN
    return plant_of(
        replace(
            facts,
            array=replace(facts.array, strings=strings, modules_in_series=modules),
            controller=replace(facts.controller, max_power_w=1e6),
            sensors=replace(facts.sensors, channels=("pv_voltage_v", "pv_current_a", "motor_running", *channels)),
            visits=(),
        )
    )


def watched(plant: Plant, change: Any, sun_measured: bool = True) -> list[Episode]:
    """A day of one-minute rows around noon, as the model says; `change(hours, columns)` makes something of them."""
    hours = np.arange(-180, 180) / 60.0
    time_ms = plant.days.noon_ms(DAY) + np.arange(-180, 180, dtype=np.int64) * MINUTE_MS
    clear = plant.model.expect(Rows(time_ms, {})).clear_poa_w_m2
    columns = {"motor_running": np.ones(len(hours)), "light": np.ones(len(hours))}
    columns |= {"strings": np.ones(len(hours)), "series": np.ones(len(hours)), "held": np.ones(len(hours))}
    change(hours, columns)
    light = clear * columns["light"]
    should = plant.model.expect(Rows(time_ms, {"irradiance_w_m2": light}))
    rng = np.random.default_rng(5)
    current = should.mpp_current_a * columns["strings"] * columns["held"] * rng.normal(1.0, 0.01, len(hours))
    volts = should.mpp_voltage_v * columns["series"] * (2.0 - columns["held"]) * rng.normal(1.0, 0.005, len(hours))
    values = {"pv_current_a": current, "pv_voltage_v": volts, "motor_running": columns["motor_running"]}
    if sun_measured:
        values["irradiance_w_m2"] = light
    seen = look(plant, Rows(time_ms, values), range(DAY, DAY + 1))
    days = np.full(SIZE, 16.0)
    recent = np.full((3, SIZE), np.nan)
    recent[:, PLACE["s0"] : PLACE["s0"] + HOURS] = 0.0
    recent[:, PLACE["av1"]] = 0.0
    memory = Memory(day=DAY - 1, arrays={"mean": np.zeros(SIZE), "days": days, "recent": recent})
    view = DayView(plant.facts, plant.days, DAY, int(time_ms[-1]), time_ms, int(time_ms[0]), memory, seen)
    low = string_out.low_rows(seen, plant.facts, string_out.known_of(plant.facts, memory), 0.1)
    found = string_out.watch(view)
    assert not found or float(seen.dt_h[low].sum()) >= string_out.least_h()  # the screen holds no such day back
    return found


def a_string_from(hour: float, share: float = 0.5) -> Any:
    def change(hours: np.ndarray, columns: dict[str, np.ndarray]) -> None:
        columns["strings"][hours >= hour] = 1.0 - share

    return change


@pytest.mark.parametrize("sun_measured", [True, False])
def test_half_of_the_current_gone_is_one_of_two_strings(sun_measured: bool) -> None:
    channels = ("irradiance_w_m2",) if sun_measured else ()
    plant = plant_with(2, 8, *channels)
    (told,) = watched(plant, a_string_from(-2.0), sun_measured)
    assert told.size == pytest.approx(0.5)
    assert told.flag_ms - plant.days.noon_ms(DAY) <= 0.2 * 60 * MINUTE_MS


@pytest.mark.parametrize("sun_measured", [True, False])
def test_a_sound_array_is_not_told_of(sun_measured: bool) -> None:
    assert not watched(plant_with(2, 8), a_string_from(24.0), sun_measured)


def test_a_module_of_six_lowers_the_voltage_by_a_sixth() -> None:
    def change(hours: np.ndarray, columns: dict[str, np.ndarray]) -> None:
        columns["series"][hours >= -2.5] = 5.0 / 6.0

    (told,) = watched(plant_with(1, 6, "irradiance_w_m2"), change)
    assert told.size == pytest.approx(1.0 / 6.0)


def test_a_bad_joint_that_takes_voltage_by_its_current_is_not_a_module() -> None:
    def change(hours: np.ndarray, columns: dict[str, np.ndarray]) -> None:
        columns["light"][:] = 0.75 + 0.25 * np.cos(1.5 * hours)
        columns["series"][hours >= -2.5] = (1.0 - columns["light"] / 6.0)[hours >= -2.5]

    assert not watched(plant_with(1, 6, "irradiance_w_m2"), change)


def test_a_cloud_that_halves_the_light_cools_the_cells_and_is_no_string() -> None:
    def change(hours: np.ndarray, columns: dict[str, np.ndarray]) -> None:
        columns["light"][hours >= -2.0] = 0.5

    assert not watched(plant_with(2, 8), change, sun_measured=False)
    assert not watched(plant_with(2, 8, "irradiance_w_m2"), change)


def test_hours_held_back_between_take_nothing_from_a_sensor_s_word() -> None:
    """An hour and more at maximum power, never so long on end: before and after each the pump had sun to spare."""

    def change(hours: np.ndarray, columns: dict[str, np.ndarray]) -> None:
        half = (60.0 * hours) % 60.0 < 25.0
        columns["strings"][:] = 0.5
        columns["held"][~half] = 0.8

    (told,) = watched(plant_with(2, 8, "irradiance_w_m2"), change)
    assert told.size == pytest.approx(0.5)


def under_clouds(sun: float, cloud: float, strings: float) -> Any:
    """The sun goes behind a cloud for five minutes of each twelve."""

    def change(hours: np.ndarray, columns: dict[str, np.ndarray]) -> None:
        columns["light"][:] = np.where((60.0 * hours) % 12.0 < 5.0, cloud, sun)
        columns["strings"][:] = strings

    return change


def test_a_string_gone_under_a_broken_sky_is_told_by_the_sunny_minutes() -> None:
    """No two hours on end are even; whenever the sun is out half of the current comes, never more, from warm cells."""
    (told,) = watched(plant_with(2, 8), under_clouds(1.0, 0.3, 0.5), sun_measured=False)
    assert told.size == pytest.approx(0.5)
    assert not watched(plant_with(2, 8), under_clouds(1.0, 0.3, 1.0), sun_measured=False)


def test_a_sheet_of_cloud_below_which_others_pass_is_no_string() -> None:
    assert not watched(plant_with(2, 8), under_clouds(0.5, 0.2, 1.0), sun_measured=False)


def test_ragged_cloud_is_no_string() -> None:
    def change(hours: np.ndarray, columns: dict[str, np.ndarray]) -> None:
        columns["light"][:] = 0.5 + 0.15 * np.sin(40.0 * hours)

    assert not watched(plant_with(2, 8), change, sun_measured=False)


def test_half_a_current_that_flickers_is_no_string() -> None:
    """A string is gone or is not; half on the average is a loose joint's, or a shade's that comes and goes."""

    def change(hours: np.ndarray, columns: dict[str, np.ndarray]) -> None:
        columns["strings"][hours >= -2.0] = (0.5 + 0.08 * np.sin(40.0 * hours))[hours >= -2.0]

    assert not watched(plant_with(2, 8, "irradiance_w_m2"), change)


def test_shade_that_moves_on_is_no_string() -> None:
    def change(hours: np.ndarray, columns: dict[str, np.ndarray]) -> None:
        columns["strings"][:] = 1.0 - 0.6 * np.exp(-((hours / 0.6) ** 2))

    assert not watched(plant_with(2, 8, "irradiance_w_m2"), change)


def test_a_full_tank_and_a_speed_limit_say_nothing_of_the_array() -> None:
    def full(hours: np.ndarray, columns: dict[str, np.ndarray]) -> None:
        columns["motor_running"][hours >= -2.0] = 0.0
        columns["strings"][hours >= -2.0] = 0.01

    def limited(hours: np.ndarray, columns: dict[str, np.ndarray]) -> None:
        columns["held"][hours >= -2.0] = 0.85
        columns["strings"][hours >= -2.0] = 0.5 / 0.85

    plant = plant_with(2, 8, "irradiance_w_m2")
    assert not watched(plant, full)
    assert not watched(plant, limited)
