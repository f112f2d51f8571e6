"""Which file of readings belongs to which site, and the review of each; all problems of all files at once.

Rows go to the site named in their column `site`; else to the site whose id is in the file's name or its folder's; else, with one
site, to that; else, with as many files as sites, in the order given.
Flow: commands/review.py -> HERE -> files.py, season.py.
Never: printing, writing.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from analysis.could_not import not_judged
from analysis.files import Dropped, FilesError, Part, make_honest, read_file, rows_of_parts, years_apart
from analysis.rows import Rows
from analysis.season import Review, review_rows
from analysis.site_beyond import judge_beyond
from analysis.site_fits import judge_fit
from analysis.site_notes import notes_of
from analysis.site_off import off_from_the_first
from analysis.sky import distance_km, measures_sun, of_all, shares_told, tells, with_sky
from analysis.solar_days import iso
from analysis.turned_signs import judge_signs
from analysis.units_by_look import judge_units
from logger.record.problems import Problem
from logger.record.site_facts import SiteFacts


@dataclass
class SiteReadings:
    """All rows of one site, merged, what was dropped, and what is worth saying about them."""

    facts: SiteFacts
    rows: Rows
    dropped: Dropped
    notes: list[str] = field(default_factory=list)
    not_judged: list[str] = field(default_factory=list)


def read_all(
    sites: list[SiteFacts],
    files: list[Path],
    ignore_unknown: bool = False,
    told: Callable[[str, int], None] | None = None,
) -> list[SiteReadings]:
    """The rows of every site out of all files. FilesError: some file cannot be used, or a site has no rows.

    told: called before each file with its name and the bytes of those before it.
    """
    problems: list[Problem] = []
    parts: dict[str, list[Part]] = {site.site.id: [] for site in sites}
    before = 0
    for place, path in enumerate(files):
        if told is not None:
            told(path.name, before)
            before += bytes_of([path])
        try:
            for name, part in read_file(path, ignore_unknown).items():
                owner = _owner(sites, files, place, name)
                problems += judge_units(path.name, part.rows, owner) or judge_signs(path.name, part.rows, owner)
                make_honest(part)
                parts[owner.site.id].append(part)
        except FilesError as error:
            problems += error.problems
    for site in sites:
        if not problems and not sum(len(part.rows) for part in parts[site.site.id]):
            problems.append(
                Problem("--readings", site.site.id, "no rows of this site in any file", "name its file too")
            )
        if not problems:
            problems += _nothing_fits(site, parts[site.site.id])
    if problems:
        raise FilesError(problems)
    merged = [_merged(site, parts[site.site.id]) for site in sites]
    if problems := [
        problem for one in merged for problem in (*judge_fit(one.facts, one.rows), *judge_beyond(one.facts, one.rows))
    ]:
        raise FilesError(problems)
    _share_the_sky(merged)
    return merged


def bytes_of(files: list[Path]) -> int:
    """Of all files that are there; one that is not is told of when it is read."""
    return sum(path.stat().st_size for path in files if path.is_file())


def _share_the_sky(every: list[SiteReadings]) -> None:
    """Sites without a sensor of the sun hear from those near them that have one. Changes their rows and notes."""
    told = {one.facts.site.id: shares_told(one.facts, one.rows) for one in every if measures_sun(one.facts)}
    for one in every:
        near = [other.facts for other in every if tells(other.facts, one.facts) and len(told[other.facts.site.id])]
        if near:
            one.rows = with_sky(one.rows, of_all([told[facts.site.id] for facts in near]))
            names = ", ".join(f"{facts.site.name} ({distance_km(facts, one.facts):.0f} km)" for facts in near)
            one.notes.append(f"no sensor of the sun; clear hours and haze as told by {names}")


def _owner(sites: list[SiteFacts], files: list[Path], place: int, named: str | None) -> SiteFacts:
    by_id = {site.site.id: site for site in sites}
    path = files[place]
    if named is not None:
        if named in by_id:
            return by_id[named]
        raise FilesError(
            [
                Problem(
                    path.name, "column site", f"names {named!r}, which no --site describes", f"add --site for {named}"
                )
            ]
        )
    in_name = [site for site in sites if site.site.id in path.stem] or [
        s for s in sites if s.site.id == path.parent.name
    ]
    if in_name:
        return max(in_name, key=lambda site: len(site.site.id))
    if len(sites) == 1:
        return sites[0]
    if len(files) == len(sites):
        return sites[place]
    fix = "put the site's id into the file's name, or add a column site"
    raise FilesError(
        [Problem(path.name, "file", f"whose readings? {len(sites)} sites and {len(files)} files were named", fix)]
    )


def _nothing_fits(site: SiteFacts, parts: list[Part]) -> list[Problem]:
    held = {name for part in parts for name, column in part.rows.values.items() if not np.isnan(column).all()}
    if held & set(site.sensors.channels):
        return []
    wrong = f"none of the channels in [sensors] of {site.site.id} has a value in its files"
    return [Problem("--readings", site.site.id, wrong, "does this site file belong to these readings?")]


def _merged(site: SiteFacts, parts: list[Part]) -> SiteReadings:
    rows, dropped = rows_of_parts(parts)
    readings = SiteReadings(site, rows, dropped)
    held = {name for name, column in rows.values.items() if not np.isnan(column).all()}
    declared = set(site.sensors.channels)
    if absent := sorted(declared - held):
        readings.notes.append(f"fitted by the site file, but without a value: {', '.join(absent)}")
    if extra := sorted({name for name in held if not name.endswith(("_min", "_max"))} - declared):
        readings.notes.append(f"measured, but not in the site file's [sensors]: {', '.join(extra)}")
    for number in sorted(set(dropped.nulled.values())):
        names = ", ".join(sorted(name for name, count in dropped.nulled.items() if count == number))
        what = f"{number} value{'s' if number > 1 else ''}{' each' if ',' in names else ''} of {names}"
        readings.notes.append(f"{what} could not be true or be read; they count as missing")
    if dropped.unsure_clock:
        readings.notes.append(f"{dropped.unsure_clock} rows left out: their board did not know the time")
    if dropped.stray:
        readings.notes.append(_of_stray(dropped))
    if len(blocks := years_apart(rows.time_ms)) > 1:
        spans = " and ".join(f"{iso(first)[:10]} to {iso(last)[:10]}" for first, last in blocks)
        readings.notes.append(
            f"the rows lie years apart, {spans}: if the logger's clock jumped, review each span by itself (--from, --to); "
            "what lies between is judged as silent"
        )
    if dropped.ignored_columns:
        readings.notes.append(f"columns left out: {', '.join(dropped.ignored_columns)}")
    readings.notes += notes_of(site, rows)
    readings.not_judged = not_judged(rows, site)
    readings.notes += _of_the_file(site)
    return readings


def _of_stray(dropped: Dropped) -> str:
    """What was left out for its time, with the span that it claims."""
    first, last = (iso(ms)[:10] for ms in dropped.stray_ms or (0, 0))
    when = first if first == last else f"{first} to {last}"
    return (
        f"{dropped.stray} rows left out: their times ({when}) lie years from all others, or after their file was written; "
        "the logger's clock looks wrong there"
    )


def _of_the_file(site: SiteFacts) -> list[str]:
    """What in the site file cannot work or is unsafe: people may have it so, and what is found hangs on it."""
    from analysis.site_check import plainly_wrong

    return [
        f"the site file looks wrong at {one.problem.key}: {one.problem.wrong}; wellhand check says what would be right"
        for one in plainly_wrong(site, f"site file of {site.site.id}")
    ]


def review_one(
    readings: SiteReadings,
    from_ms: int | None,
    to_ms: int | None,
    told: Callable[[int, int], None] | None = None,
) -> Review:
    """Judge one site. FilesError: no rows in the span asked for."""
    rows = readings.rows
    if from_ms is not None:
        rows = rows.take(slice(int(np.searchsorted(rows.time_ms, from_ms)), None))
    counts = {name: getattr(readings.dropped, name) for name in ("duplicate", "conflicting", "unreadable")}
    if not len(rows) or (to_ms is not None and int(rows.time_ms[0]) > to_ms):
        wrong = "no rows between --from and --to"
        raise FilesError([Problem("--readings", readings.facts.site.id, wrong, "ask for another span")])
    found = review_rows(readings.facts, rows, to_ms, counts, told)
    off = off_from_the_first(found.days)
    more = {"notes": tuple(readings.notes), "not_judged": (*readings.not_judged, *([] if off is None else [off]))}
    return Review(**{**found.__dict__, **more})
