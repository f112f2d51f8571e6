"""Findings, each by its id, with what people did about them.

A finding is revised, never deleted.
Never: judgement.
"""

import json
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, select

from analysis.store.schema import act, finding, site
from analysis.store.tables import now_ms, pairs, to_json, upsert
from logger.record.finding import Finding


def ms_of(text: str) -> int:
    """Milliseconds of an ISO 8601 time with Z or an offset."""
    return round(datetime.fromisoformat(text).timestamp() * 1000)


def put_findings(connection: Connection, number: int, findings: tuple[Finding, ...]) -> list[Finding]:
    """Keep these findings of one site; those that are new or differ from what was kept."""
    known = pairs(connection, select(finding.c.id, finding.c.doc).where(finding.c.site_no == number))
    fresh = [(one, to_json(one.as_dict())) for one in findings]
    fresh = [(one, doc) for one, doc in fresh if known.get(one.id) != doc]
    upsert(
        connection,
        finding,
        [
            {
                "site_no": number,
                "id": one.id,
                "revision": one.revision,
                "cause": one.cause,
                "flagged_ms": ms_of(one.flagged),
                "began_ms": ms_of(one.began),
                "ended_ms": ms_of(one.ended) if one.ended else None,
                "withdrawn": one.withdrawn is not None,
                "doc": doc,
            }
            for one, doc in fresh
        ],
    )
    return [one for one, _ in fresh]


def find(
    connection: Connection,
    site_id: str | None = None,
    open_only: bool = False,
    from_ms: int | None = None,
    to_ms: int | None = None,
) -> list[tuple[str, Finding]]:
    """(site, finding), newest flagged first. Open: not ended, not withdrawn. A span takes what overlaps it."""
    asked = select(site.c.id, finding.c.doc).join(site, site.c.no == finding.c.site_no)
    if site_id is not None:
        asked = asked.where(site.c.id == site_id)
    if open_only:
        asked = asked.where(finding.c.ended_ms.is_(None), ~finding.c.withdrawn)
    if from_ms is not None:
        asked = asked.where(finding.c.ended_ms.is_(None) | (finding.c.ended_ms >= from_ms))
    if to_ms is not None:
        asked = asked.where(finding.c.began_ms < to_ms)
    found = connection.execute(asked.order_by(finding.c.flagged_ms.desc(), site.c.id, finding.c.id))
    return [(site_id_, Finding.from_dict(json.loads(doc))) for site_id_, doc in found]


def put_act(connection: Connection, number: int, kind: str, by: str, finding_id: str | None, **doc: Any) -> None:
    """Note what a person did: acknowledged, shelved, assigned, noted, visited. `until_ms` in `doc` bounds a shelving."""
    connection.execute(
        act.insert().values(
            site_no=number,
            finding_id=finding_id,
            kind=kind,
            by=by,
            at_ms=now_ms(),
            until_ms=doc.pop("until_ms", None),
            doc=to_json(doc),
        )
    )


def acts(connection: Connection, number: int, finding_id: str | None = None) -> list[dict[str, Any]]:
    """What people did at one site, or about one finding, oldest first."""
    asked = select(act).where(act.c.site_no == number)
    if finding_id is not None:
        asked = asked.where(act.c.finding_id == finding_id)
    return [
        {**json.loads(row["doc"]), **{key: row[key] for key in ("finding_id", "kind", "by", "at_ms", "until_ms")}}
        for row in connection.execute(asked.order_by(act.c.no)).mappings()
    ]
