"""DEVELOPERS.md: what it names is there, and its example runs."""

import re
import subprocess
import sys

import pytest


@pytest.fixture
def text(repository):
    return (repository / "DEVELOPERS.md").read_text()


def test_every_path_that_it_names_is_there(text, repository):
    named = set(re.findall(r"`((?:logger|analysis|dashboard|samples|tests)/[\w/.-]*\w/?)`", text))
    assert len(named) > 20
    missing = sorted(path for path in named if not (repository / path).exists())
    assert not missing, f"DEVELOPERS.md names what is not there: {missing}"


def test_every_bench_is_listed_and_every_one_listed_is_there(text, repository):
    there = {path.name for path in (repository / "tests/bench").glob("bench_*.py")}
    assert set(re.findall(r"tests/bench/(bench_\w+\.py)", text)) == there


def test_the_example_runs(text, repository):
    [example] = re.findall(r"```python\n(.*?)```", text, re.S)
    done = subprocess.run([sys.executable, "-c", example], cwd=repository, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert re.fullmatch(r"\d\.\d m3/h at 2750 1/min against 50 m\n", done.stdout)
