"""The table of mutants still fits the code: `python tests/bench/bench_mutants.py` then lets each of them loose."""

from pathlib import Path

import pytest

from tests.mutants.table import MUTANTS, Mutant

ROOT = Path(__file__).parents[2]


@pytest.mark.parametrize("mutant", MUTANTS, ids=lambda m: f"{m.file}: {m.what}")
def test_the_old_text_stands_once_and_its_test_exists(mutant: Mutant) -> None:
    text = (ROOT / "analysis" / mutant.file).read_text()
    assert text.count(mutant.old) == 1, f"{mutant.file}: {mutant.old!r} stands {text.count(mutant.old)} times"
    assert mutant.old != mutant.new
    path, _, name = mutant.test.partition("::")
    assert f"\ndef {name}(" in (ROOT / path).read_text(), mutant.test


def test_there_are_enough_of_them_and_none_twice() -> None:
    assert len(MUTANTS) >= 30
    assert len({(m.file, m.old, m.new) for m in MUTANTS}) == len(MUTANTS)
