"""Seasons: the record's form, determinism, steps, instruments, dirt, and the truth against the twin's definition."""

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pandas as pd
import pytest

from logger.record.causes import CAUSES
from logger.record.channels import CHANNELS
from logger.record.site_facts import SiteFacts
from logger.record.site_file import load_site
from samples.dirt import Dirt
from samples.faults import HARMLESS, SEVERITY, Fault, effects_of, weight
from samples.plant.drawn import Likeness
from samples.plant.effects import HEALTHY, Effects
from samples.scenario import SITES
from samples.season import live_season, main, make_season
from samples.truth import flow_lost

START, END = datetime(2025, 9, 1, tzinfo=UTC), datetime(2025, 9, 5, tzinfo=UTC)
DAY2 = START + timedelta(days=1)
DAWN = START + timedelta(hours=3)


def site(name: str) -> SiteFacts:
    """The facts of a sample site."""
    return load_site(SITES / f"{name}.toml")


def test_record_has_the_contract_s_form(healthy):
    frame = healthy.frame
    assert list(frame.columns) == ["time", *healthy.plant.facts.sensors.channels]
    assert str(frame["time"].dt.tz) == "UTC"
    assert len(frame) == 4 * 1440
    assert frame["time"].iloc[0] == START + timedelta(minutes=1)
    assert frame["time"].iloc[-1] == END
    for name in frame.columns[1:]:
        values = frame[name].dropna()
        assert values.between(CHANNELS[name].lowest, CHANNELS[name].highest).all(), name


def test_same_seed_same_season_and_another_another():
    first, _ = make_season(site("quiet-fold"), [], START, DAY2, seed=3)
    again, _ = make_season(site("quiet-fold"), [], START, DAY2, seed=3)
    other, _ = make_season(site("quiet-fold"), [], START, DAY2, seed=4)
    pd.testing.assert_frame_equal(first, again)
    assert not first.equals(other)


@pytest.mark.parametrize(("step_s", "rows"), [(10, 8640), (60, 1440), (300, 288), (900, 96)])
def test_any_step_gives_the_same_water(step_s, rows):
    frame, _ = make_season(site("quiet-fold"), [], START, DAY2, step_s=step_s, seed=3)
    assert len(frame) == rows
    water = frame["volume_m3"].iloc[-1] - frame["volume_m3"].iloc[0]
    assert water == pytest.approx(14.2, rel=0.02)


@pytest.mark.parametrize(
    ("step_s", "wrong"), [(0, "1 to 900"), (7, "divide 86400"), (1800, "1 to 900"), (150, "multiple")]
)
def test_a_step_that_does_not_fit_is_refused(step_s, wrong):
    with pytest.raises(ValueError, match=wrong):
        make_season(site("quiet-fold"), [], START, DAY2, step_s=step_s)


def test_register_rises_in_whole_steps_with_the_flow(helical):
    frame = helical.frame
    steps = frame["volume_m3"].diff().dropna() / 0.01
    assert (steps >= -1e-6).all()
    assert np.allclose(steps, steps.round(), atol=1e-6)
    pumped = frame["flow_m3_h"].sum() / 60
    assert frame["volume_m3"].iloc[-1] - frame["volume_m3"].iloc[0] == pytest.approx(pumped, rel=0.04)


def test_every_cause_has_a_way_and_every_effect_a_cause():
    assert set(SEVERITY) == set(CAUSES) | set(HARMLESS)
    with pytest.raises(ValueError, match="no cause"):
        Fault("bad-luck", START)
    with pytest.raises(ValueError, match="time zone"):
        Fault("clogging", datetime(2025, 9, 1))
    with pytest.raises(KeyError, match="no effect"):
        Effects(gremlins=1.0)
    assert not any(Effects().active(name) for name in HEALTHY)


def test_shapes_of_faults():
    time_s = START.timestamp() + np.arange(0, 10 * 86400, 3600.0)
    begins, ends = START + timedelta(days=2), START + timedelta(days=6)
    step = weight(Fault("clogging", begins, ends), time_s)
    ramp = weight(Fault("clogging", begins, ends, shape="ramp"), time_s)
    fits = weight(Fault("clogging", begins, ends, shape="intermittent"), time_s)
    inside = (time_s >= begins.timestamp()) & (time_s < ends.timestamp())
    assert np.array_equal(step, inside.astype(float))
    assert np.all(np.diff(ramp[inside]) > 0)
    assert np.all(ramp[~inside] == 0)
    assert 0.2 < fits[inside].mean() < 0.8


