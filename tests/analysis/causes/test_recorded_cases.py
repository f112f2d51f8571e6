"""Recorded cases: each fires or stays quiet as its folder says, without any simulator."""

from pathlib import Path

import pytest

from analysis.pipeline import advance, begin
from tests.cases.recorded import HERE, case_folders, read_case


@pytest.mark.parametrize("folder", case_folders(), ids=lambda f: str(f.relative_to(HERE)))
def test_recorded_case(folder: Path) -> None:
    facts, rows, expected = read_case(folder)
    state = advance(begin(facts), rows, int(rows.time_ms[-1]))
    found = list(state.findings)
    for wanted in expected:
        fitting = [f for f in found if f.cause == wanted["cause"] and f.flagged >= wanted["flagged_after"]]
        assert fitting, (wanted, found)
        assert fitting[0].began <= wanted["began_before"]
        assert fitting[0].evidence
        assert 0.0 <= fitting[0].confidence + sum(r.confidence for r in fitting[0].also_possible) <= 1.0
    assert {f.cause for f in found} <= {wanted["cause"] for wanted in expected}


def test_there_are_cases_of_both_kinds_and_a_quiet_one() -> None:
    names = {f"{f.parent.name}/{f.name}" for f in case_folders()}
    assert any("helical" in name for name in names)
    assert any("centrifugal" in name for name in names)
    assert any(name.startswith("none/") for name in names)
