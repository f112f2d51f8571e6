"""One list of promises, run over every registered cause and over the engine with each odd input."""

import ast
import inspect
import tomllib
from functools import cache
from pathlib import Path

import numpy as np
import pytest

import analysis.causes
from analysis.causes.registry import CauseFile, all_causes
from analysis.diagnosis import weigh_levels
from analysis.estimates.vector import SIZE
from analysis.pipeline import advance, begin
from analysis.plant import plant_of
from analysis.rows import Rows, no_rows
from analysis.symptoms import DayView
from logger.record.causes import CAUSES
from tests.cases.recorded import LOOK_ALIKES, case_folders, read_case, told_of

KINDS = ("helical-rotor", "multistage-centrifugal")
NAMES = sorted(CAUSES)


@cache
def site():
    """A recorded site of each kind: facts and a day of its rows."""
    facts, rows, _ = read_case(case_folders()[0])
    return facts, rows.take(rows.time_ms <= rows.time_ms[0] + 86_400_000)


def file_of(name: str) -> CauseFile:
    return all_causes()[name]


def test_every_cause_of_the_contract_has_its_file_and_no_other() -> None:
    assert list(all_causes()) == list(CAUSES)
    modules = {path.stem for path in Path(analysis.causes.__path__[0]).glob("*.py")} - {"__init__", "registry"}
    assert modules == {name.replace("-", "_") for name in CAUSES}


@pytest.mark.parametrize("name", NAMES)
def test_page_of_advice(name: str) -> None:
    """Both lists, a caution, a first check; in plain sentences."""
    file = file_of(name)
    for text in (file.check, *file.advice.own, *file.advice.technician, *(one.said for one in file.advice.cautions)):
        assert text.strip().endswith("."), text
    assert file.advice.own
    assert file.advice.technician
    assert file.advice.cautions
    assert file.per_year > 0


@pytest.mark.parametrize("name", NAMES)
def test_evidence_reads_well_without_figures(name: str) -> None:
    assert file_of(name).evidence({}).strip().endswith(".")


@pytest.mark.parametrize("name", [n for n in NAMES if n in all_causes() and all_causes()[n].effect])
def test_effects_are_of_one_length_and_move_something(name: str) -> None:
    plant = plant_of(site()[0])
    effects = file_of(name).effect(plant)
    assert effects
    for effect in effects:
        assert effect.direction.shape == (SIZE,)
        assert np.isfinite(effect.direction).all()
        assert np.abs(effect.direction).max() > 0
        assert 0 < effect.least < effect.most
        assert effect.part is None or effect.part in CAUSES[name].parts


FULL, MIDDLE, LEAN = "full", "middle", "lean"
ELSEWHERE = {"water", "above", "pipe", "probe", "drawn", "backwards", "code"}
"""Measures of a no-water symptom that ask for more than power, speed, current and meter."""
BY_CURRENT = {"torque", "current", "idle", "idle_current"}
READ = {FULL: lambda _: True, MIDDLE: lambda m: m not in ELSEWHERE, LEAN: lambda m: m not in ELSEWHERE | BY_CURRENT}
NO_WATER = {"dry-running", "closed-delivery", "broken-shaft", "sensor-fault", "riser-leak", "reverse-rotation"}
ALIKE = {
    (MIDDLE, "reverse-rotation"): {"dry-running", "closed-delivery", "broken-shaft"},
    **{(LEAN, name): NO_WATER - {name} for name in NO_WATER},
    (LEAN, "cable-fault"): {"stalled-motor"},
    (MIDDLE, "no-water/riser parted"): {"dry-running", "reverse-rotation", "closed-delivery"},
    **{(fit, "not-turning/locked out"): {"failed-start"} for fit in (FULL, MIDDLE, LEAN)},
    **{(fit, "not-turning/with a code"): {"stalled-motor"} for fit in (FULL, MIDDLE, LEAN)},
    **{(fit, "not-turning/gives up"): {"stalled-motor"} for fit in (FULL, MIDDLE, LEAN)},
}
"""What these sensors cannot tell from a cause: without load, level and pressure no water is no water."""
CLEAR, DOUBT = 0.7, 0.1


@pytest.mark.parametrize("fitout", [FULL, MIDDLE, LEAN])
@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("name", [n for n in NAMES if n in all_causes() and all_causes()[n].levels])
def test_a_fast_cause_wins_where_its_own_levels_are_read(name: str, kind: str, fitout: str) -> None:
    """Where the sensors can tell it, the middle of what a cause says is that cause, clearly; where not, it and its likes share it all."""
    for symptom, levels in file_of(name).levels(kind).items():
        measures = {m: mean for m, (mean, _) in levels.items() if m != "rate" and READ[fitout](m)}
        shares = weigh_levels(symptom.partition("/")[0], kind, measures).shares
        assert sum(shares.values()) == pytest.approx(1.0)
        alike = ALIKE.get((fitout, name), set()) | ALIKE.get((fitout, symptom), set())
        others = {n: share for n, share in shares.items() if n != name and n not in alike}
        assert max(others.values()) < DOUBT, (symptom, shares)
        if alike:
            assert shares[name] > DOUBT, (symptom, shares)
        else:
            assert shares[name] > CLEAR, (symptom, shares)