CASES = [  # site, fault, what must be seen of it in the noon rows against the healthy season: channel, least, most ratio
    ("ochre-pan", Fault("dry-running", DAWN, None, 1.0), {"flow_m3_h": (0, 0.02), "motor_current_a": (0.05, 0.6)}),
    ("ochre-pan", Fault("clogging", DAWN, None, 0.3, "delivery"), {"discharge_pressure_bar": (2, 9), "motor_current_a": (1.05, 2)}),
    ("ochre-pan", Fault("clogging", DAWN, None, 0.3, "intake"), {"discharge_pressure_bar": (0.9, 1.05), "motor_current_a": (1.05, 2)}),
    ("kestrel-ridge", Fault("clogging", DAWN, None, 0.3, "delivery"), {"flow_m3_h": (0.5, 0.95), "motor_current_a": (0.7, 1.0)}),
    ("ochre-pan", Fault("closed-delivery", DAWN), {"flow_m3_h": (0, 0.03), "discharge_pressure_bar": (3, 20)}),
    ("kestrel-ridge", Fault("closed-delivery", DAWN), {"flow_m3_h": (0, 0.03), "discharge_pressure_bar": (2, 9)}),
    ("ochre-pan", Fault("worn-pump", DAWN, None, 0.2), {"flow_m3_h": (0.7, 0.86), "motor_current_a": (0.9, 1.01)}),
    ("kestrel-ridge", Fault("worn-pump", DAWN, None, 0.2), {"flow_m3_h": (0.5, 0.9)}),
    ("ochre-pan", Fault("broken-shaft", DAWN), {"flow_m3_h": (0, 0.01), "motor_current_a": (0.02, 0.2)}),
    ("ochre-pan", Fault("riser-leak", DAWN, None, 0.2, "wall"), {"flow_m3_h": (0.7, 0.85), "motor_current_a": (0.97, 1.03)}),
    ("ochre-pan", Fault("falling-water-level", DAWN, None, 6.0, "resting"), {"water_level_m": (1.08, 1.2), "motor_current_a": (1.02, 1.3)}),
    ("kestrel-ridge", Fault("falling-water-level", DAWN, None, 6.0, "resting"), {"flow_m3_h": (0.7, 0.97)}),
    ("ochre-pan", Fault("falling-water-level", DAWN, None, 5.0, "drawdown"), {"water_level_m": (1.05, 1.2)}),
    ("dustmill", Fault("string-out", DAWN, None, 1.0), {"pv_current_a": (0.4, 0.75)}),
    ("ochre-pan", Fault("cable-fault", DAWN, None, 0.15, "motor"), {"motor_current_a": (0.97, 1.03)}),
    ("ochre-pan", Fault("cable-fault", DAWN, None, 0.15, "array"), {"pv_voltage_v": (0.75, 0.95)}),
    ("ochre-pan", Fault("reverse-rotation", DAWN), {"flow_m3_h": (0, 0.01), "motor_current_a": (0.05, 0.6)}),
    ("kestrel-ridge", Fault("reverse-rotation", DAWN), {"flow_m3_h": (0, 0.5)}),
    ("ochre-pan", Fault("failed-start", DAWN), {"flow_m3_h": (0, 0), "motor_running": (0, 0)}),
    ("ochre-pan", Fault("stalled-motor", DAWN), {"flow_m3_h": (0, 0), "motor_speed_rpm": (0, 0)}),
    ("ochre-pan", Fault("controller-derating", DAWN, None, 50.0), {"controller_temp_c": (1.1, 3), "flow_m3_h": (0.3, 0.95)}),
    ("ochre-pan", Fault("unexplained", DAWN, None, 0.3), {"motor_current_a": (1.15, 1.6)}),
    ("ochre-pan", Fault("sensor-fault", DAWN, None, 0.2, None, "irradiance_w_m2", options={"mode": "under-reading"}), {"irradiance_w_m2": (0.75, 0.85), "flow_m3_h": (1, 1)}),
    ("ochre-pan", Fault("sensor-fault", DAWN, None, 0.0, None, "low_level_probe_wet", options={"mode": "dry"}), {"low_level_probe_wet": (0, 0), "motor_running": (0, 0)}),
]  # fmt: skip


