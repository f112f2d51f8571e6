"""What people are told to do is safe for the pump they stand at, names the sensor meant, and says what would tell two causes apart."""

import re
from dataclasses import replace
from itertools import combinations

import pytest

from analysis.causes.registry import CENTRIFUGAL, HELICAL, all_causes
from analysis.life import as_finding
from analysis.memory import Case
from analysis.plant import plant_of
from analysis.sensor_checks import ANY, CHECKS
from analysis.telling_apart import NAME, PAIRS, what_would_tell
from analysis.what_to_check import check_of
from logger.record.causes import CAUSES
from logger.record.channels import CHANNELS
from logger.record.site_facts import SiteFacts
from tests.cases.recorded import case_folders, read_case

KINDS = (HELICAL, CENTRIFUGAL)
NAMES = sorted(CAUSES)
SHUTS = re.compile(r"\b(shut|close|throttle)\b (a|the|every|its) [^.;]*\bvalves?\b", re.IGNORECASE)
NEVER = re.compile(r"\b(never|nobody|no|not|without|licensed)\b", re.IGNORECASE)
FOR_THE_LICENSED = re.compile(
    r"\b(open (the|its) box|isolate|unplug|pull (a|the) plug|exchange two|insulation|windings|lift the pump|clamp|terminals?)\b",
    re.IGNORECASE,
)
LIVE = re.compile(
    r"\b(leads|windings|insulation|string|cable|lift the pump|probe|float(?! valve)|motor current)\b", re.IGNORECASE
)


def sentences(*texts: str) -> list[str]:
    return [one for text in texts for one in re.split(r"(?<=[.:;])\s+", text) if one]


def told(name: str, kind: str) -> list[str]:
    """All that anybody is told about a cause at a pump of this kind."""
    file, page = all_causes()[name], all_causes()[name].advice_at(kind)
    checks = [file.check_at(kind), file.check_at(kind, unread=True), *(CHECKS.values() if file.check_channel else ())]
    apart = [what_would_tell(name, rival, kind) for rival in NAMES if rival != name]
    return sentences(*checks, *apart, *page.own, *page.technician, *page.cautions)


@pytest.mark.parametrize("name", NAMES)
def test_nobody_is_told_to_shut_a_helical_rotor_in(name: str) -> None:
    """It is a displacement pump: against a shut valve the pressure rises until something gives."""
    for said in told(name, HELICAL):
        assert not SHUTS.search(said) or re.search(r"\bnever\b", said, re.IGNORECASE), said


@pytest.mark.parametrize("name", NAMES)
def test_a_valve_is_shut_only_at_a_pump_that_cannot_start(name: str) -> None:
    for said in told(name, CENTRIFUGAL):
        assert not SHUTS.search(said) or re.search(r"\bnever\b|locked", said, re.IGNORECASE), said


def test_the_rule_notices_what_it_is_for() -> None:
    assert SHUTS.search(
        "then shut the valve at the wellhead for a few seconds only if the installer's manual allows it"
    )
    assert FOR_THE_LICENSED.search("Isolate the array and measure.")


def test_wear_is_looked_for_by_bucket_speed_and_level_at_a_helical_rotor() -> None:
    check = all_causes()["worn-pump"].check_at(HELICAL)
    assert all(word in check for word in ("bucket", "speed", "level", "Never shut a valve"))
    assert check != all_causes()["worn-pump"].check_at(CENTRIFUGAL)


def test_what_bursts_is_said_first_at_the_pump_that_bursts_it() -> None:
    file = all_causes()["closed-delivery"]
    assert "bursts" in sentences(file.check_at(HELICAL))[1]
    assert "bursts" in file.advice_at(HELICAL).cautions[0]
    assert "burst" not in file.check_at(CENTRIFUGAL)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("name", NAMES)
def test_who_lives_with_the_pump_is_asked_for_nothing_that_needs_a_licence(name: str, kind: str) -> None:
    file = all_causes()[name]
    for said in sentences(file.check_at(kind), file.check_at(kind, unread=True), *file.advice_at(kind).own):
        assert not FOR_THE_LICENSED.search(said) or NEVER.search(said), said


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("name", NAMES)
def test_work_on_what_is_live_has_its_caution(name: str, kind: str) -> None:
    page = all_causes()[name].advice_at(kind)
    if LIVE.search(" ".join(page.technician)):
        assert re.search(r"licensed|isolat|live|voltage", " ".join(page.cautions)), page.cautions


