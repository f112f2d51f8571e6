"""Recorded cases: each fires or stays quiet as its folder says, without any simulator."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from analysis.pipeline import advance, begin
from logger.record.finding import Finding
from tests.cases.recorded import FITOUTS, HERE, KINDS, Recorded, case_folders, read_case, recorded_cases, told_of

NAMED = 0.05  # of what no sensor tells apart the true one has one chance in twenty at least, or the finding is no honest doubt


def as_param(case: Recorded) -> Any:
    """What is wrong today has to fail, so that whoever mends it takes the line out."""
    wrong = case.wanted.get("wrong_today")
    reason = f"{wrong}; mended? then take wrong_today out of {case.folder.name}/findings.json"
    return pytest.param(case, id=case.name, marks=[pytest.mark.xfail(strict=True, reason=reason)] if wrong else [])


@pytest.mark.parametrize("case", [as_param(case) for case in recorded_cases()])
def test_recorded_case(case: Recorded) -> None:
    facts, rows, expected = read_case(case.folder, case.fitout)
    state = advance(begin(facts), rows, int(rows.time_ms[-1]))
    assert problems(expected, list(state.findings)) == []


def problems(expected: list[dict[str, Any]], found: list[Finding]) -> list[str]:
    """What is not as findings.json says, in words; empty: all is."""
    wrong = []
    for wanted in expected:
        names = (wanted["cause"], *wanted.get("or", ()))
        fitting = [f for f in found if f.cause in names and f.flagged >= wanted["flagged_after"]]
        fitting.sort(key=lambda f: (f.cause != wanted["cause"], f.flagged))
        if fitting:
            wrong += misfits(wanted, fitting[0])
        elif found or "or_silent" not in wanted:
            wrong.append(f"no {' or '.join(names)}")
    allowed = {name for wanted in expected for name in (wanted["cause"], *wanted.get("or", ()))}
    wrong += [f"{f.cause} too, at {f.confidence:.2f}" for f in found if f.cause not in allowed]
    return wrong


def misfits(wanted: dict[str, Any], one: Finding) -> list[str]:
    """What one finding says otherwise than `wanted`."""
    shares = {one.cause: one.confidence} | {r.cause: r.confidence for r in one.also_possible}
    checks = {
        f"began {one.began}": one.began <= wanted.get("began_before", "9999"),
        f"flagged {one.flagged}": one.flagged <= wanted.get("flagged_before", "9999"),
        f"on {one.channel}": wanted.get("channel") in (None, one.channel),
        "without evidence": bool(one.evidence.strip()),
        f"shares {shares}": 0.0 <= sum(shares.values()) <= 1.0,
        f"{one.cause} at {one.confidence:.2f} and {wanted['cause']} at {shares.get(wanted['cause'], 0.0):.2f}":
            shares.get(wanted["cause"], 0.0) >= (NAMED if one.cause != wanted["cause"] else 0.0),
    }  # fmt: skip
    return [words for words, holds in checks.items() if not holds]


def test_there_are_cases_of_both_kinds_and_a_quiet_one() -> None:
    for cause in [path.name for path in HERE.iterdir() if path.is_dir() and any(path.glob("*/findings.json"))]:
        for kind in KINDS:
            told = told_of(HERE / cause / kind)
            assert set(told["fitouts"]) == set(FITOUTS), (cause, kind)
            assert told["drawn"]
    assert told_of(HERE / "none" / "helical")["truth"] is None


@pytest.mark.parametrize(
    "folder", [f for f in case_folders() if "fitouts" in told_of(f)], ids=lambda f: str(f.relative_to(HERE))
)
def test_what_is_expected_of_a_drawn_case_follows_from_what_is_true_of_it(folder: Path) -> None:
    """Nobody bends an expectation to what is said: the fault itself with full sensors, and no time but after it began."""
    facts, _, _ = read_case(folder)
    assert facts.pump.kind == KINDS[folder.name.partition("-")[0]]
    told = told_of(folder)
    truth = told["truth"]
    assert (truth["cause"] if truth else "none") == folder.parent.name
    for fitout, wanted in told["fitouts"].items():
        channels = read_case(folder, fitout)[0].sensors.channels
        causes = [one["cause"] for one in wanted["expected"]]
        unread = truth is None or (truth["channel"] is not None and truth["channel"] not in channels)
        assert causes == ([] if unread else [truth["cause"]]), fitout
        if fitout == "full":
            assert not any("or" in one or "or_silent" in one for one in wanted["expected"])


@pytest.mark.parametrize("case", [c for c in recorded_cases() if c.fitout is None], ids=lambda c: c.name)
def test_prefix_rule_on_recorded_cases(case: Recorded) -> None:
    """Cut at any time: what was flagged up to then bears the same id, time and first cause in the whole."""
    facts, rows, _ = read_case(case.folder)
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
