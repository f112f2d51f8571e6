"""What the board judges itself: within a minute, by the contract's names, and nothing where all is well."""

import json
import random
from dataclasses import replace
from pathlib import Path

import pytest

from logger.alerts import AGAIN_S, CLEAR_S, Alerts, as_senml
from logger.daylight import sun_elevation_deg
from logger.health import Health, SourceCare
from logger.record.causes import CAUSES
from logger.running import Sample, driven, driven_since_s, expected_at, power_w
from logger.settings_tables import Expected, PumpFacts
from logger.urgent import CHECKS, Verdict, judge

FACTS = PumpFacts(
    start_delay_s=30,
    meter_step_m3=0.01,
    pressure_max_bar=6.0,
    voltage_max_v=400.0,
    expected=(
        Expected(400.0, 1.2, 3.0, 1.0),
        Expected(1200.0, 4.8, 6.0, 1.4),
    ),
)
HEALTHY = {
    "input_power_w": 800.0, "flow_m3_h": 3.0, "motor_current_a": 4.5, "motor_running": 1.0, "motor_speed_rpm": 2000.0,
    "discharge_pressure_bar": 1.2, "low_level_probe_wet": 1.0, "fault_code": 0.0, "pv_voltage_v": 210.0,
}  # fmt: skip


def history(seconds: int, each_s: float = 5.0, **changed) -> list[Sample]:
    """A pump that was off, runs healthily for five minutes, then shows what is `changed` for some time."""
    off = HEALTHY | {
        "input_power_w": 5.0,
        "flow_m3_h": 0.0,
        "motor_current_a": 0.0,
        "motor_running": 0.0,
        "motor_speed_rpm": 0.0,
    }
    made, at_s = [], 0.0
    for values, span_s in ((off, 60), (HEALTHY, 300), (HEALTHY | changed, seconds)):
        ends = at_s + span_s
        while at_s < ends:
            made.append(Sample(at_s, {name: value for name, value in values.items() if value != "absent"}))
            at_s += each_s
    return made


def so(samples, facts=FACTS) -> dict[str, Verdict]:
    return {verdict.cause: verdict for verdict in judge(samples, facts) if verdict.is_so}


CASES = [
    ("dry-running", {"flow_m3_h": 0.0, "motor_current_a": 1.8, "low_level_probe_wet": 0.0}),
    ("dry-running", {"flow_m3_h": 0.0, "motor_current_a": 1.8, "low_level_probe_wet": "absent"}),
    ("broken-shaft", {"flow_m3_h": 0.0, "motor_current_a": 1.8}),
    ("closed-delivery", {"flow_m3_h": 0.0, "motor_current_a": 6.5}),
    ("closed-delivery", {"flow_m3_h": 0.0, "discharge_pressure_bar": 4.0}),
    ("closed-delivery", {"discharge_pressure_bar": 6.5, "flow_m3_h": "absent"}),
    ("sensor-fault", {"low_level_probe_wet": 0.0}),
    ("stalled-motor", {"motor_speed_rpm": 0.0, "motor_current_a": 9.0, "flow_m3_h": "absent"}),
    ("controller-trip", {"fault_code": 17.0}),
    ("over-voltage", {"pv_voltage_v": 431.0}),
]


@pytest.mark.parametrize(("cause", "changed"), CASES)
@pytest.mark.parametrize("each_s", [1.0, 5.0, 15.0])
def test_each_is_named_within_a_minute_and_not_at_the_first_reading(cause, changed, each_s):
    assert cause not in so(history(10, each_s, **changed))
    found = so(history(60, each_s, **changed))
    assert cause in found
    assert found[cause].check == CHECKS[cause]
    assert found[cause].evidence


def test_names_are_the_contracts_and_what_is_urgent_says_how_to_be_safe():
    assert set(CHECKS) <= set(CAUSES)
    for cause, check in CHECKS.items():
        if CAUSES[cause].urgent:
            assert "Switch the pump off at its own switch: the logger cannot stop it." in check


def test_no_figure_of_the_logger_waits_for_data():
    """A constant that does is marked; none is left."""
    folder = Path(__file__).parents[2] / "logger"
    assert [path.name for path in folder.rglob("*.py") if "PLACEHOLDER" in path.read_text()] == []


def test_a_dim_minute_before_says_nothing_of_the_bright_one_after():
    """Where only the meter tells, the steps that are due count from where something is due."""
    dim = [
        Sample(5.0 * number, {"input_power_w": 150.0, "motor_running": 1.0, "volume_m3": 100.0}) for number in range(40)
    ]
    bright = [replace(one, at_s=one.at_s + 200, values=one.values | {"input_power_w": 800.0}) for one in dim]
    assert so(dim) == {}
    assert so(dim + bright[:8]) == {}
    assert "dry-running" in so(dim + bright[:12]), "3 m3/h are 40 L in 48 s, three steps of 10 L"