@pytest.mark.parametrize(("name", "fault", "seen"), CASES, ids=[f"{c[1].cause}-{c[1].part}-{c[0]}" for c in CASES])
def test_a_fault_shows_as_it_should(name, fault, seen, helical, centrifugal):
    """The signs that the trade knows each fault by (common practice, no source), by pump kind."""
    season = {"ochre-pan": helical, "kestrel-ridge": centrifugal}.get(name) or live_season(
        site(name), [], START, DAY2, seed=5
    )
    ill = live_season(season.plant.facts, [fault], START, DAY2, seed=season.plant.seed)
    noon = slice(8 * 60 + 30, 9 * 60 + 30)  # before any tank is full
    for channel, (least, most) in seen.items():
        ratio = ill.frame[channel].iloc[noon].mean() / season.frame[channel].iloc[noon].mean()
        assert least <= ratio <= most, (channel, ratio)
    [truth] = ill.truths
    assert (truth.cause, truth.part, truth.channel, truth.began) == (fault.cause, fault.part, fault.channel, DAWN)
    assert truth.ended is None
    assert (truth.size is None) == (CAUSES[fault.cause].quantity is None)


def test_before_a_fault_nothing_differs(helical):
    ill = live_season(helical.plant.facts, [Fault("worn-pump", DAY2, None, 0.2)], START, DAY2, seed=5)
    pd.testing.assert_frame_equal(ill.frame, helical.frame.iloc[:1440].reset_index(drop=True))
    assert ill.truths == []


def test_nothing_wrong_loses_nothing(helical):
    """The twin of a fault without effect delivers what the plant delivered."""
    fault = Fault("clogging", START, None, 0.0)
    there = np.ones(helical.lived.run.flow.shape, bool)
    lost, water = flow_lost(helical.lived, [fault], fault, there)
    assert lost == pytest.approx(0, abs=0.002)
    assert water == pytest.approx(0, abs=0.2)


def test_flow_lost_is_what_the_twin_would_have_given():
    """Against a second route: the healthy plant's own flow looked up at the same power, over the rows not held back."""
    facts = site("ochre-pan")
    fault = Fault("clogging", START, None, 0.25, "delivery")
    ill, well = (live_season(facts, faults, START, END, seed=5) for faults in ([fault], []))
    free = [s.lived.run.input_w > 0.97 * s.plant.control.mppt_share * s.lived.offer.power_w for s in (ill, well)]
    both = [(s.lived.run.input_w[ok], s.lived.run.pumped[ok]) for s, ok in zip((ill, well), free, strict=True)]
    order = np.argsort(both[1][0])
    healthy_flow = np.interp(both[0][0], both[1][0][order], both[1][1][order])
    reach = both[0][0] < both[1][0].max()
    expected = 1 - both[0][1][reach].sum() / healthy_flow[reach].sum()
    assert ill.truths[0].size == pytest.approx(expected, abs=0.03)
    assert ill.truths[0].water_lost_m3 > 0


def test_power_lost_is_measured_under_the_same_sky():
    facts = site("ochre-pan")
    soiled = live_season(facts, [Fault("panel-soiling", START, None, 0.12)], START, DAY2, seed=5).truths[0]
    halved = live_season(facts, [Fault("string-out", START, None, 1.0)], START, DAY2, seed=5).truths[0]
    deeper = live_season(
        facts, [Fault("falling-water-level", START, None, 4.0, "resting")], START, DAY2, seed=5
    ).truths[0]
    assert soiled.size == pytest.approx(0.12, abs=0.01)
    assert halved.size == pytest.approx(0.5, abs=0.01)
    assert deeper.size == pytest.approx(4.0, abs=1e-6)


def test_harmless_things_are_marked_and_have_no_size():
    faults = [Fault("tank-full", START, None, 0.02), Fault("speed-turned-down", START, DAY2, 0.7)]
    season = live_season(site("ochre-pan"), faults, START, END, seed=5)
    assert [t.harmless for t in season.truths] == [True, True]
    assert all(t.size is None for t in season.truths)
    last_day = season.frame.iloc[3 * 1440 :]
    assert last_day["tank_float_up"].mean() > 0.5
    assert season.frame["motor_speed_rpm"].iloc[:1440].max() < 0.75 * season.plant.control.most_rpm


def test_a_fault_in_a_still_night_is_nobody_s_to_find():
    night = Fault("dry-running", START + timedelta(hours=20), START + timedelta(hours=23), 1.0)
    assert live_season(site("ochre-pan"), [night], START, DAY2, seed=5).truths == []


def test_silence_takes_rows_away():
    begins, ends = START + timedelta(hours=6), START + timedelta(hours=12)
    season = live_season(site("quiet-fold"), [Fault("silent", begins, ends)], START, DAY2, seed=3)
    times = season.frame["time"]
    assert not ((times >= begins) & (times < ends)).any()
    assert len(times) == 1440 - 360
    assert 4 < season.truths[0].size <= 6


