"""Where nothing reads whether the pump runs, nothing says that it stands."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.causes.failed_start import evidence
from analysis.look import unread
from analysis.pipeline import State, advance, begin
from analysis.plant import plant_of
from analysis.rows import Rows
from tests.cases.recorded import HERE, read_case

MIDDLE, LEAN = "none/helical_middle", "none/helical_lean"
VOLTS, AMPS, METER, FLOAT = "pv_voltage_v", "pv_current_a", "volume_m3", "tank_float_up"
SPEED, MOTOR, SAID = "motor_speed_rpm", "motor_current_a", "motor_running"


def left_with(site: str, channels: tuple[str, ...], fitted: bool) -> State:
    """The recorded season with these channels alone. `fitted`: the site file names no more than these."""
    facts, rows, _ = read_case(HERE / site)
    assert set(channels) <= set(rows.values)
    if fitted:
        facts = replace(facts, sensors=replace(facts.sensors, channels=channels))
    kept = Rows(rows.time_ms, {name: rows.values[name] for name in channels})
    return advance(begin(facts), kept, int(rows.time_ms[-1]))


@pytest.mark.parametrize("fitted", [False, True], ids=["as-named", "fitted"])
@pytest.mark.parametrize(
    ("site", "channels"),
    [
        *[(site, kept) for site in (MIDDLE, LEAN) for kept in (
            (METER,), (VOLTS,), (AMPS,), (METER, VOLTS), (METER, AMPS), (VOLTS, AMPS), (METER, VOLTS, AMPS)
        )],
        *[(MIDDLE, kept) for kept in (
            (METER, FLOAT), (FLOAT,), (SPEED,), (METER, SPEED), (MOTOR,), (METER, MOTOR), (SAID,), (METER, SAID), ("fault_code",),
            ("low_level_probe_wet", METER), (VOLTS, FLOAT), (SPEED, FLOAT), (VOLTS, SPEED), (VOLTS, AMPS, FLOAT),
        )],
    ],
    ids=lambda value: value if isinstance(value, str) else "+".join(value),
)  # fmt: skip
def test_a_healthy_season_with_few_channels_left_finds_no_pump_at_rest(
    site: str, channels: tuple[str, ...], fitted: bool
) -> None:
    found = left_with(site, channels, fitted).findings
    lost = {f.channel for f in found if f.cause == "sensor-fault" and not fitted}
    assert lost <= set(read_case(HERE / site)[0].sensors.channels) - set(channels)
    assert [(f.cause, f.evidence) for f in found if f.channel not in lost or f.cause != "sensor-fault"] == []


@pytest.mark.parametrize("channels", [(VOLTS, AMPS), (METER, VOLTS, AMPS), (SPEED,), (MOTOR,), (SAID,)], ids="+".join)
def test_a_start_that_failed_is_found_by_whatever_reads_its_running(channels: tuple[str, ...]) -> None:
    facts, rows, expected = read_case(HERE / "failed-start" / "centrifugal_full")
    kept = (*channels, "irradiance_w_m2", FLOAT)
    named = replace(facts, sensors=replace(facts.sensors, channels=kept))
    cut = Rows(rows.time_ms, {name: rows.values[name] for name in kept})
    found = [f for f in advance(begin(named), cut, int(rows.time_ms[-1])).findings if f.cause == "failed-start"]
    assert len(found) == 1
    assert found[0].flagged >= expected[0]["flagged_after"]
    assert found[0].began <= expected[0]["began_before"]
    assert ("of full power" in found[0].evidence) == (VOLTS in channels)


def test_power_that_reads_nothing_while_water_comes_is_no_failed_start() -> None:
    """A clamp that fell off reads zero."""
    facts, rows, _ = read_case(HERE / MIDDLE)
    named = replace(facts, sensors=replace(facts.sensors, channels=(VOLTS, AMPS, METER, FLOAT)))
    values = {name: rows.values[name] for name in (VOLTS, METER, FLOAT)} | {AMPS: np.zeros(len(rows))}
    found = advance(begin(named), Rows(rows.time_ms, values), int(rows.time_ms[-1])).findings
    assert "failed-start" not in {f.cause for f in found}


def test_one_reading_of_any_kind_is_enough_to_know() -> None:
    plant = plant_of(read_case(HERE / MIDDLE)[0])
    nothing = np.array([np.nan])
    assert unread(plant, Rows(np.zeros(1, np.int64), {METER: np.zeros(1)}), nothing)[0]
    assert not unread(plant, Rows(np.zeros(1, np.int64), {}), np.zeros(1))[0]
    for channel in (SPEED, MOTOR, SAID):
        assert not unread(plant, Rows(np.zeros(1, np.int64), {channel: np.zeros(1)}), nothing)[0]


def test_the_evidence_tells_of_power_only_where_it_is_read() -> None:
    assert "power" not in evidence({"hours": 3.0})
    assert "0.4 % of full power" in evidence({"hours": 3.0, "fed": 0.004})
