"""Site facts -> the text of a site file.

Flow: sizing.py, scenario.py -> HERE -> site.toml.
Never: reading one (logger.record.site_file).
"""

from dataclasses import fields, is_dataclass
from datetime import date
from typing import Any

from logger.record.site_facts import SiteFacts

TABLES = ("site", "array", "controller", "cable", "motor", "pump", "well", "delivery", "tank", "sensors")


def site_text(facts: SiteFacts, heading: str = "") -> str:
    """The file that `load_site` reads back as the same facts; `heading` becomes comments at the top."""
    parts = [f"# {line}".rstrip() for line in heading.splitlines()] + ([""] if heading else [])
    for name in TABLES:
        table = getattr(facts, name)
        lines = _lines(table)
        if lines:
            parts += [f"[{name}]", *lines]
        for field in fields(table):
            inner = getattr(table, field.name)
            if is_dataclass(inner):
                parts += [f"[{name}.{field.name}]", *_lines(inner)]
        parts.append("")
    for visit in facts.visits:
        parts += ["[[visit]]", *_lines(visit), ""]
    return "\n".join(parts).rstrip() + "\n"


def _lines(table: Any) -> list[str]:
    found = []
    for field in fields(table):
        value = getattr(table, field.name)
        if value is None or value == "" or is_dataclass(value):
            continue
        found.append(f"{field.name} = {_value(value)}")
    return found


def _value(value: Any) -> str:
    if isinstance(value, str):
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, tuple | list):
        if value and is_dataclass(value[0]):
            rows = (
                ", ".join(
                    f"{f.name} = {_value(getattr(v, f.name))}" for f in fields(v) if getattr(v, f.name) is not None
                )
                for v in value
            )
            return "[\n" + "".join(f"  {{ {row} }},\n" for row in rows) + "]"
        return "[" + ", ".join(_value(item) for item in value) + "]"
    if isinstance(value, float):
        return repr(int(value)) if value.is_integer() and abs(value) < 1e12 else repr(round(value, 6))
    return repr(value)
