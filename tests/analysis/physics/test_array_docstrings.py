"""Every public function of sun, sky, array and cable says what its numbers are: units, and what it does with a missing input."""

import ast
import re
from pathlib import Path

import pytest

PHYSICS = Path(__file__).parents[3] / "analysis" / "physics"
MODULES = (
    "sun", "clear_sky", "clear_periods", "cell_temperature", "cable", "array_power", "single_diode", "sky_table", "operating_state",
)  # fmt: skip
UNIT = re.compile(r"\[(?!\d)[^\]\n]{1,24}\]")
"""A unit in brackets; a number in them is a reference."""


def public(name: str) -> list[tuple[str, str]]:
    tree = ast.parse((PHYSICS / f"{name}.py").read_text(encoding="utf-8"))
    return [
        (node.name, ast.get_docstring(node) or "")
        for node in ast.walk(tree)
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_")
    ]


@pytest.mark.parametrize("module", MODULES)
def test_public_functions_name_their_units(module):
    silent = [name for name, text in public(module) if not UNIT.search(text)]
    assert not silent, f"analysis/physics/{module}.py: no unit in the docstring of {', '.join(silent)}"


def test_the_test_finds_functions():
    assert sum(len(public(module)) for module in MODULES) > 20
