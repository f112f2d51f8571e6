"""A channel without values among others that speak, and words of yes and no that the plant's own figures deny."""

from dataclasses import replace
from functools import cache
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from analysis.by_night import rests_again
from analysis.causes.sensor_fault import _denied
from analysis.channel_drifts import drifts
from analysis.estimates.vector import PLACE
from analysis.lonely_jumps import _of_channel, jumping
from analysis.memory import Case, Memory
from analysis.plant import Plant, plant_of
from analysis.rows import Rows
from analysis.said_falsely import LIMITS as SAID
from analysis.said_falsely import denied, may_be_denied
from analysis.sensor_words import sentence
from analysis.values_lost import LIMITS as LOST
from analysis.values_lost import NUMBER, loses, lost_rows, shares_lost
from tests.cases.recorded import HERE, read_case

ROWS = 600  # of a minute, the last fifty after sunset


@cache
def plant() -> Plant:
    """A helical pump whose site file has what is asked here."""
    facts, _, _ = read_case(HERE / "none" / "helical_middle")
    channels = ("pv_voltage_v", "pv_current_a", "motor_speed_rpm", "motor_current_a", "volume_m3", "motor_running",
                "tank_float_up", "low_level_probe_wet", "ambient_temp_c")  # fmt: skip
    well = replace(facts.well, static_level_m=20.0, probe_depth_m=60.0, seasonal_range_m=2.0)
    return plant_of(replace(facts, sensors=replace(facts.sensors, channels=channels), well=well))


def day(running: bool = True, **channels: Any) -> Any:
    """A day's columns: it runs at nine tenths of full power and brings water, or stands; `channels` in place of the sound ones."""
    one, light = np.ones(ROWS), np.arange(ROWS) < ROWS - 50
    runs = light & running
    values = {
        "pv_voltage_v": 300 * one, "pv_current_a": 4.0 * runs, "motor_speed_rpm": 2000.0 * runs, "motor_current_a": 5.0 * runs,
        "volume_m3": np.cumsum(plant().full_flow_m3_h * runs / 60.0), "motor_running": 1.0 * runs, "tank_float_up": 0.0 * one,
        "low_level_probe_wet": one, "ambient_temp_c": 25 * one,
    }  # fmt: skip
    rows = Rows(np.arange(ROWS) * 60_000, {**values, **channels})
    expected = SimpleNamespace(clear_poa_w_m2=800.0 * light, daylight=light)
    return SimpleNamespace(
        rows=rows, expected=expected, dt_h=one / 60.0, time_ms=rows.time_ms, power_w=0.9 * plant().full_power_w * runs,
        should_m3_h=plant().full_flow_m3_h * runs, flow_m3_h=plant().full_flow_m3_h * runs,
        speed_rpm=rows["motor_speed_rpm"], turning=runs, driven=runs, settled=runs, __len__=lambda: ROWS,
    )  # fmt: skip


class Seen(SimpleNamespace):
    """Columns that know how many rows they have."""

    def __len__(self) -> int:
        return ROWS


def seen(running: bool = True, **channels: Any) -> Any:
    return Seen(**{name: value for name, value in vars(day(running, **channels)).items() if name != "__len__"})


def told(running: bool = True, **channels: Any) -> dict[str, str]:
    """What of such a day is denied, by channel; rows that may show it are among those that a screen looks for."""
    columns = seen(running, **channels)
    found = list(denied(plant(), columns))
    assert not found or any(0.0 < columns.dt_h[rows].sum() >= least for rows, least in may_be_denied(plant(), columns))
    return {one.channel: one.key for one in found}


def lost_in(share: float, channel: str = "motor_current_a", **others: Any) -> Any:
    """A day on which a channel has no value in such a share of the rows."""
    column = seen().rows[channel].copy()
    column[np.random.default_rng(3).random(ROWS) < share] = np.nan
    return seen(**{channel: column, **others})


@pytest.mark.parametrize(
    ("share", "best", "flagged"), [(0.2, 0.0, True), (0.2, 0.3, False), (0.01, 0.0, False), (0.2, None, False)]
)
def test_a_channel_that_loses_values_as_it_never_did_is_told_of(
    share: float, best: float | None, flagged: bool
) -> None:
    """One that is asked less often than its fellows has gaps on its best day too."""
    memory = Memory(numbers={} if best is None else {NUMBER + "motor_current_a": best})
    found = loses(plant().facts, lost_in(share), memory, "motor_current_a", 20)
    assert (found is not None) == flagged
    if found is not None:
        rows, enough, lost = found
        assert lost == pytest.approx(share, abs=0.05)
        assert np.count_nonzero(rows <= rows[0] + 60.0 * LOST.least_h) < LOST.least_rows or enough >= LOST.least_rows