def test_dirt_does_what_it_says():
    facts = site("quiet-fold")
    clean, _ = make_season(facts, [], START, DAY2, seed=3)
    dirt = Dirt(
        dropped_share=0.1, null_share=0.05, doubled_share=0.05, shuffled_rows=20, register_restart=True, jitter_s=0.4
    )
    dirty, _ = make_season(facts, [], START, DAY2, seed=3, dirt=dirt)
    again, _ = make_season(facts, [], START, DAY2, seed=3, dirt=dirt)
    pd.testing.assert_frame_equal(dirty, again)
    assert 0.85 < dirty["time"].nunique() / len(clean) < 0.95
    assert dirty["time"].duplicated().any()
    assert not dirty["time"].is_monotonic_increasing
    assert 0.03 < dirty["pv_voltage_v"].isna().mean() < 0.07
    assert (dirty.sort_values("time")["volume_m3"].diff() < -1).any()


def test_likeness_sets_what_is_asked_for():
    facts = site("ochre-pan")
    usual = live_season(facts, [], START, DAY2, seed=5, likeness=Likeness(flow=1.0, array=1.0, level_m=0.0))
    weak = live_season(facts, [], START, DAY2, seed=5, likeness=Likeness(flow=0.95, array=1.0, level_m=0.0))
    noon = slice(9 * 60, 10 * 60)
    assert weak.frame["flow_m3_h"].iloc[noon].mean() / usual.frame["flow_m3_h"].iloc[noon].mean() == pytest.approx(
        0.95, abs=0.015
    )


def test_effects_of_two_faults_come_together(helical):
    plant, sky = helical.plant, helical.lived.sky
    faults = [
        Fault("panel-soiling", START, None, 0.1),
        Fault("panel-soiling", START, None, 0.05),
        Fault("broken-shaft", DAY2),
    ]
    effects = effects_of(faults)(plant, sky)
    assert np.max(effects["soil_lost"]) == pytest.approx(0.15)
    assert effects.active("uncoupled")
    assert not effects.without("uncoupled").active("uncoupled")


def test_command_writes_readings_site_and_truth(tmp_path):
    words = [
        "--site",
        str(tmp_path / "site.toml"),
        "--out",
        str(tmp_path / "out"),
        "--days",
        "2",
        "--fault",
        "clogging:0.3:1",
        "--csv",
    ]
    from samples.site_text import site_text

    facts = replace(site("thornwell"), digest="")
    (tmp_path / "site.toml").write_text(site_text(facts))
    assert main(words) == 0
    lines = (tmp_path / "out" / "readings.csv").read_text().splitlines()
    assert lines[0] == ",".join(["time", *facts.sensors.channels])
    assert lines[1].startswith("2025-09-01T00:01:00.000Z,")
    assert len(lines) == 1 + 2 * 1440
    [truth] = json.loads((tmp_path / "out" / "truth.json").read_text())
    assert (truth["cause"], truth["began"], truth["ended"]) == ("clogging", "2025-09-02T00:00:00Z", None)


def test_rows_of_an_unknown_clock_say_so():
    frame, _ = make_season(site("quiet-fold"), [], START, DAY2, seed=3, dirt=Dirt(unsure_hours=2.0))
    unsure = frame["clock"] == "unsure"
    assert 1 <= unsure.sum() <= 120
    assert (frame.loc[unsure, "time"] < START - timedelta(days=28)).all()
    assert (frame.loc[~unsure, "time"] > START).all()


def test_over_voltage_counts_only_what_stood_at_the_terminals():
    """Modules too many: the truth is the highest voltage read while nothing was driven, less the rating."""
    facts = site("ochre-pan")
    frame, [truth] = make_season(facts, [Fault("over-voltage", START, None, 3.2)], START, END, seed=5)
    above = frame["pv_voltage_v"].max() - facts.controller.max_input_voltage_v
    assert above > 0
    assert truth.size == pytest.approx(above, abs=4.0)
    assert (frame.loc[frame["pv_voltage_v"] > facts.controller.max_input_voltage_v + 3, "motor_running"] == 0).all()


def test_a_ramp_that_ends_as_it_begins_is_never_there():
    when = datetime(2026, 1, 1, tzinfo=UTC)
    at = np.array([when.timestamp() - 1.0, when.timestamp(), when.timestamp() + 9.0])
    assert weight(Fault("panel-soiling", when, when, 0.1, shape="ramp"), at).tolist() == [0.0, 0.0, 0.0]
