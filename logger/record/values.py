"""One value of a TOML file against what is wanted: its type, unit, range, choices.

Flow: tables.py hands over each value -> HERE -> the value, or what is wrong and the fix.
Never: the file, the key's meaning, a guess taken without asking.
"""

import json
import math
from dataclasses import dataclass
from datetime import date, datetime
from difflib import get_close_matches
from typing import Any

from logger.record.unit_slips import from_text, likely_slips, plain

TEXT_CHARACTERS_MAX = 1000
CHOICES_LISTED_MAX = 10


@dataclass(frozen=True)
class Wanted:
    """What a value must be. `kind`: float, int, str, bool, date or tuple."""

    kind: type
    unit: str = ""
    lowest: float | None = None
    highest: float | None = None
    choices: tuple[str, ...] = ()

    def example(self) -> str:
        """What to write, in words."""
        if self.choices:
            return " or ".join(f'"{choice}"' for choice in self.choices[:8])
        if self.kind in (int, float):
            return f"<{self.named()}{self.range()}>"
        return {str: '"..."', bool: "true or false", date: "2025-09-01", tuple: "[...]"}.get(self.kind, "...")

    def named(self) -> str:
        """'a number of m', 'a whole number'."""
        whole = "a whole number" if self.kind is int else "a number"
        return f"{whole} of {self.unit}" if self.unit else whole

    def range(self) -> str:
        """', 1 to 1000', where both ends are known."""
        if self.lowest is None or self.highest is None:
            return ""
        return f", {plain(self.lowest)} to {plain(self.highest)}"


Judged = tuple[Any, str, str]
"""(value, what is wrong, fix); the last two are empty where nothing is."""


def judged(wanted: Wanted, value: Any, key: str) -> Judged:
    """The value as wanted, or what is wrong with it and how `key` should read."""
    if wanted.kind in (int, float):
        return _number(wanted, value, key)
    if wanted.kind is date:
        return _date(value, key)
    if wanted.kind is bool:
        if isinstance(value, bool):
            return value, "", ""
        return None, f"expected true or false, got {shown(value)}", f"write {key} = true or {key} = false"
    return _text(wanted, value, key)


def _number(wanted: Wanted, value: Any, key: str) -> Judged:
    expected = f"expected {wanted.named()}, got {shown(value)}"
    if isinstance(value, str):
        found = from_text(value, wanted.unit)
        fix = (
            f"write {key} = {plain(found[0])}{found[1]}"
            if found
            else f"write {key} = {wanted.example()}, without quotes"
        )
        return None, expected, fix
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None, expected, f"write {key} = {wanted.example()}"
    if not math.isfinite(value):
        return None, expected, f"write {key} = {wanted.example()}"
    if wanted.kind is int:
        if value != int(value):
            return None, expected, f"write {key} = {round(value)}"
        value = int(value)
    out = (wanted.lowest is not None and value < wanted.lowest) or (
        wanted.highest is not None and value > wanted.highest
    )
    return _out_of_range(wanted, value, key) if out else (wanted.kind(value), "", "")


def _out_of_range(wanted: Wanted, value: float, key: str) -> Judged:
    lowest = -math.inf if wanted.lowest is None else wanted.lowest
    highest = math.inf if wanted.highest is None else wanted.highest
    if wanted.lowest is None:
        bounds = f"at most {plain(highest)}"
    elif wanted.highest is None:
        bounds = f"at least {plain(lowest)}"
    else:
        bounds = f"{plain(lowest)} to {plain(highest)}"
    unit = f" {wanted.unit}" if wanted.unit else ""
    slips = likely_slips(value, wanted.unit, lowest, highest)
    if slips:
        fix = "; ".join(f"if that is {other}, write {key} = {plain(meant)}" for other, meant in slips)
    elif (
        wanted.unit == "deg" and highest - lowest >= 360.0 and math.isfinite(value)
    ):  # a latitude or a tilt does not go round
        fix = f"write {key} = {plain((value - lowest) % 360.0 + lowest)}: it is the same direction"
    elif lowest <= -value <= highest:
        fix = f"is the sign wrong? Then write {key} = {plain(-value)}"
    elif unit:
        fix = f"check the datasheet or the driller's log and the unit ({wanted.unit})"
    else:
        fix = f"write {key} = {wanted.example()}"
    return None, f"expected {bounds}{unit}, got {plain(value)}", fix


def _date(value: Any, key: str) -> Judged:
    if isinstance(value, date) and not isinstance(value, datetime):
        return value, "", ""
    day = value.date().isoformat() if isinstance(value, datetime) else "2025-09-01"
    if isinstance(value, str):
        try:
            day = date.fromisoformat(value.strip()).isoformat()
        except ValueError:
            day = "2025-09-01 (year-month-day)"
    return None, f"expected a date, got {shown(value)}", f"write {key} = {day}, without quotes"


def _text(wanted: Wanted, value: Any, key: str) -> Judged:
    if not isinstance(value, str):
        return None, f"expected text in quotes, got {shown(value)}", f"write {key} = {wanted.example()}"
    if len(value) > TEXT_CHARACTERS_MAX:
        return None, f"longer than {TEXT_CHARACTERS_MAX} characters", "shorten it"
    if wanted.choices and value not in wanted.choices:
        return _not_a_choice(wanted, value, key)
    return value, "", ""


def _not_a_choice(wanted: Wanted, value: str, key: str) -> Judged:
    close = get_close_matches(value, wanted.choices, 1, 0.5)
    is_short = len(wanted.choices) <= CHOICES_LISTED_MAX
    listed = ", ".join(wanted.choices)
    wrong = f"expected one of {listed}; got {shown(value)}" if is_short else f"no such name: {shown(value)}"
    if close:
        return None, wrong, f'did you mean {key} = "{close[0]}"?'
    return None, wrong, f"write {key} = {wanted.example()}" if is_short else f"one of {listed}"


def shown(value: Any) -> str:
    """A value as the file shows it, short enough for one line."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return f"a list of {len(value)}"
    if isinstance(value, str):
        return f"'{value}'" if len(value) <= 60 else f"'{value[:57]}...'"
    if isinstance(value, int | float):
        return plain(value) if math.isfinite(value) else str(value)
    return str(value)


def quoted(text: str) -> str:
    """A text as TOML writes it."""
    return json.dumps(text, ensure_ascii=False)