def test_where_all_of_one_wire_are_missing_no_channel_of_it_lies() -> None:
    gone = {
        name: np.full(ROWS, np.nan)
        for name in ("pv_voltage_v", "pv_current_a", "motor_speed_rpm", "motor_current_a", "motor_running")
    }
    assert not lost_rows(plant().facts, seen(**gone), "motor_current_a")[1].any()


def test_a_motor_at_rest_may_be_told_nothing_of() -> None:
    still = seen(running=False, motor_current_a=np.full(ROWS, np.nan))
    assert not lost_rows(plant().facts, still, "motor_current_a")[1].any()


@pytest.mark.parametrize(("days", "flagged"), [(LOST.never_days - 1, False), (LOST.never_days, True)])
def test_a_channel_that_never_spoke_is_told_of_after_the_first_days(days: int, flagged: bool) -> None:
    never = seen(ambient_temp_c=np.full(ROWS, np.nan))
    numbers = shares_lost(plant().facts, never, Memory())
    assert numbers[NUMBER + "ambient_temp_c"] == 1.0
    assert (loses(plant().facts, never, Memory(numbers=numbers), "ambient_temp_c", days) is not None) == flagged


def test_a_sound_day_denies_nothing_running_or_at_rest() -> None:
    assert told() == {}
    assert told(running=False) == {}


def test_a_pump_said_to_stand_that_brings_water_is_denied_and_one_said_to_run_in_the_dark() -> None:
    assert told(motor_running=np.zeros(ROWS)) == {"motor_running": "said_stands"}
    assert told(motor_running=np.ones(ROWS)) == {"motor_running": "said_runs"}
    assert told(motor_running=np.zeros(ROWS), volume_m3=np.zeros(ROWS)) == {}, "without water the power may go anywhere"


def test_a_tank_said_to_be_full_while_the_water_goes_on() -> None:
    assert told(tank_float_up=np.ones(ROWS)) == {"tank_float_up": "said_full"}
    full = np.arange(ROWS) < 60.0 * SAID.full_h - 2
    assert told(tank_float_up=1.0 * full) == {}


@pytest.mark.parametrize("known", [False, True])
def test_a_code_that_warns_of_too_high_a_voltage_is_believed(known: bool) -> None:
    case = Case("over-voltage", "over-voltage", "over-voltage", 0, 1, 0, 0)
    view: Any = SimpleNamespace(facts=plant().facts, memory=Memory(cases=[case] if known else []))
    assert [one.channel for one in _denied(view, seen(fault_code=np.full(ROWS, 5.0)))] == (
        [] if known else ["fault_code"]
    )


def test_a_fault_code_that_stops_nothing_is_denied() -> None:
    assert told(fault_code=np.full(ROWS, 99.0)) == {"fault_code": "said_faulty"}
    assert told(fault_code=np.full(ROWS, 99.0), volume_m3=np.zeros(ROWS)) == {}, (
        "without water it may well have a fault"
    )
    assert told(running=False, fault_code=np.full(ROWS, 99.0)) == {}, "it stands, as it says"
    now_and_then = 5.0 * (np.arange(ROWS) % 10 == 0)
    assert told(fault_code=now_and_then) == {}
    warm = 7.0 * ((np.arange(ROWS) > 100) & (np.arange(ROWS) < 400))
    assert told(fault_code=warm) == {}, "a warning that goes while it runs on"
    trips = seen(fault_code=np.full(ROWS, 50.0), flow_m3_h=seen().flow_m3_h)
    trips.dt_h = 15.0 * trips.dt_h
    assert [one.key for one in denied(plant(), trips)] == ["said_faulty"]
    trips.flow_m3_h = 0.6 * trips.should_m3_h
    assert list(denied(plant(), trips)) == [], "it tripped and started anew within each of its long rows"
    assert "stood at 99 for 9.0 h" in sentence({"said_faulty": 99.0, "hours": 9.0}, "fault_code", "")


def jumps(channel: str, every: int, **channels: Any) -> dict[str, float]:
    """Of a day on which each so manieth reading of a channel is off by a third: what is told to jump, and how often."""
    columns = seen(**channels)
    wild = np.where(np.arange(ROWS) % every == 0, 1.35, 1.0)
    columns.rows.values[channel] = columns.rows[channel] * wild
    return {name: share for name, _, _, share in jumping(plant(), columns)}


