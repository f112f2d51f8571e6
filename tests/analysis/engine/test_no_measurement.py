"""What is held to lie is no measurement: a frozen reading is told once, and no other cause goes on believing it."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from analysis.by_night import night_rows, standing
from analysis.look import look
from analysis.memory import Case, Memory
from analysis.no_measurement import held_to_lie, lies, without
from analysis.pipeline import State, advance, begin, loads
from analysis.plant import plant_of
from analysis.rows import Rows
from analysis.symptoms import Episode
from logger.record.site_facts import SiteFacts
from tests.cases.recorded import HERE, read_case

SOUND = HERE / "none" / "centrifugal"
DAY_MS = 86_400_000
DAYS, FROZEN_DAYS = 12, 5
CHANNELS = ("motor_speed_rpm", "pv_current_a", "irradiance_w_m2", "motor_current_a")


@cache
def sound() -> tuple[SiteFacts, Rows]:
    """Some days of a sound season."""
    facts, rows, _ = read_case(SOUND)
    last = int(rows.time_ms[-1])
    return facts, rows.take(rows.time_ms > last - DAYS * DAY_MS)


def frozen(channel: str, thawed_days: float = 0.0) -> tuple[SiteFacts, Rows]:
    """The same, in which a channel reads at night too what it read at one noon."""
    facts, rows = sound()
    column, last = rows[channel], int(rows.time_ms[-1])
    since = (rows.time_ms > last - FROZEN_DAYS * DAY_MS) & (rows.time_ms <= last - thawed_days * DAY_MS)
    high = np.flatnonzero(~since & (column > 0.5 * np.nanmax(column)))
    return facts, replace(rows, values={**rows.values, channel: np.where(since, column[high[-1]], column)})


@cache
def judged(channel: str) -> State:
    facts, rows = frozen(channel)
    return advance(begin(facts), rows, int(rows.time_ms[-1]))


@pytest.mark.parametrize("channel", CHANNELS)
def test_a_frozen_reading_is_told_and_nothing_else_is(channel: str) -> None:
    told = [one for one in judged(channel).findings if one.ended is None]
    assert [(one.cause, one.channel) for one in told] == [("sensor-fault", channel)]


@pytest.mark.parametrize("channel", CHANNELS)
def test_rows_in_parts_and_a_restart_give_the_same(channel: str) -> None:
    facts, rows = frozen(channel)
    state, low = begin(facts), int(rows.time_ms[0]) - 1
    for turn in range(1, 100):
        high = min(low + 31 * DAY_MS // 24, int(rows.time_ms[-1]))
        part = rows.take((rows.time_ms > low) & (rows.time_ms <= high))
        state = advance(state, part, high)
        if turn % 3 == 0:
            state = loads(state.dumps(), facts)
            state = advance(state, rows.take((rows.time_ms > state.closed_until_ms) & (rows.time_ms <= high)), high)
        low = high
        if low == int(rows.time_ms[-1]):
            break
    assert state.findings == judged(channel).findings
    assert state.days == judged(channel).days


def test_what_was_flagged_stays_as_more_rows_come() -> None:
    facts, rows = frozen("motor_speed_rpm")
    final = {(one.id, one.flagged) for one in judged("motor_speed_rpm").findings}
    for hours in range(1, 24 * FROZEN_DAYS, 17):
        until = int(rows.time_ms[-1]) - hours * DAY_MS // 24
        early = advance(begin(facts), rows.take(rows.time_ms <= until), until)
        assert {(one.id, one.flagged) for one in early.findings} <= final


def test_a_channel_that_thaws_is_read_again() -> None:
    facts, rows = frozen("motor_speed_rpm", thawed_days=2.0)
    state = advance(begin(facts), rows, int(rows.time_ms[-1]))
    (told,) = [one for one in state.findings if one.cause == "sensor-fault"]
    assert told.ended is not None
    assert not held_to_lie(state.memory)


def test_only_a_measurement_that_lies_is_left_out() -> None:
    def case(channel: str, **more: object) -> Case:
        return replace(Case("sensor-fault", "sensor-fault", "sensor-fault", 0, 1, 0, 0, channel=channel), **more)  # type: ignore[arg-type]

    cases = [
        case("motor_speed_rpm", figures={"stuck": 2800.0}), case("pv_current_a", figures={"stuck": 4.0}, ended_ms=9),
        case("irradiance_w_m2", figures={"gaps": 0.4}), case("tank_float_up", figures={"said_full": 1.0}),
    ]  # fmt: skip
    assert held_to_lie(Memory(cases=cases)) == {"motor_speed_rpm"}, (
        "mended; true when it speaks; heeded by the controller"
    )
    told = Episode("sensor-fault", 0, 0, 0, 1.0, whole={"stuck": 1.0}, cause="sensor-fault", channel="pv_voltage_v")
    assert lies(told)
    assert not lies(replace(told, whole={"dead": 1.0}))
    assert not lies(replace(told, channel="low_level_probe_wet"))


def test_rows_without_a_channel_are_those_of_a_site_that_never_had_it() -> None:
    _, rows = sound()
    left = without(rows, {"motor_speed_rpm"})
    assert set(rows.values) - set(left.values) == {"motor_speed_rpm"}
    assert left.time_ms is rows.time_ms


def denser(rows: Rows) -> Rows:
    """Each reading three times, five minutes apart, and all of them half an hour earlier: more of the dawn than was recorded."""
    times = (rows.time_ms[:, None] + np.array([-2_400_000, -2_100_000, -1_800_000])).ravel()
    return Rows(times, {name: np.repeat(column, 3) for name, column in rows.values.items()})


@pytest.mark.parametrize("channel", CHANNELS)
def test_in_the_dark_minutes_tell_what_stands(channel: str) -> None:
    """Not a gateway that repeats all it last heard: then nothing says that the plant rests."""
    facts, rows = frozen(channel)
    plant, rows = plant_of(facts), denser(rows)
    day = int(plant.days.day_of(int(rows.time_ms[-1]))) - 2
    seen = look(plant, rows, range(day, day + 1))
    found = {name: (places, enough) for name, places, enough, _ in standing(plant, seen)}
    assert set(found) == {channel}
    places, enough = found[channel]
    assert not seen.expected.daylight[places[enough]]
    assert int(np.count_nonzero(night_rows(plant, seen, channel)[: places[enough] + 1])) >= 2
    _, whole = sound()
    assert not list(standing(plant, look(plant, denser(whole), range(day, day + 1))))
    noon = {
        name: np.full(len(rows), np.nanmedian(column[column > 0]))
        for name, column in rows.values.items()
        if (column > 0).any()
    }
    held = replace(rows, values={**rows.values, **noon, "motor_running": np.ones(len(rows))})
    assert not list(standing(plant, look(plant, held, range(day, day + 1))))