HELICAL, CENTRIFUGAL = KINDS
NO_FLOW = {"flow": 0.0, "lead": 0.0, "handled": 0.0, "backwards": 0.0, "before": 1.0, "onset": 0.8}
"""No water comes any more, in the middle of a day, and nobody was there. Loads are logs: of a pump that lifts (torque), or lifts nothing (idle)."""
SCENES = [
    ("helical shut in: torque and gauge rise", HELICAL, "closed-delivery", {"torque": 0.6, "above": 50.0, "water": 12.0}),
    ("helical shaft gone: a fifth of the friction", HELICAL, "broken-shaft", {"idle": -1.5, "above": 0.0, "water": 12.0}),
    ("helical in a dry well", HELICAL, "dry-running", {"idle": 0.0, "water": 0.3, "probe": 0.0}),
    ("helical in a dry well, the probe says wet", HELICAL, "dry-running", {"idle": 0.0, "water": 0.3, "probe": 1.0}),
    ("helical lifts as ever, the meter is dead", HELICAL, "sensor-fault", {"torque": 0.0, "drawn": 1.0, "pipe": 1.0, "water": 9.0}),
    ("helical reversed by lead work", HELICAL, "reverse-rotation", {"idle": 0.1, "water": 12.0, "lead": 1.0, "onset": 0.0, "handled": 1.0}),
    ("centrifugal shut in: the power of no flow, the gauge at shut-off", CENTRIFUGAL, "closed-delivery", {"idle": 0.0, "above": 25.0, "water": 12.0}),
    ("centrifugal shaft gone", CENTRIFUGAL, "broken-shaft", {"idle": -1.6, "above": 0.0, "water": 12.0}),
    ("centrifugal lost its prime", CENTRIFUGAL, "dry-running", {"idle": -0.5, "water": 0.3, "probe": 0.0}),
    ("centrifugal lifts as ever, the meter is dead", CENTRIFUGAL, "sensor-fault", {"torque": 0.0, "drawn": 1.0, "pipe": 1.0, "water": 9.0}),
    ("centrifugal reversed: more power than at a shut valve", CENTRIFUGAL, "reverse-rotation",
     {"idle": 0.3, "above": 0.0, "water": 12.0, "lead": 1.0, "onset": 0.0, "handled": 1.0}),
]  # fmt: skip


@pytest.mark.parametrize(("scene", "kind", "cause", "seen"), SCENES, ids=[scene for scene, *_ in SCENES])
def test_what_physics_says_of_no_water_is_told_apart(scene: str, kind: str, cause: str, seen: dict[str, float]) -> None:
    """Figures by hand, not by the causes' own levels."""
    shares = weigh_levels("no-water", kind, NO_FLOW | seen).shares
    assert shares[cause] > CLEAR, (scene, shares)


@pytest.mark.parametrize(
    ("symptom", "kind", "cause", "measure", "speaks", "against"),
    [
        ("no-water", HELICAL, "closed-delivery", "torque", 0.6, -0.6),
        ("no-water", HELICAL, "closed-delivery", "above", 50.0, 0.0),
        ("no-water", CENTRIFUGAL, "closed-delivery", "above", 25.0, 0.0),
        ("no-water", HELICAL, "broken-shaft", "idle", -1.6, 0.2),
        ("no-water", CENTRIFUGAL, "broken-shaft", "water", 12.0, 0.0),
        ("no-water", HELICAL, "dry-running", "water", 0.3, 12.0),
        ("no-water", HELICAL, "reverse-rotation", "lead", 1.0, 0.0),
        ("no-water", CENTRIFUGAL, "reverse-rotation", "backwards", 1.0, 0.0),
        ("no-water", HELICAL, "sensor-fault", "torque", 0.0, 0.7),
        ("no-water", CENTRIFUGAL, "sensor-fault", "drawn", 1.0, 0.0),
        ("not-turning", HELICAL, "stalled-motor", "current", 2.2, 0.0),
        ("not-turning", HELICAL, "failed-start", "fed", 0.0, 0.3),
    ],
)  # fmt: skip
def test_each_measure_moves_the_odds_its_way(
    symptom: str, kind: str, cause: str, measure: str, speaks: float, against: float
) -> None:
    """Alone beside what all no-water has in common: the odds of the cause at least threefold from the one reading to the other."""
    common = NO_FLOW if symptom == "no-water" else {}
    pro, con = (weigh_levels(symptom, kind, common | {measure: value}).shares[cause] for value in (speaks, against))
    assert pro / (1.0 - pro) > 3.0 * con / (1.0 - con), (pro, con)


