"""The samples and the analysis know nothing of each other, so that a plant cannot agree with itself.

The analysis' own tests run on recorded cases and on made rows: none of them imports the simulator, so they pass without it.
"""

import ast
import re
from pathlib import Path

import pytest

from samples.scenario import SITES

DATE = re.compile(r"\b20\d\d-\d\d-\d\d\b")
ROOT = Path(__file__).parent.parent
ANALYSIS = sorted((ROOT / "analysis").rglob("*.py"))
ANALYSIS_TESTS = sorted((ROOT / "tests/analysis").rglob("*.py")) + sorted((ROOT / "tests/published").rglob("*.py"))


def test_no_sample_site_is_named_in_the_analysis():
    names = [path.stem for path in SITES.glob("*.toml")]
    assert len(names) >= 6
    found = [
        f"{path.relative_to(ROOT)}: {name}" for path in ANALYSIS for name in names if name in path.read_text().lower()
    ]
    assert not found, "\n".join(found)


def test_no_date_of_the_samples_and_no_seed_stands_in_the_analysis():
    """The engine's constants come from physics and published tables; nothing ties it to a season or to a draw."""
    dates = {
        date
        for path in (ROOT / "samples").rglob("*.*")
        if path.suffix in (".py", ".toml")
        for date in DATE.findall(path.read_text())
    }
    assert dates
    found = []
    for path in ANALYSIS:
        text = path.read_text()
        found += [f"{path.relative_to(ROOT)}: {date}" for date in DATE.findall(text) if date in dates]
        calls = [node for node in ast.walk(ast.parse(text)) if isinstance(node, ast.Call)]
        names = {getattr(call.func, "attr", getattr(call.func, "id", "")) for call in calls}
        found += [f"{path.relative_to(ROOT)}: calls {name}" for name in names & {"default_rng", "RandomState", "seed"}]
    assert not found, "\n".join(found)


@pytest.mark.parametrize("path", ANALYSIS_TESTS, ids=lambda path: str(path.relative_to(ROOT)))
def test_the_tests_of_the_analysis_do_without_the_simulator(path):
    for node in ast.walk(ast.parse(path.read_text())):
        names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
        if isinstance(node, ast.ImportFrom):
            names = [node.module or ""]
        assert not any(name == "samples" or name.startswith("samples.") for name in names), f"{path}:{node.lineno}"
