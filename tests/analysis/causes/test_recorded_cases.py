"""Recorded cases: each fires or stays quiet as its folder says, without any simulator."""

from pathlib import Path

import numpy as np
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
        assert fitting[0].flagged <= wanted.get("flagged_before", "9999")
        assert fitting[0].evidence
        assert 0.0 <= fitting[0].confidence + sum(r.confidence for r in fitting[0].also_possible) <= 1.0
    assert {f.cause for f in found} <= {wanted["cause"] for wanted in expected}


def test_there_are_cases_of_both_kinds_and_a_quiet_one() -> None:
    names = {f"{f.parent.name}/{f.name}" for f in case_folders()}
    assert any("helical" in name for name in names)
    assert any("centrifugal" in name for name in names)
    assert any(name.startswith("none/") for name in names)


@pytest.mark.parametrize("folder", case_folders(), ids=lambda f: str(f.relative_to(HERE)))
def test_prefix_rule_on_every_recorded_case(folder: Path) -> None:
    """Cut at any time: what was flagged up to then bears the same id, time and first cause in the whole."""
    facts, rows, _ = read_case(folder)
    whole = advance(begin(facts), rows, int(rows.time_ms[-1]))
    known = {(f.id, f.flagged, f.first_cause) for f in whole.findings}
    flags = [int(np.datetime64(f.flagged.rstrip("Z"), "ms").astype(int)) for f in whole.findings]
    first, last = int(rows.time_ms[0]), int(rows.time_ms[-1])
    cuts = (
        {first + (last - first) * k // 7 + 1234 * k for k in range(2, 7)} | set(flags) | {f + 3_600_000 for f in flags}
    )
    for cut in sorted(c for c in cuts if c < last):
        early = advance(begin(facts), rows.take(rows.time_ms <= cut), cut)
        got = {(f.id, f.flagged, f.first_cause) for f in early.findings}
        assert got <= known, (cut, got - known)
        due = {k for k, flag in zip(sorted(known, key=lambda k: k[1]), sorted(flags), strict=True) if flag <= cut}
        assert due <= got, (cut, due - got)
