"""Evidence says what speaks for the cause and nothing that speaks against it; sizes, hours and units are told as they are."""

from io import StringIO

import numpy as np
import pytest
from rich.console import Console

from analysis.causes.registry import all_causes
from analysis.diagnosis import Verdict, weigh_levels
from analysis.flow_lost import interval_of
from analysis.life import as_finding
from analysis.lying import told_by_another
from analysis.memory import Case, Memory
from analysis.plant import plant_of
from analysis.review_words import finding_words
from analysis.sensor_words import sentence
from analysis.shade_hours import local_time
from analysis.slow import slow_bench
from analysis.solar_days import DAY_MS, SolarDays
from tests.cases.recorded import case_folders, read_case

FACTS = read_case(case_folders()[0])[0]
DAY = 20_000


def case_of(cause: str, **more) -> Case:
    at = DAY * DAY_MS
    return Case("slow-hydraulic", cause, cause, at, 1, at, at, confidence=0.8, **more)


@pytest.mark.parametrize("late", [0.0, -0.02, -0.2, 0.04])
def test_a_column_that_stands_is_no_sign_of_a_hole_in_it(late: float) -> None:
    figures = {"size": 0.2, "shift_first": late}
    said = all_causes()["riser-leak"].evidence(figures)
    assert "volumes" not in said
    assert as_finding(FACTS, case_of("riser-leak", part="wall", figures=figures)).part is None


@pytest.mark.parametrize("seen", [{"shift_first": 0.8}, {"shift_stand": 0.6}])
def test_a_column_that_drains_is_said_and_names_the_part(seen: dict[str, float]) -> None:
    said = all_causes()["riser-leak"].evidence({"size": 0.2, **seen})
    assert "short by 0.8 volumes" in said or "falls at rest" in said
    assert as_finding(FACTS, case_of("riser-leak", part="wall", figures={"size": 0.2, **seen})).part == "wall"


def test_hours_within_a_day_do_not_claim_all_speeds() -> None:
    assert "all speeds" not in all_causes()["riser-leak"].evidence({"size": 0.9, "flow": 0.1})


def test_nothing_lost_is_not_told_as_so_many_per_cent() -> None:
    assert "0 %" not in all_causes()["clogging"].evidence({"size": 0.0})
    said = sentence({"amount": 0.001, "shift_i0": 0.1}, "motor_current_a", "")
    assert "0 %" not in said
    assert "124 % too much" in sentence({"amount": float(np.log(2.24)), "shift_i0": 0.8}, "motor_current_a", "")


def test_the_hours_of_a_shade_are_named_by_the_clock_of_the_site() -> None:
    bench = slow_bench(plant_of(FACTS))
    form = bench.causes.index("shading")
    said = as_finding(FACTS, case_of("shading", weighed={"form": float(form)}, evidence="It is dark.")).evidence
    assert said.startswith("It is dark. By the clock at the site that is from about ")
    assert (
        as_finding(FACTS, case_of("panel-soiling", weighed={"form": 0.0}, evidence="It is dusty.")).evidence
        == "It is dusty."
    )


def test_the_clock_of_the_site_knows_its_summer() -> None:
    days = SolarDays(52.0, 15.0, "Europe/Warsaw")
    summer, winter = (
        int((np.datetime64(day) - np.datetime64("1970-01-01")).astype(int)) for day in ("2025-07-01", "2025-01-01")
    )
    assert local_time(days, winter, 6) == "12:00"
    assert local_time(days, summer, 6) == "13:00"
    assert local_time(days, winter, 9) == "15:00"


def test_an_interval_of_what_is_there_does_not_reach_nothing() -> None:
    value, low, high = interval_of(np.array([0.3, 0.28, 0.35, 0.27]), 0.15)
    assert 0.0 < low < value < high
    assert low < 0.5 * value, "as open as it was"
    assert interval_of(np.zeros(3), 0.1)[1] == 0.0


def test_a_liar_that_counts_wrongly_loses_no_water() -> None:
    assert as_finding(FACTS, case_of("sensor-fault", channel="volume_m3", water_lost_m3=600.0)).water_lost_m3 is None
    assert as_finding(FACTS, case_of("worn-pump", water_lost_m3=600.0)).water_lost_m3 == 600.0


LIFTS = {
    "torque": 0.0,
    "lead": 0.0,
    "backwards": 0.0,
    "onset": 1.0,
    "fell": 0.0,
    "revived": 0.9,
    "ran": 4.0,
    "probe": 1.0,
}


@pytest.mark.parametrize("kind", ["helical-rotor", "multistage-centrifugal"])
@pytest.mark.parametrize("share", [0.1, 0.01])
def test_a_decimal_point_is_the_meter(share: float, kind: str) -> None:
    shares = weigh_levels("no-water", kind, LIFTS | {"flow": share, "before": share}).shares
    assert shares["sensor-fault"] > 0.7, shares


@pytest.mark.parametrize("flow", [0.0, 0.05])
def test_a_hole_that_takes_nearly_all_is_none(flow: float) -> None:
    """Water came as ever until it opened; what still comes is no tenth."""
    shares = weigh_levels(
        "no-water", "helical-rotor", LIFTS | {"torque": -0.05, "flow": flow, "before": 0.6, "drawn": 1.2, "pipe": 0.05}
    ).shares
    assert max(shares, key=lambda name: shares[name]) == "riser-leak", shares


def test_one_channel_that_lies_is_one_finding() -> None:
    bench, memory = slow_bench(plant_of(FACTS)), Memory()
    form = next(k for k, effect in enumerate(bench.effects) if bench.causes[k] == "sensor-fault" and effect.channel)
    told = case_of("sensor-fault", channel=bench.effects[form].channel)
    second = case_of("riser-leak")
    memory.cases = [told, second]
    verdict = Verdict({"sensor-fault": 0.9, "riser-leak": 0.1}, form)
    assert told_by_another(bench, memory, second, verdict)
    assert not told_by_another(bench, memory, told, verdict)
    told.ended_ms = told.seen_ms
    assert not told_by_another(bench, memory, second, verdict)


def test_times_in_words_say_by_which_clock() -> None:
    text = StringIO()
    Console(file=text, width=200).print(finding_words(as_finding(FACTS, case_of("clogging")), "Asia/Kolkata"))
    assert "2024-10-04 05:30 IST" in text.getvalue()