QUIET = {
    "night": {
        "input_power_w": 0.0,
        "flow_m3_h": 0.0,
        "motor_current_a": 0.0,
        "motor_running": 0.0,
        "motor_speed_rpm": 0.0,
    },
    "dusk: driven, too slow to lift": {"input_power_w": 150.0, "flow_m3_h": 0.0, "motor_current_a": 1.0},
    "switched off": {"motor_running": 0.0, "flow_m3_h": 0.0, "motor_current_a": 0.0},
    "dry and stopped as it should": {
        "motor_running": 0.0,
        "flow_m3_h": 0.0,
        "motor_current_a": 0.0,
        "low_level_probe_wet": 0.0,
    },
    "half the flow": {"flow_m3_h": 1.5},
    "nothing can be read": dict.fromkeys(HEALTHY),
    "no flow meter fitted": {"flow_m3_h": "absent"},
    "healthy": {},
}


@pytest.mark.parametrize("changed", QUIET.values(), ids=QUIET)
def test_where_all_is_well_or_nobody_can_tell_nothing_is_said(changed):
    for seconds in range(5, 400, 5):
        assert so(history(seconds, **changed)) == {}


def test_a_start_has_its_delay():
    off = history(0)[:12]
    started = [Sample(60.0 + 5 * number, HEALTHY | {"flow_m3_h": 0.0, "motor_current_a": 2.0}) for number in range(15)]
    assert so(off + started) == {}


