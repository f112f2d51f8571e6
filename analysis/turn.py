"""One turn of one site: what came since the last is judged, and all that follows from it is kept in one transaction.

Flow: the store's change notes and rows -> HERE -> pipeline.advance -> state, findings, days, present, outbox.
Rows that came late (at or before the last closed day) take the site back to the newest state before them, and it runs again.
On PostgreSQL the site's row stays locked from the look to the commit, so workers share the sites out by themselves. On
SQLite only one worker runs, and the lock on the database is taken for the writing alone, so that readings can come in meanwhile.
Never: the broker; a clock of its own.
"""

import logging
from dataclasses import dataclass, replace

from sqlalchemy import Connection

from analysis import pipeline
from analysis.memory import StateError
from analysis.sky import measures_sun, shares_told, with_sky
from analysis.snapshots import kept_snapshots
from analysis.solar_days import HOUR_MS
from analysis.store import Store, findings, outbox, pulse, read_out, sites, state, summaries, told_sky
from analysis.store.findings import ms_of
from analysis.store.tables import number_of
from logger.record.finding import Finding
from logger.record.site_facts import SiteFacts
from logger.record.topics import FINDINGS

log = logging.getLogger(__name__)

GRACE_MS = 15 * 60_000
"""When nothing comes, the clock itself says how far time is complete, less this: batches of a slow link are under way."""
CHUNK_MS = 6 * 86_400_000  # a second's readings of so long, some 500,000 rows, are held in memory together
DISPROVED = "judged again with all that is known now, it does not stand"
LINK_WAS_DOWN = "its readings came later: the link was down, not the board"
TOLD_ANEW = "with the readings that came late the same fault is told as {id}, since {began}"
"""What went on all the time was not wrong to tell: only its beginning, and with it its id, is another."""


@dataclass(frozen=True)
class Turned:
    """What one turn did. `new`, `changed`: findings; `rows`: how many were read."""

    site: str
    until_ms: int
    rows: int
    new: tuple[Finding, ...] = ()
    changed: tuple[Finding, ...] = ()


@dataclass
class _Seen:
    """What the look at the store found."""

    number: int
    facts: SiteFacts
    notes: dict[int, int]
    closes: list[int]
    base_ms: int | None
    base: pipeline.State | None
    first_ms: int | None
    until_ms: int


@dataclass
class _Outcome:
    state: pipeline.State
    days_before: int
    closed: dict[int, pipeline.State]
    rows: int


def turn(store: Store, site: str, clock_ms: int, grace_ms: int = GRACE_MS) -> Turned | None:
    """Judge one site up to now. None: another worker has it, or it never sent anything. KeyError: no such site."""
    if store.engine.dialect.name == "sqlite":
        with store.reading() as connection:
            seen = _look(connection, site, clock_ms, grace_ms)
            outcome = _work_out(connection, seen) if seen else None
        if seen is None or outcome is None:
            return None
        with store.writing() as connection:
            return _keep(connection, site, seen, outcome)
    with store.writing() as connection:
        if not state.claim(connection, site):
            return None
        seen = _look(connection, site, clock_ms, grace_ms)
        return _keep(connection, site, seen, _work_out(connection, seen)) if seen else None


def _look(connection: Connection, site: str, clock_ms: int, grace_ms: int) -> _Seen | None:
    """Where to begin: the newest state that nothing new lies before."""
    number = number_of(connection, site)
    facts = sites.facts_of(sites.facts_text(connection, site))
    notes = state.changes(connection, number)
    first_ms = read_out.oldest_ms(connection, number)
    if first_ms is None:
        return None
    newest_ms = read_out.newest_ms(connection, number, clock_ms)
    judged_ms = state.judged_until(connection).get(site, first_ms)
    until_ms = max(judged_ms, newest_ms or first_ms, clock_ms - grace_ms)
    closes = state.closes(connection, number, facts.digest)
    good = [close_ms for close_ms in closes if close_ms < min(notes.values(), default=close_ms + 1)]
    base_ms = good[-1] if good else None
    base = None
    if base_ms is not None:
        try:
            base = pipeline.loads(state.snapshot(connection, number, base_ms), facts)
        except StateError as error:
            log.warning("%s: %s.", site, error)
            base_ms, good = None, []
    return _Seen(number, facts, notes, good, base_ms, base, first_ms, until_ms)


