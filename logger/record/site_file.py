"""site.toml -> typed facts; every problem at once, each with file, key, what is wrong and the fix.

Flow: a file that a person wrote -> HERE -> SiteFacts -> analysis, dashboard.
Not here: whether the figures make engineering sense together (`wellhand check`).
Never: a default that the file does not state; a value mended silently.
"""

import hashlib
import json
import re
from dataclasses import asdict, replace
from difflib import get_close_matches
from pathlib import Path
from zoneinfo import ZoneInfo, available_timezones

from logger.record.channels import CHANNELS
from logger.record.problems import FileError, Problem, counted
from logger.record.site_facts import Pump, SiteFacts
from logger.record.tables import Tables, text_of

SITE_ID = re.compile(r"[a-z0-9-]{1,48}")
CURVE_ROWS_MIN = 3
CURVE_HEADS_MIN = 2
NAME_CHARACTERS_MAX = 100

__all__ = ["Problem", "SiteFileError", "load_site", "read_site", "digest_of"]


class SiteFileError(FileError):
    """A site file that cannot be used; `problems` lists all that is wrong, str() words it."""


def load_site(path: str | Path) -> SiteFacts:
    """The facts of the site file at `path`. SiteFileError: it cannot be read, or something in it is wrong."""
    problems: list[Problem] = []
    text = text_of(path, problems)
    if text is None:
        raise SiteFileError(problems)
    return read_site(text, Path(path).name)


def read_site(text: str, file: str = "site.toml") -> SiteFacts:
    """The facts in a site file's text. SiteFileError: something in it is wrong; all of it is listed."""
    tables = Tables(file)
    content = tables.parsed(text)
    facts = None if content is None else tables.typed(SiteFacts, content)
    if content is not None:
        _judge_single(tables, content)
    if facts is not None:
        _judge_contradictions(tables, facts)
    if tables.problems or facts is None:
        raise SiteFileError(tables.problems)
    return replace(facts, digest=digest_of(facts))


def digest_of(facts: SiteFacts) -> str:
    """SHA-256, in hex, of the facts alone: comments, order and spelling of numbers in the file do not change it."""
    content = asdict(replace(facts, digest=""))
    canonical = json.dumps(
        content, sort_keys=True, ensure_ascii=False, separators=(",", ":"), default=lambda day: day.isoformat()
    )
    return hashlib.sha256(canonical.encode()).hexdigest()


def _judge_single(tables: Tables, content: dict) -> None:
    """What types and ranges cannot say; on the raw table, so that other problems do not hide these."""
    site = content.get("site")
    if isinstance(site, dict):
        if isinstance(site.get("id"), str) and not SITE_ID.fullmatch(site["id"]):
            meant = re.sub(r"[^a-z0-9]+", "-", site["id"].lower()).strip("-")[:48] or "north-kraal"
            tables.wrong("site.id", f"expected 1 to 48 of a-z, 0-9 and -, got '{site['id']}'", f'write id = "{meant}"')
        if isinstance(site.get("name"), str) and not 1 <= len(site["name"].strip()) <= NAME_CHARACTERS_MAX:
            tables.wrong(
                "site.name", f"expected 1 to {NAME_CHARACTERS_MAX} characters", "write the name that people use"
            )
        if isinstance(site.get("timezone"), str):
            _judge_timezone(tables, site["timezone"])
    sensors = content.get("sensors")
    if isinstance(sensors, dict) and isinstance(sensors.get("channels"), list):
        _judge_channels(tables, sensors["channels"])


def _judge_timezone(tables: Tables, name: str) -> None:
    try:
        ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        known = available_timezones()
        if not known:
            return  # a board without time zone data cannot tell; the server will
        close = get_close_matches(name, known, 1, 0.6)
        fix = f'did you mean timezone = "{close[0]}"?' if close else 'write it as "Africa/Johannesburg" or "UTC"'
        tables.wrong("site.timezone", f"no such time zone: '{name}'", fix)


def _judge_channels(tables: Tables, channels: list) -> None:
    for number, channel in enumerate(channels, 1):
        if not isinstance(channel, str):
            continue  # tables.py has said so
        key = f"sensors.channels[{number}]"
        if channel not in CHANNELS:
            close = get_close_matches(channel, CHANNELS, 1, 0.5)
            fix = f"did you mean '{close[0]}'?" if close else f"one of {', '.join(CHANNELS)}"
            tables.wrong(key, f"no such channel: '{channel}'", fix)
        elif channel in channels[: number - 1]:
            tables.wrong(key, f"'{channel}' stands there twice", "take one out")


def _judge_contradictions(tables: Tables, facts: SiteFacts) -> None:
    """Pairs of which one must be wrong, whatever was installed."""
    site, module, controller = facts.site, facts.array.module, facts.controller
    pairs = (
        (
            "controller.min_input_voltage_v",
            controller.min_input_voltage_v,
            "max_input_voltage_v",
            controller.max_input_voltage_v,
        ),
        ("controller.mpp_min_v", controller.mpp_min_v, "mpp_max_v", controller.mpp_max_v),
        ("array.module.v_mp_v", module.v_mp_v, "v_oc_v", module.v_oc_v),
        ("array.module.i_mp_a", module.i_mp_a, "i_sc_a", module.i_sc_a),
        ("site.lowest_ambient_c", site.lowest_ambient_c, "highest_ambient_c", site.highest_ambient_c),
    )
    for key, low, other, high in pairs:
        if low is not None and high is not None and low >= high:
            wrong = f"{low:g} is not below {other} = {high:g}"
            tables.wrong(key, wrong, f"check both against the datasheet; {key.rpartition('.')[2]} is the smaller one")
    for number, (series, strings) in enumerate(controller.allowed_layouts or (), 1):
        if series < 1 or strings < 1:
            key = f"controller.allowed_layouts[{number}]"
            tables.wrong(
                key, f"expected [in series, strings], got [{series}, {strings}]", "write whole numbers from 1 up"
            )
    _judge_curve(tables, facts.pump)


def _judge_curve(tables: Tables, pump: Pump) -> None:
    heads = {row.head_m for row in pump.curve}
    if len(pump.curve) < CURVE_ROWS_MIN or len(heads) < CURVE_HEADS_MIN:
        wrong = f"only {counted(len(pump.curve), 'row')} at {counted(len(heads), 'head')}"
        fix = f"give at least {CURVE_ROWS_MIN} rows at {CURVE_HEADS_MIN} heads or more, from the datasheet's table"
        tables.wrong("pump.curve", wrong, fix)
    seen: dict[tuple, int] = {}
    for number, row in enumerate(pump.curve, 1):
        at = (row.head_m, row.power_w, row.speed_rpm)
        if at in seen and pump.curve[seen[at] - 1].flow_m3_h != row.flow_m3_h:
            wrong = f"two flows at {row.head_m:g} m and {row.power_w:g} W: rows {seen[at]} and {number}"
            tables.wrong(f"pump.curve[{number}].flow_m3_h", wrong, "keep the row that the datasheet has")
        seen.setdefault(at, number)
