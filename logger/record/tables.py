"""A table of a TOML file -> a dataclass, by the dataclass's own types and ranges; all problems at once.

Flow: site_file.py, register maps, settings -> HERE (values.py judges the single value).
A field's metadata may hold `unit`, `lowest`, `highest`, `choices`, `key` (its name in the file; None = not in the file).
Never: knowledge of any one file; a value changed silently.
"""

import re
import tomllib
from dataclasses import MISSING, Field, fields, is_dataclass
from difflib import get_close_matches
from pathlib import Path
from types import NoneType, UnionType
from typing import Any, Union, get_args, get_origin, get_type_hints

from logger.record.problems import Problem
from logger.record.values import Wanted, judged, shown

FILE_BYTES_MAX = 1_000_000


class Tables:
    """Collects the problems of one file while its tables are turned into dataclasses."""

    def __init__(self, file: str):
        self.file = file
        self.problems: list[Problem] = []

    def wrong(self, key: str, wrong: str, fix: str) -> None:
        """Note one problem."""
        self.problems.append(Problem(self.file, key, wrong, fix))

    def parsed(self, text: str) -> dict[str, Any] | None:
        """The file's top table, or None after noting where the syntax breaks."""
        try:
            return tomllib.loads(text)
        except (tomllib.TOMLDecodeError, RecursionError) as error:
            said = str(error) or "nested too deeply"
            place = re.search(r"\(at line (\d+), column (\d+)\)", said)
            key = f"line {place[1]}, column {place[2]}" if place else "end of file"
            said = re.sub(r"\s*\(at .*\)", "", said)
            line = text.splitlines()[int(place[1]) - 1] if place else ""
            comma = re.match(r"\s*(\w+\s*=\s*[+-]?\d+),(\d+)\s*(?:#|$)", line)
            fix = 'each line is key = value; text stands in "quotes", tables in [brackets]'
            self.wrong(
                key,
                f"not TOML: {said}",
                f"a decimal takes a point, not a comma: {comma[1]}.{comma[2]}" if comma else fix,
            )
            return None

    def typed(self, wanted: type, table: Any, where: str = "") -> Any:
        """`table` as a `wanted` (a dataclass), or None where a value is wrong or missing. Unknown keys are noted only."""
        if not isinstance(table, dict):
            keys = ", ".join(f"{key} = ..." for item in fields(wanted) if (key := _key(item)) is not None)
            of_list = f"write it as {{ {keys} }}"
            fix = of_list if where.endswith("]") else f"write [{where}] on a line of its own, its keys below"
            self.wrong(where, f"expected a table, got {shown(table)}", fix)
            return None
        hints = get_type_hints(wanted)
        known = {key: item for item in fields(wanted) if (key := _key(item)) is not None}
        meant = self._unknown_keys(table, list(known), where)
        before = len(self.problems)
        made = {}
        for key, item in known.items():
            if key in table:
                made[item.name] = self._value(hints[item.name], item, table[key], _dotted(where, key))
            elif _is_required(item) and key not in meant:
                self._missing(hints[item.name], item, where, key)
        is_whole = all(item.name in made for item in known.values() if _is_required(item))
        return wanted(**made) if is_whole and len(self.problems) == before else None

    def _unknown_keys(self, table: dict[str, Any], known: list[str], where: str) -> set[str]:
        """Note each unknown key; returns the known ones that they were meant for."""
        meant = set()
        for key in table:
            if key in known:
                continue
            free = [name for name in known if name not in table]
            close = get_close_matches(key, free, 1, 0.7) or get_close_matches(key, known, 1, 0.7)
            meant.update(close)
            if close:
                fix = f"did you mean {_dotted(where, close[0])}?"
            else:
                fix = f"take it out; {where or 'the file'} has {', '.join(known)}"
            self.wrong(_dotted(where, key), "no such key", fix)
        return meant

    def _missing(self, hint: Any, item: Field, where: str, key: str) -> None:
        if is_dataclass(hint):
            needed = ", ".join(str(_key(one)) for one in fields(hint) if _is_required(one))
            self.wrong(_dotted(where, key), "table missing", f"add a table [{_dotted(where, key)}] with {needed}")
        else:
            self.wrong(_dotted(where, key), "missing", f"add {key} = {_wanted(hint, item).example()}")

    def _value(self, hint: Any, item: Field, value: Any, dotted: str) -> Any:
        """One value by its type; problems are noted."""
        hint = _without_none(hint)
        if is_dataclass(hint):
            return self.typed(hint, value, dotted)  # type: ignore[arg-type]
        if get_origin(hint) is tuple:
            return self._rows(get_args(hint), item, value, dotted)
        made, wrong, fix = judged(_wanted(hint, item), value, dotted.rpartition(".")[2])
        if wrong:
            self.wrong(dotted, wrong, fix)
        return made

    def _rows(self, inner: tuple[Any, ...], item: Field, value: Any, dotted: str) -> tuple[Any, ...]:
        """A list: of one kind of any length, or of exactly these kinds."""
        if not isinstance(value, list):
            table_rows = is_dataclass(inner[0])
            fix = (
                f"write [[{dotted}]], with two brackets" if table_rows else f"write {dotted.rpartition('.')[2]} = [...]"
            )
            self.wrong(dotted, f"expected a list, got {shown(value)}", fix)
            return ()
        if inner[-1] is Ellipsis:
            inner = (inner[0],) * len(value)
        if len(inner) != len(value):
            self.wrong(dotted, f"expected {len(inner)} values, got {len(value)}", f"write {len(inner)} values in [ ]")
            return ()
        return tuple(
            self._value(hint, item, one, f"{dotted}[{number}]")
            for number, (hint, one) in enumerate(zip(inner, value, strict=True), 1)
        )


def text_of(path: str | Path, problems: list[Problem]) -> str | None:
    """A file's text, or None after noting why it cannot be read."""
    file = Path(path).name
    try:
        with open(path, "rb") as opened:
            raw = opened.read(FILE_BYTES_MAX + 1)
    except OSError as error:
        reason = error.strerror or str(error)
        problems.append(Problem(str(path), "file", f"cannot be read: {reason}", "check the path and its permissions"))
        return None
    if len(raw) > FILE_BYTES_MAX:
        problems.append(
            Problem(file, "file", f"longer than {FILE_BYTES_MAX} bytes", "this is not such a file; check the path")
        )
        return None
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        problems.append(Problem(file, f"line {line}", "not UTF-8 text", "save the file as UTF-8 (plain text)"))
        return None


def _key(item: Field) -> str | None:
    return item.metadata.get("key", item.name)


def _is_required(item: Field) -> bool:
    return item.default is MISSING and item.default_factory is MISSING


def _dotted(where: str, key: str) -> str:
    return f"{where}.{key}" if where else key


def _without_none(hint: Any) -> Any:
    if get_origin(hint) not in (Union, UnionType):
        return hint
    kept = [one for one in get_args(hint) if one is not NoneType]
    return kept[0] if len(kept) == 1 else hint


def _wanted(hint: Any, item: Field) -> Wanted:
    hint = _without_none(hint)
    bounds = item.metadata
    if get_origin(hint) is tuple:
        return Wanted(tuple, unit=bounds.get("unit", ""))
    kind: Any = hint
    choices = tuple(bounds.get("choices", ()))
    if get_args(hint):  # Literal
        kind, choices = str, tuple(get_args(hint))
    return Wanted(kind, bounds.get("unit", ""), bounds.get("lowest"), bounds.get("highest"), choices)