def _work_out(connection: Connection, seen: _Seen) -> _Outcome:
    """Run the engine from the base over the rows after it, some days at a time."""
    now = pipeline.begin(seen.facts) if seen.base is None else seen.base
    days_before = len(now.days)
    closed: dict[int, pipeline.State] = {}
    start = (seen.first_ms or 0) if seen.base_ms is None else seen.base_ms + 1
    rows = 0
    while True:
        stop = min(start + CHUNK_MS, seen.until_ms + 1)
        block = read_out.rows_between(connection, seen.number, start, stop)
        rows += len(block)
        if not measures_sun(seen.facts):
            block = with_sky(block, told_sky.told_between(connection, seen.number, start // HOUR_MS * HOUR_MS, stop))
        now = pipeline.advance(now, block, stop - 1, lambda at: closed.__setitem__(at.closed_until_ms, at))
        if stop > seen.until_ms:
            return _Outcome(now, days_before, closed, rows)
        start = stop


def _keep(connection: Connection, site: str, seen: _Seen, outcome: _Outcome) -> Turned:
    judged, number, digest = outcome.state, seen.number, seen.facts.digest
    kept = kept_snapshots([*seen.closes, *outcome.closed])
    fresh = {close_ms: at.dumps() for close_ms, at in outcome.closed.items() if close_ms in kept}
    state.keep_closes(connection, number, digest, fresh, kept)
    state.put_judged(connection, number, digest, judged.until_ms)
    if judged.now is not None:
        summaries.put_now(connection, number, judged.now)
    known = dict(_known(connection, site))
    first = 0 if days_change(judged.findings, known) else outcome.days_before
    summaries.put_days(connection, number, judged.days[first:])
    changed = findings.put_findings(connection, number, reconciled(judged.findings, known))
    if changed:
        outbox.put_letter(connection, number, FINDINGS, {})
    _tell_neighbours(connection, seen, outcome)
    state.drop_changes(connection, seen.notes)
    pulse.beat(connection, [number])
    new = tuple(one for one in changed if one.id not in known)
    return Turned(site, judged.until_ms, outcome.rows, new, tuple(one for one in changed if one.id in known))


def days_change(found: tuple[Finding, ...], known: dict[str, Finding]) -> bool:
    """Whether days that were written before may stand under another cause now: one was renamed, or told only now of what it had lost while it waited."""
    return any(one.id not in known or known[one.id].cause != one.cause for one in found)


def _tell_neighbours(connection: Connection, seen: _Seen, outcome: _Outcome) -> None:
    """Of the days that closed in this turn: once a day, and only where somebody near measures no sun of their own.

    Who hears for the first time is told of the past too; who stands near no longer, or whose teller lost its sensor, forgets.
    """
    if not outcome.closed:
        return
    near = told_sky.listeners(connection, seen.facts) if measures_sun(seen.facts) else []
    told_sky.forget(connection, seen.number, near)
    if not near:
        return
    first, end = (seen.first_ms or 0) // HOUR_MS * HOUR_MS, max(outcome.closed) + 1
    start = first if seen.base_ms is None else (seen.base_ms + 1) // HOUR_MS * HOUR_MS
    fresh = told_sky.never_told(connection, seen.number, near)
    for to, since, until in ((fresh, first, start), (near, start, end)):
        for low in range(since, until, CHUNK_MS) if to else ():
            high = min(low + CHUNK_MS, until)
            heard = read_out.rows_between(connection, seen.number, low - HOUR_MS, high)
            told_sky.tell(connection, seen.number, to, shares_told(seen.facts, heard).between(low, high), low, high)


def _known(connection: Connection, site: str) -> list[tuple[str, Finding]]:
    return [(one.id, one) for _, one in findings.find(connection, site)]


def reconciled(fresh: tuple[Finding, ...], known: dict[str, Finding]) -> tuple[Finding, ...]:
    """What to keep, given what was kept: a change raises the revision, and what is found no longer is withdrawn.

    `raised` is the store's own: the engine does not know when people were told.
    """
    kept = []
    for one in fresh:
        old = known.get(one.id)
        if old is not None:
            one = replace(one, raised=old.raised, revision=old.revision)
            one = one if one == old else replace(one, revision=old.revision + 1)
        kept.append(one)
    ids = {one.id for one in fresh}
    for old in known.values():
        if old.id not in ids and old.withdrawn is None:
            kept.append(replace(old, withdrawn=why_withdrawn(old, fresh), revision=old.revision + 1))
    return tuple(kept)


def why_withdrawn(old: Finding, fresh: tuple[Finding, ...]) -> str:
    """Reason for a finding whose id is found no longer: the same fault under another id, a link that was down, or disproved.

    The same fault: of one cause and channel, of one part where both name one, in some time in common. Of several the one that
    began nearest.
    """
    same = [
        one
        for one in fresh
        if (one.cause, one.channel) == (old.cause, old.channel)
        and (one.part is None or old.part is None or one.part == old.part)
        and ms_of(one.began) < _known_until_ms(old)
        and (one.ended is None or ms_of(old.began) < ms_of(one.ended))
    ]
    if same:
        nearest = min(same, key=lambda one: (abs(ms_of(one.began) - ms_of(old.began)), one.id))
        return TOLD_ANEW.format(id=nearest.id, began=nearest.began)
    return LINK_WAS_DOWN if old.cause == "silent" else DISPROVED


def _known_until_ms(old: Finding) -> float:
    """How far a withdrawn finding had reached; of a silence no further than it had lasted, for every later one is another."""
    if old.ended is not None:
        return ms_of(old.ended)
    if old.cause != "silent" or old.size is None:
        return float("inf")
    return ms_of(old.began) + old.size.value * HOUR_MS
