"""The house keeps its shape: imports run one way, the board stays light, files stay short.

Each failure prints path, problem and what to do.
"""

import ast
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
PACKAGES = ("logger", "analysis", "dashboard", "samples")
MAY_IMPORT = {
    "logger": {"logger"},
    "analysis": {"analysis", "logger.record"},
    "dashboard": {"dashboard", "analysis", "logger.record"},
    "samples": {"samples", "logger.record"},
}
BOARD_MAY_INSTALL = {"serial", "paho"}
BOARD_MAY_TRY = {"gpiod"}
"""Offered by the board's own system; imported only where a source that needs it is set."""
LINES_MAX = 400
FUNCTION_LINES_MAX = 60


def sources(package: str) -> list[Path]:
    return sorted((ROOT / package).rglob("*.py"))


ALL_SOURCES = [path for package in PACKAGES for path in sources(package)]


def imported(path: Path) -> set[str]:
    """Full dotted names of all modules that a file imports, at its top or inside a function."""
    names = set()
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import; write the full name"
            names |= {f"{node.module}.{alias.name}" for alias in node.names}
    return names


@pytest.mark.parametrize("package", PACKAGES)
def test_imports_run_one_way(package):
    allowed = MAY_IMPORT[package]
    wrong = [
        f"{path.relative_to(ROOT)}: imports {name}; {package} may import only {', '.join(sorted(allowed))}"
        for path in sources(package)
        for name in imported(path)
        if name.partition(".")[0] in PACKAGES and not any(name == may or name.startswith(may + ".") for may in allowed)
    ]
    assert not wrong, "\n".join(wrong)


def test_the_board_needs_the_standard_library_and_two_packages_only():
    allowed = set(sys.stdlib_module_names) | {"logger"} | BOARD_MAY_INSTALL | BOARD_MAY_TRY
    wrong = [
        f"{path.relative_to(ROOT)}: imports {name}; the board's install is pure Python and small"
        for path in sources("logger")
        for name in imported(path)
        if name.partition(".")[0] not in allowed
    ]
    assert not wrong, "\n".join(wrong)


def test_the_record_needs_the_standard_library_only():
    wrong = [
        f"{path.relative_to(ROOT)}: imports {name}"
        for path in sources("logger/record")
        for name in imported(path)
        if name.partition(".")[0] not in set(sys.stdlib_module_names) and not name.startswith("logger.record")
    ]
    assert not wrong, "\n".join(wrong)


def test_nothing_but_demo_and_tests_imports_the_samples():
    wrong = [
        f"{path.relative_to(ROOT)}: imports {name}"
        for package in ("logger", "analysis", "dashboard")
        for path in sources(package)
        for name in imported(path)
        if name.partition(".")[0] == "samples"
    ]
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize("path", ALL_SOURCES, ids=lambda path: str(path.relative_to(ROOT)))
def test_files_and_functions_stay_short(path):
    lines = path.read_text().splitlines()
    assert len(lines) <= LINES_MAX, f"{path.relative_to(ROOT)}: {len(lines)} lines; split it by what it is about"
    if "migrations" in path.parts:
        return  # a migration is written once, a table after the other, and never edited
    long = [
        f"{path.relative_to(ROOT)}:{node.lineno}: {node.name} has {body_lines(node)} lines of body; cut it in named steps"
        for node in ast.walk(ast.parse("\n".join(lines)))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and body_lines(node) > FUNCTION_LINES_MAX
    ]
    assert not long, "\n".join(long)


def body_lines(node: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Lines of a function's body without its docstring."""
    body = node.body[1:] if ast.get_docstring(node) and len(node.body) > 1 else node.body
    return (node.end_lineno or 0) - body[0].lineno + 1


@pytest.mark.parametrize("path", ALL_SOURCES, ids=lambda path: str(path.relative_to(ROOT)))
def test_every_module_says_what_it_is(path):
    if path.name == "__init__.py" and not path.read_text().strip():
        return
    assert ast.get_docstring(ast.parse(path.read_text())), f"{path.relative_to(ROOT)}: say in a docstring what it is"
