"""The physics' docstrings are its manual, so a test reads them: parameters, units, literature, module headers."""

import doctest
import importlib
import inspect
import pkgutil
import re

import pytest

import analysis.physics

UNIT = re.compile(r"\[[^\]]+\]")
NO_QUANTITY = {
    "kind",
    "rows",
    "grade",
    "drive",
    "pump",
    "motor",
    "cable",
    "lookup",
    "system",
    "facts",
    "head_of_flow",
    "loss_m",
}


def modules():
    names = [info.name for info in pkgutil.iter_modules(analysis.physics.__path__)]
    return [importlib.import_module(f"analysis.physics.{name}") for name in names]


def functions():
    """Public functions of the physics, each where it is defined."""
    found = []
    for module in modules():
        for name, function in inspect.getmembers(module, inspect.isfunction):
            if function.__module__ == module.__name__ and not name.startswith("_"):
                found.append(pytest.param(function, id=f"{module.__name__.rsplit('.')[-1]}.{name}"))
    return found


def sections(function):
    """Docstring's sections by title."""
    text = inspect.getdoc(function) or ""
    parts = re.split(r"^(\w[\w ]*)\n-+$", text, flags=re.M)
    return {"Summary": parts[0]} | dict(zip(parts[1::2], parts[2::2], strict=True))


def documented(function):
    """Parameters in the docstring's order, each with its text."""
    text = sections(function).get("Parameters", "")
    parts = re.split(r"^(\w[\w, ]*) : ", text, flags=re.M)[1:]
    return {
        name.strip(): words for names, words in zip(parts[::2], parts[1::2], strict=True) for name in names.split(",")
    }


TOOLS = {"blocks", "invert", "penalised_spline", "pump_validity", "slopes"}  # arithmetic without a quantity of its own
NUMPYDOC = [case for case in functions() if case.values[0].__module__.rsplit(".")[-1] not in TOOLS]


def test_there_is_a_manual_to_read():
    assert len(NUMPYDOC) >= 60
    assert {module.__name__.rsplit(".")[-1] for module in modules()} >= TOOLS


@pytest.mark.parametrize("function", functions())
def test_every_public_function_says_what_it_is(function):
    assert len(sections(function)["Summary"].strip()) > 15


@pytest.mark.parametrize("function", NUMPYDOC)
def test_parameters_are_those_of_the_signature(function):
    assert list(documented(function)) == list(inspect.signature(function).parameters)


@pytest.mark.parametrize("function", NUMPYDOC)
def test_every_number_has_its_unit(function):
    for name, words in documented(function).items():
        assert name in NO_QUANTITY or UNIT.search(words), f"{name} has no unit in brackets"
    assert "Returns" in sections(function)


@pytest.mark.parametrize("function", NUMPYDOC)
def test_literature_is_named(function):
    assert ".. [1]" in sections(function).get("References", "")


@pytest.mark.parametrize("function", NUMPYDOC)
def test_what_raises_says_so(function):
    source = inspect.getsource(function)
    if "raise ValueError" in source:
        assert "ValueError" in sections(function).get("Raises", "")


@pytest.mark.parametrize("module", modules(), ids=lambda module: module.__name__.rsplit(".")[-1])
def test_every_module_says_what_and_never(module):
    text = module.__doc__ or ""
    assert "Never" in text or "no I/O" in text, "header: what, where in the flow, what it never does"


@pytest.mark.parametrize(
    "method", ["flow", "head", "power", "power_of_speed", "flow_of_power", "power_of_flow", "speed_of_flow"]
)
def test_the_pump_models_questions_name_units_in_and_out(method):
    text = inspect.getdoc(getattr(analysis.physics.PumpModel, method))
    assert re.search(r"\[[^\]]+\], \[[^\]]+\] -> \[[^\]]+\]", text), (
        "inputs and output with units, as [W], [m] -> [m3/h]"
    )


def test_the_examples_run():
    """Each example in the manual gives what it prints."""
    results = [doctest.testmod(module) for module in modules()]
    assert sum(result.attempted for result in results) > 0
    assert sum(result.failed for result in results) == 0
