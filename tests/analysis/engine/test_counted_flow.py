"""A flow counted from coarse pulses is judged as the register it was counted from."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.counted_flow import as_register, hourly
from analysis.pipeline import advance, begin
from analysis.rows import Rows
from logger.record.site_facts import SiteFacts
from tests.cases.recorded import HERE, read_case

PULSE_M3 = 0.1
MINUTE_H = 1.0 / 60.0


def site(step_m3: float | None = PULSE_M3) -> SiteFacts:
    facts, _, _ = read_case(HERE / "none/helical_middle")
    return replace(facts, sensors=replace(facts.sensors, meter_step_m3=step_m3))


def minutes(flow: np.ndarray) -> tuple[np.ndarray, np.ndarray, Rows]:
    """Two days of as many minutes, with so much flow on each."""
    count = len(flow)
    time_ms = np.concatenate([np.arange(count), 1440 + np.arange(count)]) * 60_000
    dt_h = np.tile(np.concatenate([[0.0], np.full(count - 1, MINUTE_H)]), 2)
    return np.repeat([0, 1], count), dt_h, Rows(time_ms, {"flow_m3_h": np.tile(flow, 2)})


def pulses(true_m3_h: float, count: int = 300) -> np.ndarray:
    """What a meter of `PULSE_M3` a pulse makes of a steady flow, as a mean over each minute. [m3/h]"""
    total = np.floor(true_m3_h * MINUTE_H * np.arange(count) / PULSE_M3)
    return np.diff(total, prepend=0.0) * PULSE_M3 / MINUTE_H


def test_pulses_add_up_to_the_register_they_came_from() -> None:
    day, dt_h, rows = minutes(pulses(1.7))
    got = as_register(site(), day, dt_h, rows)
    assert np.isnan(got["flow_m3_h"][dt_h > 0]).all()
    last = got["volume_m3"][[299, 599]]
    assert last == pytest.approx(1.7 * 299 / 60, abs=PULSE_M3), "each day by itself"


def test_the_register_is_the_same_however_the_days_are_cut() -> None:
    day, dt_h, rows = minutes(pulses(1.7))
    whole = as_register(site(), day, dt_h, rows)
    second = as_register(site(), day[300:], dt_h[300:], rows.take(slice(300, 600)))
    part = as_register(site(), day[:450], dt_h[:450], rows.take(slice(0, 450)))
    assert np.array_equal(whole["volume_m3"][300:], second["volume_m3"], equal_nan=True)
    assert np.array_equal(whole["volume_m3"][:450], part["volume_m3"], equal_nan=True)


def test_what_came_in_a_row_that_was_not_read_is_not_known() -> None:
    flow = pulses(1.7)
    flow[100:103] = np.nan
    day, dt_h, rows = minutes(flow)
    steps = np.diff(as_register(site(), day, dt_h, rows)["volume_m3"][103:300])
    assert (steps >= 0).all()
    assert float(steps.sum()) == pytest.approx(1.7 * 197 / 60, abs=PULSE_M3)
    got = as_register(site(), day, dt_h, rows)["volume_m3"]
    assert np.isnan(got[100:103]).all()
    assert got[103] < got[99], "as of a register that was replaced"


def test_a_flow_read_finely_is_left_alone_from_its_first_odd_value_on() -> None:
    for fine in (1.73, 0.2):
        day, dt_h, rows = minutes(np.full(300, fine))
        got = as_register(site(), day, dt_h, rows)
        assert np.array_equal(got["flow_m3_h"][dt_h > 0], rows["flow_m3_h"][dt_h > 0])
    assert as_register(site(None), day, dt_h, rows) is rows
    assert as_register(site(0.001), day, dt_h, rows) is rows


def test_a_look_at_how_large_it_is_takes_the_hours_mean() -> None:
    _, _, rows = minutes(pulses(1.7))
    assert float(np.nanmax(hourly(site(), rows)["flow_m3_h"])) == pytest.approx(1.7, rel=0.08)
    order = np.random.default_rng(5).permutation(len(rows))
    assert np.array_equal(hourly(site(), rows)["flow_m3_h"][order], hourly(site(), rows.take(order))["flow_m3_h"])


@pytest.mark.parametrize(
    "name",
    ["cable-fault/helical_middle", "broken-shaft/helical", "controller-trip/centrifugal"],
)
def test_the_findings_are_those_of_the_register(name: str) -> None:
    """The same water, once as a register of 100 L a pulse and once as the mean of those pulses over each row."""
    facts, rows, _ = read_case(HERE / name)
    register = np.floor(rows["volume_m3"] / PULSE_M3) * PULSE_M3
    steps_h = np.diff(rows.time_ms, prepend=rows.time_ms[0]) / 3.6e6
    before = np.concatenate([register[:1], register[:-1]])
    flow = (register - before) / np.where(steps_h > 0, steps_h, 1.0)
    plain = {name: column for name, column in rows.values.items() if name not in ("volume_m3", "flow_m3_h")}
    told = []
    for channel, column in (("volume_m3", register), ("flow_m3_h", flow)):
        fitted = tuple(
            dict.fromkeys(channel if one in ("volume_m3", "flow_m3_h") else one for one in facts.sensors.channels)
        )
        such = replace(
            facts, sensors=replace(facts.sensors, channels=fitted, meter_step_m3=PULSE_M3), digest=f"{name} {channel}"
        )
        got = advance(begin(such), Rows(rows.time_ms, {**plain, channel: column}), int(rows.time_ms[-1]))
        told.append(sorted(finding.cause for finding in got.findings))
    assert told[0] == told[1]
