"""What a site file says wrong beside values that cannot be read: judged whatever those values are.

Flow: text of a refused file -> HERE -> commands/check.py.
Each value that is missing or out of its range stands in turn at the low end, the middle and the high end of what its key allows; only what is
said word for word each time is said at all, for it does not hang on that value. A day, one of several words and a whole table that is
missing stand in likewise. An optional value is left out instead.
Never: a fact mended; a judgement of the values themselves (they are refused already).
"""

import copy
import re
import tomllib
from dataclasses import MISSING, Field, fields, is_dataclass
from datetime import date
from typing import Any, Literal, get_args, get_origin, get_type_hints

from analysis.site_check import remarks_on
from analysis.site_check.remark import Checked, Remark
from logger.record.site_facts import SiteFacts
from logger.record.site_file import SiteFileError, read_site

PLACES = (0.05, 0.5, 0.95)
"""Of the way through a key's range, by ratio where it lies above 0: its very ends are no site's."""
ROUNDS = 4  # a key spelt wrongly is taken out first, and what it was meant for is missed then
STEP = re.compile(r"([^.\[\]]+)|\[(\d+)\]")
GONE = object()
TEXTS = {"site.timezone": "UTC"}


def remarks_beside(text: str, file: str) -> list[Remark]:
    """Remarks on a file that `read_site` refuses; none where some value has no range to stand in for it.

    text, file
        The file's text, and the name to print.
    """
    said: list[list[Remark]] = []
    for place in PLACES:
        facts, refused = _stood_in(text, file, place)
        if facts is None:
            continue
        try:
            remarks = remarks_on(Checked(facts, file))
        except ValueError:
            continue  # these ends of the ranges make no site together
        said.append([remark for remark in remarks if remark.problem.key not in refused])
    if len(said) < 2:
        return []
    common = set.intersection(*({str(remark) for remark in remarks} for remarks in said))
    return [remark for remark in said[0] if str(remark) in common]


def _stood_in(text: str, file: str, place: float) -> tuple[SiteFacts | None, set[str]]:
    """Facts with every refused value replaced, and the keys of those; None where one cannot be."""
    content = copy.deepcopy(tomllib.loads(text))
    refused: set[str] = set()
    for _ in range(ROUNDS):
        try:
            return read_site(_written(content), file), refused
        except SiteFileError as error:
            for problem in error.problems:
                if not _replaced(content, problem.key, place):
                    return None, refused
                refused.add(problem.key)
            content = _without_gone(content)
    return None, refused


def _without_gone(value: Any) -> Any:
    """The tables without the list entries that were taken out; until then each keeps its number."""
    if isinstance(value, dict):
        return {name: _without_gone(one) for name, one in value.items()}
    return [_without_gone(one) for one in value if one is not GONE] if isinstance(value, list) else value


def _replaced(content: dict[str, Any], key: str, place: float) -> bool:
    steps: list[Any] = [name or int(number) - 1 for name, number in STEP.findall(key)]
    if not steps:
        return False
    table: Any = content
    for step in steps[:-1]:
        here = isinstance(table, dict) and step in table or isinstance(table, list) and isinstance(step, int)
        if not here or isinstance(table, list) and not step < len(table):
            return False
        table = table[step]
    last, field = steps[-1], _field(steps)
    if isinstance(table, list) and isinstance(last, int) and last < len(table) and not isinstance(table[last], dict):
        table[last] = GONE  # one name of several
        return True
    if not isinstance(table, dict):
        return False
    if field is None or field.default is not MISSING:
        return table.pop(last, None) is not None  # no such key, or one that may be left out
    value = _value(key, field, _hint(steps), place)
    if value is None:
        return False
    table[last] = value
    return True


def _field(steps: list[Any]) -> Field | None:
    """The field that the steps lead to, None where the vocabulary has none."""
    return _walked(steps)[0]


def _hint(steps: list[Any]) -> Any:
    """Its type, without a None that may stand for it."""
    return _walked(steps)[1]


def _walked(steps: list[Any]) -> tuple[Field | None, Any]:
    wanted: Any = SiteFacts
    found: Field | None = None
    hint: Any = None
    for step in steps:
        if isinstance(step, int):
            continue
        if not is_dataclass(wanted):
            return None, None
        found = next((one for one in fields(wanted) if one.metadata.get("key", one.name) == step), None)
        if found is None:
            return None, None
        hint = get_type_hints(wanted)[found.name]  # type: ignore[arg-type]
        inner = [one for one in (hint, *get_args(hint)) if is_dataclass(one)]
        wanted = inner[0] if inner else hint
    return found, hint


def _value(key: str, field: Field, hint: Any, place: float) -> Any:
    """A value that the key allows, None where none can be told: a number, a day, one of the words, a whole table of such."""
    low, high = field.metadata.get("lowest"), field.metadata.get("highest")
    if low is not None and high is not None:
        value = low * (high / low) ** place if low > 0 else low + place * (high - low)
        return max(round(value), 1) if hint is int else float(f"{value:.4g}")
    if is_dataclass(hint):
        return _table(key, hint, place)
    words = get_args(hint) if get_origin(hint) is Literal else tuple(field.metadata.get("choices", ()))
    if hint is date:
        return date(2000 + round(place * 30), 1, 1)
    if words:
        return words[int(place * len(words))]
    return TEXTS.get(key, "stand-in") if hint is str else None


def _table(key: str, wanted: Any, place: float) -> dict[str, Any] | None:
    """What a missing table needs at the least."""
    hints, made = get_type_hints(wanted), {}
    for one in fields(wanted):
        name = one.metadata.get("key", one.name)
        if name is None or one.default is not MISSING or one.default_factory is not MISSING:
            continue
        value = _value(f"{key}.{name}", one, hints[one.name], place)
        if value is None:
            return None
        made[name] = value
    return made


def _written(content: dict[str, Any]) -> str:
    """TOML again, as inline tables: what `tomllib` reads back to the same."""
    return "".join(f"{_quoted(name)} = {_inline(value)}\n" for name, value in content.items())


def _inline(value: Any) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{_quoted(name)} = {_inline(one)}" for name, one in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_inline, value)) + "]"
    if isinstance(value, bool):
        return str(value).lower()
    return _quoted(value) if isinstance(value, str) else str(value)


def _quoted(text: str) -> str:
    escaped = "".join(one if one.isprintable() and one not in '"\\' else f"\\U{ord(one):08X}" for one in text)
    return f'"{escaped}"'