@pytest.mark.parametrize("channel", sorted(CHANNELS))
def test_each_channel_has_a_check_of_its_own(channel: str) -> None:
    check = all_causes()["sensor-fault"].check_at(HELICAL, channel)
    assert check != ANY
    assert check.endswith(".")
    others = {"volume_m3": ("dip",), "flow_m3_h": ("dip",), "low_level_probe_wet": ("bucket of known volume", "gauge")}
    assert not any(word in check for word in others.get(channel, ("bucket",)))


def test_the_probe_is_called_what_it_is_and_an_unknown_channel_any_sensor() -> None:
    file = all_causes()["sensor-fault"]
    assert "no guard against running dry" in file.check_at(HELICAL, "low_level_probe_wet")
    assert file.check_at(HELICAL) == ANY


def test_pairs_are_of_known_causes_and_said_once_for_each_kind() -> None:
    assert list(NAME) == list(CAUSES)
    seen = set()
    for pair in PAIRS:
        assert {pair.one, pair.other} <= set(CAUSES)
        assert pair.one != pair.other
        assert pair.says_one != pair.says_other
        for kind in KINDS if pair.kind is None else (pair.kind,):
            key = (frozenset((pair.one, pair.other)), kind)
            assert key not in seen, key
            seen.add(key)


@pytest.mark.parametrize("kind", KINDS)
def test_a_pair_means_the_same_from_either_side(kind: str) -> None:
    for one, other in combinations(NAMES, 2):
        said = what_would_tell(one, other, kind)
        assert said == what_would_tell(other, one, kind)
        assert not said or (NAME[one] in said and NAME[other] in said), said


def site_of(kind: str) -> SiteFacts:
    return next(facts for folder in case_folders() if (facts := read_case(folder)[0]).pump.kind == kind)


def rivals_by_their_grounds(kind: str) -> set[tuple[str, str]]:
    """Pairs that are weighed against each other: by the same symptom, or by the same group of the day's figures."""
    by_ground: dict[str, set[str]] = {}
    for name, file in all_causes().items():
        grounds = {symptom.partition("/")[0] for symptom in (file.levels(kind) if file.levels else ())}
        grounds |= {effect.group for effect in (file.effect(plant_of(site_of(kind))) if file.effect else ())}
        for ground in grounds if name != "unexplained" else ():  # nobody can measure what is not known
            by_ground.setdefault(ground, set()).add(name)
    return {pair for causes in by_ground.values() for pair in combinations(sorted(causes), 2)}


@pytest.mark.parametrize("kind", KINDS)
def test_all_causes_that_are_weighed_together_can_be_told_apart_on_site(kind: str) -> None:
    missing = sorted(pair for pair in rivals_by_their_grounds(kind) if not what_would_tell(*pair, kind))
    assert not missing


@pytest.mark.parametrize("kind", KINDS)
def test_a_rival_that_may_well_be_it_adds_its_measurement_and_a_faint_one_none(kind: str) -> None:
    own = all_causes()["riser-leak"].check_at(kind)
    assert check_of("riser-leak", kind, None, False, {"worn-pump": 0.1}) == own
    near = check_of("riser-leak", kind, None, False, {"worn-pump": 0.2})
    assert near == f"{own} {what_would_tell('riser-leak', 'worn-pump', kind)}"
    many = check_of("riser-leak", kind, None, False, {"worn-pump": 0.2, "clogging": 0.21, "sensor-fault": 0.25})
    assert many.startswith(f"{own} {what_would_tell('riser-leak', 'sensor-fault', kind)}")
    assert what_would_tell("riser-leak", "worn-pump", kind) not in many


def test_a_finding_says_which_measurement_would_tell() -> None:
    facts = site_of(HELICAL)
    case = Case("slow-hydraulic", "worn-pump", "worn-pump", 0, 1, 0, 0, confidence=0.5, rivals={"riser-leak": 0.45})
    assert what_would_tell("worn-pump", "riser-leak", HELICAL) in as_finding(facts, case).check
    sure = replace(case, confidence=0.98, rivals={"riser-leak": 0.02})
    assert as_finding(facts, sure).check == all_causes()["worn-pump"].check_at(HELICAL)