def metered(seconds: int, stands_after_s: float) -> list[Sample]:
    made = []
    for at_s in range(0, seconds, 5):
        litres = 3000 / 3600 * min(at_s, stands_after_s)
        values = {"input_power_w": 800.0, "motor_running": 1.0, "volume_m3": 100 + litres // 100 / 10}
        made.append(Sample(float(at_s), values))
    return made


def test_where_only_a_coarse_meter_tells_three_expected_steps_decide():
    """100 L steps at 3 m3/h are 2 minutes apart: six minutes."""
    facts = PumpFacts(start_delay_s=30, meter_step_m3=0.1, expected=FACTS.expected)
    assert "dry-running" not in so(metered(600 + 300, 600), facts)
    assert "dry-running" in so(metered(600 + 500, 600), facts)
    assert so(metered(2000, 1e9), facts) == {}
    found = so(metered(600 + 500, 600), facts)["dry-running"]
    assert "the meter stood still for" in found.evidence


@pytest.mark.parametrize("seed", range(50))
def test_whatever_is_missing_it_never_fails_and_is_the_same_again(seed):
    rng = random.Random(seed)
    samples = []
    for number in range(rng.randint(0, 60)):
        values = {
            name: rng.choice([None, 0.0, 1.0, value, value * 3])
            for name, value in HEALTHY.items()
            if rng.random() < 0.8
        }
        samples.append(Sample(number * rng.uniform(1, 9), values))
    samples.sort(key=lambda one: one.at_s)
    facts = rng.choice([FACTS, PumpFacts(), PumpFacts(expected=FACTS.expected[:1])])
    assert judge(samples, facts) == judge(list(samples), facts)


def test_what_drives_and_what_is_expected():
    assert driven({"motor_running": 0.0, "motor_current_a": 9.0}, FACTS) is False
    assert driven({"motor_current_a": 9.0}, FACTS) is True
    assert driven({"pv_voltage_v": 200.0, "pv_current_a": 0.1}, FACTS) is False
    assert driven({}, FACTS) is None
    assert power_w({"pv_voltage_v": 200.0, "pv_current_a": 2.0}) == 400.0
    assert expected_at(800.0, FACTS, "flow_m3_h") == pytest.approx(3.0)
    assert expected_at(2000.0, FACTS, "flow_m3_h") == pytest.approx(4.8), "no further than the table goes"
    assert expected_at(300.0, FACTS, "flow_m3_h") is None
    assert expected_at(None, FACTS, "flow_m3_h") is None
    gap = [Sample(0.0, {"motor_running": 1.0}), Sample(5.0, {}), Sample(9.0, {"motor_running": 1.0})]
    assert driven_since_s(gap, FACTS) == 0.0


SO, NOT_SO = Verdict("dry-running", True, "evidence", "check"), Verdict("dry-running", False)


def states(alerts: Alerts, verdicts, from_s: int, until_s: int, each_s: int = 10) -> list[str]:
    return [told.state for at_s in range(from_s, until_s, each_s) for told in alerts.take(verdicts, at_s, at_s * 1000)]


def test_told_once_one_reminder_and_an_all_clear():
    alerts = Alerts(remind_after_s=3600)
    assert states(alerts, [SO], 0, 20_000) == ["raised", "reminded"]
    assert states(alerts, [NOT_SO], 20_000, 20_000 + int(CLEAR_S)) == []
    assert states(alerts, [NOT_SO], 20_000 + int(CLEAR_S), 30_000) == ["cleared"]
    assert alerts.standing == {}


def test_a_condition_that_comes_and_goes_makes_no_flood():
    alerts = Alerts()
    told = []
    for turn in range(500):
        verdict = SO if turn // 15 % 2 == 0 else NOT_SO
        told += alerts.take([verdict], turn * 10, turn * 10_000)
    assert len(told) <= 2 * (5000 / (AGAIN_S + CLEAR_S) + 1)
    assert alerts.suppressed > 0


def test_what_nobody_can_tell_any_more_ends_after_hours():
    alerts = Alerts()
    assert states(alerts, [SO], 0, 10) == ["raised"]
    assert states(alerts, [], 10, 7 * 3600) == ["cleared"]


def test_the_message_is_senml_with_one_record_that_names_a_cause():
    (told,) = Alerts().take([SO], 5.0, 1_763_000_000_500)
    records = json.loads(as_senml("north-kraal", told))
    assert records == [
        {"bn": "wellhand/north-kraal/", "bt": 1_763_000_000.5, "n": "cause", "vs": "dry-running"},
        {"n": "state", "vs": "raised"},
        {"n": "evidence", "vs": "evidence"},
        {"n": "check", "vs": "check"},
        {"n": "since", "u": "s", "v": 1_763_000_000.5},
    ]


@pytest.mark.parametrize(
    ("time_ms", "latitude", "longitude", "elevation", "why"),
    [
        (1_774_008_000_000, 0.0, 0.0, 88.0, "equinox of March 2026, 12:00 UTC, on the equator"),
        (1_781_956_800_000, 23.44, 0.0, 89.5, "solstice of June 2026, 12:00 UTC, tropic of Cancer"),
        (1_781_956_800_000, -66.6, 0.0, 0.0, "the same noon at the Antarctic circle: on the horizon"),
        (1_773_964_800_000, 0.0, 0.0, -88.0, "midnight of the equinox"),
    ],
)
def test_the_sun_stands_where_geometry_says(time_ms, latitude, longitude, elevation, why):
    """Right by geometry alone: at an equinox over the equator, at a solstice over a tropic."""
    assert sun_elevation_deg(time_ms, latitude, longitude) == pytest.approx(elevation, abs=2.0), why


def test_a_silent_source_is_told_by_day_and_not_by_night():
    from logger.clock import Stamp  # noqa: PLC0415
    from logger.watchman import Watchman  # noqa: PLC0415

    for noon_ms, expected in ((1_774_008_000_000, ["silent"]), (1_773_964_800_000, [])):
        health = Health("0", "d", None, None, None, None)  # type: ignore[arg-type] - only its sources are asked
        health.sources["drive"] = SourceCare(
            failed_since_ms=noon_ms, failed_in_a_row=20, last_trouble="drive: nothing heard"
        )
        sent: list[bytes] = []
        man = Watchman(
            "north-kraal",
            PumpFacts(latitude_deg=0.0, longitude_deg=0.0),
            health,
            lambda one, sent=sent: sent.append(one) or 1,
        )
        for second in range(0, 120, 5):
            man.see(Stamp(noon_ms + second * 1000, second * 1000, "good"), {"pv_voltage_v": None})
        assert [json.loads(one)[0]["vs"] for one in sent] == expected


def test_water_today_starts_at_midnight_there_and_outlives_a_meter_that_starts_anew():
    from logger.clock import Stamp  # noqa: PLC0415
    from logger.watchman import Watchman  # noqa: PLC0415

    health = Health("0", "d", None, None, None, None)  # type: ignore[arg-type]
    man = Watchman("north-kraal", PumpFacts(longitude_deg=24.0), health, lambda _one: 1)
    day_ms = 1_763_078_400_000 - 24 * 240_000  # midnight there
    for hour, volume in ((-1, 90.0), (1, 100.0), (5, 103.0), (6, 0.5), (9, 2.0)):
        man.see(
            Stamp(day_ms + hour * 3_600_000, hour * 3_600_000 + 10**8, "good"),
            {"volume_m3": volume, "motor_running": 1.0},
        )
    assert man.state_text() == "north-kraal: pump running. water today 4.5 m3. nothing urgent"
