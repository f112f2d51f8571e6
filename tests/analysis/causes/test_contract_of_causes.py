"""One list of promises, run over every registered cause and over the engine with each odd input."""

import ast
import inspect
from functools import cache
from pathlib import Path

import numpy as np
import pytest

import analysis.causes
from analysis.causes.registry import CauseFile, all_causes
from analysis.diagnosis import NOTHING, weigh_levels
from analysis.estimates.vector import SIZE
from analysis.pipeline import advance, begin
from analysis.plant import plant_of
from analysis.rows import Rows, no_rows
from analysis.symptoms import DayView
from logger.record.causes import CAUSES
from tests.cases.recorded import HERE, LOOK_ALIKES, case_folders, read_case

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
    for text in (file.check, *file.advice.own, *file.advice.technician, *file.advice.cautions):
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


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("name", [n for n in NAMES if n in all_causes() and all_causes()[n].levels])
def test_a_fast_cause_wins_where_its_own_levels_are_read(name: str, kind: str) -> None:
    """The middle of what a cause says is read as that cause, or as one that says the same there."""
    for symptom, levels in file_of(name).levels(kind).items():
        measures = {measure: mean for measure, (mean, _) in levels.items() if measure != "rate"}
        verdict = weigh_levels(symptom.partition("/")[0], kind, measures)
        assert sum(verdict.shares.values()) == pytest.approx(1.0)
        ranked = sorted((n for n in verdict.shares if n != NOTHING), key=lambda n: -verdict.shares[n])
        assert name in ranked[:3], (symptom, verdict.shares)


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


@pytest.mark.parametrize("name", NAMES)
def test_a_recorded_case_fires_and_another_looks_like_it(name: str) -> None:
    """The folders themselves run in test_recorded_cases.py: no cause but the expected ones may be found there."""
    fires = [folder for folder in case_folders() if folder.parent.name == name]
    assert fires, "record one"
    for folder in fires:
        assert name in {wanted["cause"] for wanted in read_case(folder)[2]}
    _, _, expected = read_case(HERE / LOOK_ALIKES[name])
    assert name not in {wanted["cause"] for wanted in expected}


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
