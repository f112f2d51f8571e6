"""What people are told to do is safe for the pump they stand at, names the sensor meant, and says what would tell two causes apart."""

import re
from dataclasses import replace
from itertools import combinations

import pytest

from analysis.causes.registry import CENTRIFUGAL, HELICAL, NO_CLIMBING, all_causes, beware
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
    return sentences(*checks, *apart, *page.own, *page.technician, *(one.said for one in page.cautions))


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
    assert "bursts" in file.advice_at(HELICAL).cautions[0].said
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
        assert re.search(r"licensed|isolat|live|voltage", " ".join(one.said for one in page.cautions)), page.cautions


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("name", NAMES)
def test_who_is_sent_to_the_tank_is_told_not_to_climb_in(name: str, kind: str) -> None:
    """To look at its float or inlet; a bucket is filled at its foot."""
    page = all_causes()[name].advice_at(kind)
    if re.search(r"\bfloat\b|tank's (inlet|float)", " ".join(page.own)):
        assert NO_CLIMBING in page.cautions


def test_the_shut_rotor_s_gauge_is_waited_for() -> None:
    own = " ".join(all_causes()["closed-delivery"].advice_at(HELICAL).own)
    assert own.index("gauge fallen") < own.index("open every valve")


def test_a_caution_names_a_danger_that_there_are_words_for() -> None:
    for wrong in ((), ("dragons",)):
        with pytest.raises(ValueError, match="a caution names some of"):
            beware("Mind it.", *wrong)


@pytest.mark.parametrize("motor", [None, "permanent-magnet", "induction", "brushed-dc"])
@pytest.mark.parametrize("kind", KINDS)
def test_a_motor_has_the_leads_that_its_kind_has(kind: str, motor: str | None) -> None:
    for name in NAMES:
        apart = [what_would_tell(name, rival, kind, motor) for rival in NAMES]
        said = " ".join([*all_causes()[name].advice_at(kind, motor).technician, *apart])
        assert "{" not in said
        assert "three" not in said or motor in ("permanent-magnet", "induction")
        assert "two leads" not in said or motor == "brushed-dc"
        assert "brushes" not in said or motor == "brushed-dc"
    assert (
        "exchange the motor's two leads" in all_causes()["reverse-rotation"].advice_at(kind, "brushed-dc").technician[0]
    )
    assert "brushes" in " ".join(all_causes()["stalled-motor"].advice_at(kind, "brushed-dc").technician)


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
    near = check_of("riser-leak", kind, None, False, {"falling-water-level": 0.2})
    assert near == f"{own} {what_would_tell('riser-leak', 'falling-water-level', kind)}"
    many = check_of("riser-leak", kind, None, False, {"cable-fault": 0.2, "clogging": 0.21, "sensor-fault": 0.25})
    assert many.startswith(f"{own} {what_would_tell('riser-leak', 'sensor-fault', kind)}")
    assert what_would_tell("riser-leak", "cable-fault", kind) not in many


@pytest.mark.parametrize("kind", KINDS)
def test_the_same_measurement_is_asked_for_once(kind: str) -> None:
    """By the cause's own check and its rivals', or by two rivals'."""
    for name, file in all_causes().items():
        for rivals in combinations([rival for rival in NAMES if rival != name], 2):
            check = check_of(name, kind, None, False, dict.fromkeys(rivals, 0.4))
            looks = [pair.look for pair in PAIRS if pair.look in check]
            assert all(check.count(look) == 1 for look in looks), check
            assert all(check.count(NAME[rival]) for rival in rivals if what_would_tell(name, rival, kind)), check
            assert check.startswith(file.check_at(kind))
    dipped = check_of("falling-water-level", kind, None, False, {"clogging": 0.4, "worn-pump": 0.3})
    assert dipped.count("dipped") == dipped.count("sunrise") == 1
    assert "A level deeper than the driller's log speaks for a fallen water level" in dipped
    heard = check_of("riser-leak", kind, None, False, {"worn-pump": 0.2})
    assert heard.count("isten") == 1
    assert "Water heard running back speaks for a leak, silence for a worn pump." in heard


def test_a_finding_says_which_measurement_would_tell() -> None:
    facts = site_of(HELICAL)
    case = Case("slow-hydraulic", "worn-pump", "worn-pump", 0, 1, 0, 0, confidence=0.5, rivals={"riser-leak": 0.45})
    assert what_would_tell("worn-pump", "riser-leak", HELICAL) in as_finding(facts, case).check
    shaft = replace(case, cause="broken-shaft", rivals={"reverse-rotation": 0.45})
    brushed = replace(facts, motor=replace(facts.motor, kind="brushed-dc"))
    assert "exchange the motor's two leads" in as_finding(brushed, shaft).check
    sure = replace(case, confidence=0.98, rivals={"riser-leak": 0.02})
    assert as_finding(facts, sure).check == all_causes()["worn-pump"].check_at(HELICAL)
