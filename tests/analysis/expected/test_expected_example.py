"""The example in the module's own documentation runs and prints what it says."""

import doctest
import shutil
from pathlib import Path

import analysis.expected


def test_the_example_prints_what_it_says(tmp_path, monkeypatch):
    shutil.copy(Path(__file__).parent / "north_kraal.toml", tmp_path / "site.toml")
    monkeypatch.chdir(tmp_path)
    result = doctest.testmod(analysis.expected)
    assert result.attempted >= 9
    assert result.failed == 0
