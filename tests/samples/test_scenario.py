"""The scenario's sites fit together, read back as they were written, and drawn sites and cases are sound."""

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from logger.record.causes import CAUSES
from logger.record.site_file import load_site, read_site
from samples.cases import draw_case, draw_site
from samples.draws import CAUSE_SHARES, draw_fault
from samples.plant.motor import motor_of
from samples.plant.pump_fit import pump_of
from samples.plant.streams import stream
from samples.scenario import SITES, scenario
from samples.site_text import site_text

START = datetime(2026, 2, 10, 7, 0, tzinfo=UTC)
FILES = sorted(SITES.glob("*.toml"))


def test_scenario_covers_what_the_demo_needs():
    sites = scenario(START)
    assert len(sites) >= 8
    assert {site.id for site in sites} == {path.stem for path in FILES}
    assert {site.facts.pump.kind for site in sites} == {"helical-rotor", "multistage-centrifugal"}
    assert {"full", "middle", "lean", "lean-power"} == {site.fit for site in sites}
    assert sum(site.expected is None for site in sites) >= 2
    assert {"dry-running", "clogging", "panel-soiling", "string-out", "worn-pump"} <= {site.expected for site in sites}
    assert any(fault.cause == "tank-full" for site in sites for fault in site.faults)
    for site in sites:
        last = [fault.cause for fault in site.faults if fault.ends is None]
        assert last == ([] if site.expected is None else [site.expected])


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_site_files_are_consistent(path):
    facts = load_site(path)
    array, control, module = facts.array, facts.controller, facts.array.module
    cold = array.modules_in_series * module.v_oc_v * (1 + module.temp_coeff_v_oc_pct_c / 100 * (-5 - 25))
    assert control.min_input_voltage_v < array.modules_in_series * module.v_mp_v * 0.8
    assert cold < control.max_input_voltage_v
    power = max(row.power_w for row in facts.pump.curve)
    assert 1.1 < array.modules_in_series * array.strings * module.p_mp_w / power < 1.7
    assert facts.well.static_level_m < facts.well.probe_depth_m < facts.pump.setting_depth_m
    assert read_site(site_text(facts)) == facts


@pytest.mark.parametrize("seed", range(6))
def test_drawn_sites_can_be_written_and_their_pumps_found_again(seed):
    """The pump that the plant makes of the table gives the table's rows back: flow within 2 %, power within 3 %."""
    facts = draw_site(seed, ("helical-rotor", "multistage-centrifugal")[seed % 2], "full")
    assert replace(read_site(site_text(facts)), digest="") == facts
    motor = motor_of(facts)
    pump = pump_of(facts, motor)
    from samples.plant.effects import HEALTHY

    bare = {**HEALTHY, "motor_ohm": -motor.cable_ohm}
    head, flow, power, rpm = (
        np.array([getattr(r, n) for r in facts.pump.curve]) for n in ("head_m", "flow_m3_h", "power_w", "speed_rpm")
    )
    found, _, torque = pump.work(rpm, head, 0.0, bare, 1.0, 0.0)
    used = flow > 0.3 * flow.max()
    assert found[used] == pytest.approx(flow[used], rel=0.02)
    assert motor.input_w(torque, rpm, bare)[used] == pytest.approx(power[used], rel=0.03)


def test_every_cause_can_be_drawn():
    assert set(CAUSE_SHARES) == set(CAUSES)
    facts = draw_site(3, "helical-rotor", "full")
    for cause in CAUSES:
        for draw in range(10):
            fault = draw_fault(
                stream(draw, cause), cause, facts, datetime(2025, 9, 1, tzinfo=UTC), datetime(2026, 3, 31, tzinfo=UTC)
            )
            assert fault.cause == cause
            assert fault.ends is None or fault.begins < fault.ends
            if CAUSES[cause].parts:
                assert fault.part in CAUSES[cause].parts


def test_a_case_is_the_same_twice_and_carries_its_truth():
    first, again = (draw_case(8, days=12, causes=("broken-shaft",)) for _ in range(2))
    assert first.frame.equals(again.frame)
    assert [truth.cause for truth in first.truths] == ["broken-shaft"]
    assert first.truths[0].size > 0
    assert all(truth.harmless for truth in first.harmless)


def test_a_healthy_case_has_no_truth():
    assert draw_case(9, days=4, healthy=True).truths == []