def test_a_current_that_springs_while_speed_and_array_keep_still_is_told_of() -> None:
    assert list(jumps("motor_current_a", 4)) == ["motor_current_a"]
    assert list(jumps("pv_current_a", 4)) == ["pv_current_a"]
    assert jumps("motor_current_a", 40) == {}, "an odd reading now and then"
    assert jumps("motor_current_a", 4, motor_speed_rpm=2000.0 * (1.0 + 0.1 * (np.arange(ROWS) % 2))) == {}, (
        "the pump itself"
    )
    no_speed = seen()
    del no_speed.rows.values["motor_speed_rpm"]
    assert _of_channel(plant(), no_speed, "pv_current_a") is None, "volts alone prove nothing of the light"


def test_a_box_in_the_sun_warms_and_cools_with_it() -> None:
    clouds = np.where(np.arange(ROWS) % 6 < 3, 1000.0, 300.0)
    box = 40.0 + 8.0 * (np.arange(ROWS) % 2)
    told_of = jumps("controller_temp_c", 1, controller_temp_c=box, irradiance_w_m2=np.full(ROWS, 800.0))
    assert list(told_of) == ["controller_temp_c"]
    assert jumps("controller_temp_c", 1, controller_temp_c=40.0 + clouds / 50.0, irradiance_w_m2=clouds) == {}


def test_what_was_denied_by_night_is_well_again_by_a_night() -> None:
    last = int(seen().time_ms[-20])
    assert rests_again(plant(), seen(), "pv_current_a", last)
    assert not rests_again(plant(), seen(pv_current_a=np.full(ROWS, 2.0)), "pv_current_a", last)
    assert not rests_again(plant(), seen(), "pv_current_a", int(seen().time_ms[-3])), "not for long yet"
    assert not rests_again(plant(), seen(), "irradiance_w_m2", last), "nothing was read"
    words = sentence({"by_night": 253.75}, "irradiance_w_m2", "")
    assert words == "The sensor of the sun (irradiance_w_m2) read 253.8 W/m2 in the dark, while the pump was at rest."


def test_a_probe_dry_after_a_nights_rest_lies_where_the_well_rests_far_above_it() -> None:
    dry = np.zeros(ROWS)
    assert told(running=False, low_level_probe_wet=dry) == {"low_level_probe_wet": "dry_at_rest"}
    wet_at_dawn = 1.0 * (np.arange(ROWS) < 3)
    assert told(running=False, low_level_probe_wet=wet_at_dawn) == {}
    assert told(running=False, low_level_probe_wet=dry, water_level_m=np.full(ROWS, 70.0)) == {}


def test_a_probe_that_turns_wet_and_dry_while_the_pump_stands_or_runs_on() -> None:
    flips = 1.0 * (np.arange(ROWS) % 3 > 0)
    assert told(running=False, low_level_probe_wet=flips)["low_level_probe_wet"] == "flips"
    once = 1.0 * (np.arange(ROWS) > 100)
    assert told(running=False, low_level_probe_wet=once) == {}


def test_a_speed_read_too_fast_makes_flow_and_load_look_small_at_it_and_slow_rows_most_beside_its_zero() -> None:
    facts, _, _ = read_case(HERE / "none" / "helical_middle")
    forms = [one for one in drifts(plant_of(facts)) if one.channel == "motor_speed_rpm"]
    assert len(forms) == 4
    gain, zero = forms[0].direction, forms[2].direction
    assert gain[PLACE["n2"]] == gain[PLACE["t2"]] == -1.0
    assert zero[PLACE["n0"]] < zero[PLACE["n2"]] == gain[PLACE["n2"]]


@pytest.mark.parametrize(
    ("figures", "channel", "words"),
    [
        ({"gaps": 0.21}, "water_level_m", "21 % of the readings"),
        ({"never": 1.0}, "water_level_m", "no value since the first reading"),
        ({"said_full": 1.0, "hours": 3.0}, "tank_float_up", "for 3.0 h that the tank is full"),
        ({"flips": 40.0}, "low_level_probe_wet", "40 times"),
    ],
)
def test_the_sentence_says_what_it_did(figures: dict[str, float], channel: str, words: str) -> None:
    assert words in sentence(figures, channel, "")


def test_values_that_drop_out_of_every_channel_here_and_there_are_no_channels_fault() -> None:
    fellows = {name: lost_in(0.1, name).rows[name] for name in ("pv_voltage_v", "pv_current_a", "motor_speed_rpm")}
    sound = Memory(numbers={NUMBER + name: 0.0 for name in (*fellows, "motor_current_a")})
    assert loses(plant().facts, lost_in(0.13), sound, "motor_current_a", 20) is not None
    assert loses(plant().facts, lost_in(0.13, **fellows), sound, "motor_current_a", 20) is None