@pytest.mark.parametrize("kind", KINDS)
def test_what_is_fed_and_stands_is_stalled_and_what_is_not_fed_did_not_start(kind: str) -> None:
    locked = {"current": 2.2, "fed": 0.15, "attempts": 0.5, "volts": 1.1, "push": 0.3}
    nothing = {"current": 0.0, "fed": 0.0, "attempts": 0.0, "volts": 1.2, "push": 0.0, "code": 0.0}
    assert weigh_levels("not-turning", kind, locked).shares["stalled-motor"] > CLEAR
    assert weigh_levels("not-turning", kind, nothing).shares["failed-start"] > CLEAR


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("name", [n for n in NAMES if n in all_causes() and all_causes()[n].levels])
def test_a_fast_cause_is_outranked_on_the_levels_of_each_look_alike(name: str, kind: str) -> None:
    """With all sensors, on what a rival reads, it keeps less than one chance in twenty; a rotor held by a drive that lets little through, one in five."""
    for rival in {n for n in all_causes() if n != name and all_causes()[n].levels}:
        for symptom, levels in file_of(rival).levels(kind).items():
            measures = {m: mean for m, (mean, _) in levels.items() if m != "rate"}
            share = weigh_levels(symptom.partition("/")[0], kind, measures).shares.get(name, 0.0)
            least = 0.2 if symptom == "not-turning/gives up" else 0.05 if rival != "cable-fault" else DOUBT
            assert share < least, (rival, symptom, share)


@pytest.mark.parametrize("name", [n for n in NAMES if n in all_causes() and all_causes()[n].watch])
def test_a_watcher_bears_a_day_without_rows(name: str) -> None:
    facts, _ = site()
    plant = plant_of(facts)
    state = begin(facts)
    view = DayView(facts, plant.days, 20_000, plant.days.open_ms(20_000), np.empty(0, np.int64), 0, state.memory, None)
    assert file_of(name).watch(view) == []


@pytest.mark.parametrize("what", ["none", "one", "all missing", "a gap", "constant", "strange columns"])
def test_odd_rows_are_borne_and_left_unchanged(what: str) -> None:
    facts, rows = site()
    rows = {
        "none": no_rows(),
        "one": rows.take(slice(40, 41)),
        "all missing": Rows(rows.time_ms, {name: np.full(len(rows), np.nan) for name in rows.values}),
        "a gap": rows.take(np.r_[0 : len(rows) // 3, 2 * len(rows) // 3 : len(rows)]),
        "constant": Rows(rows.time_ms, {name: np.full(len(rows), column[50]) for name, column in rows.values.items()}),
        "strange columns": Rows(rows.time_ms, {"tank_level_m": np.ones(len(rows))}),
    }[what]
    before = {name: column.copy() for name, column in rows.values.items()}
    until = int(rows.time_ms[-1]) + 3 * 86_400_000 if len(rows) else 0
    state = advance(begin(facts), rows, until)
    assert {f.cause for f in state.findings} <= {
        "silent",
        "sensor-fault",
        "over-voltage",
        "failed-start",
        "unexplained",
    }
    for name, column in before.items():
        np.testing.assert_array_equal(rows.values[name], column)


def right_today(folder: Path) -> list[dict]:
    """What is expected of a recorded case, by fit-out; those that are told wrongly today are left out."""
    told = told_of(folder)
    return [one for one in told.get("fitouts", {"": told}).values() if "wrong_today" not in one]


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("name", NAMES)
def test_a_recorded_case_fires_for_each_kind_and_what_looks_like_it_is_there(name: str, kind: str) -> None:
    """The folders themselves run in test_recorded_cases.py: no cause but the expected ones may be found there."""
    folders = [folder for folder in case_folders() if read_site_kind(folder) == kind]
    own = [folder for folder in folders if folder.parent.name == name]
    fires = [one for folder in own for one in right_today(folder) if name in {w["cause"] for w in one["expected"]}]
    assert any("or_silent" not in w for one in fires for w in one["expected"]), "record one"
    alike = [folder for folder in folders if folder.parent.name in LOOK_ALIKES[name]]
    assert {folder.parent.name for folder in alike} == set(LOOK_ALIKES[name])
    quiet = {
        folder.parent.name
        for folder in alike
        for one in right_today(folder)
        if not any(name in (w["cause"], *w.get("or", ())) for w in one["expected"])
    }
    assert quiet, "nothing shows that it stays quiet"


def read_site_kind(folder: Path) -> str:
    """Pump kind of a recorded case."""
    return str(tomllib.loads((folder / "site.toml").read_text())["pump"]["kind"])


def test_constants_of_limits_are_frozen() -> None:
    for file in all_causes().values():
        if file.limits is not None:
            with pytest.raises(AttributeError):
                file.limits.anything = 1.0


def test_no_module_of_the_analysis_knows_a_sample() -> None:
    """No sample's package, site or date in the engine."""
    for path in Path(inspect.getfile(analysis)).parent.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text())):
            names = [a.name for a in node.names] if isinstance(node, ast.Import | ast.ImportFrom) else []
            module = getattr(node, "module", "") or ""
            assert not any(name.startswith(("samples", "tests")) for name in [*names, module]), path
