"""Where a finding, its readings and its days come from: a review's folder, files to be judged anew, or a store.

Flow: commands/explain.py -> HERE -> explanation.py.
Never: writing.
"""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from analysis.explanation import Explanation, dates_around, explain, spans_around
from analysis.review_files import read_all, review_one
from analysis.rows import Rows, joined
from analysis.store import Store, StoreError
from analysis.summary import DaySummary
from analysis.tables_in import FilesError, refused, table_of
from logger.record.finding import Finding
from logger.record.site_facts import SiteFacts
from logger.record.site_file import load_site

EVERY = "all"


def from_files(site: Path, readings: list[Path], wanted: str, folder: Path | None = None) -> Iterator[Explanation]:
    """Findings of a review's folder; without a folder the readings are judged anew. FileError: some file cannot be used."""
    facts = load_site(site)
    if folder is not None:
        findings, days = _reviewed(folder, facts)
        findings = _wanted(findings, wanted, str(folder))
    given = read_all([facts], readings)[0]
    if folder is None:
        review = review_one(given, None, None)
        findings, days = _wanted(list(review.findings), wanted, "--readings"), list(review.days)
    for finding in findings:
        yield explain(facts, given.rows, finding, days)


def from_store(store: Store, site: str, wanted: str) -> Iterator[Explanation]:
    """Findings of a store. StoreError, FileError: it knows no such site or finding."""
    try:
        facts = store.site_facts(site)
    except KeyError:
        known = ", ".join(one.id for one in store.sites()) or "none"
        raise StoreError(f"--site {site}: the store does not know it\n    fix: one of {known}") from None
    latest = store.latest(site)
    for finding in _wanted(store.findings(site), wanted, "--store"):
        end_ms = latest.time_ms if latest else 0
        days = store.days(site, *dates_around(finding, end_ms))
        yield explain(facts, stored_rows(store, site, finding, end_ms), finding, days)


def stored_rows(store: Store, site: str, finding: Finding, end_ms: int) -> Rows:
    """The readings that the pictures of a finding need; `end_ms`: now, where it still lasts."""
    return joined([store.readings(site, start, stop) for start, stop in spans_around(finding, end_ms)])


def _wanted(findings: list[Finding], wanted: str, source: str) -> list[Finding]:
    if wanted == EVERY:
        return findings
    found = [finding for finding in findings if finding.id == wanted]
    if not found:
        known = ", ".join(finding.id for finding in findings[:20]) or "none: nothing wrong was found"
        raise FilesError([*refused(source, "--finding", f"no finding {wanted!r}", f"one of: {known}").problems])
    return found


def _reviewed(folder: Path, facts: SiteFacts) -> tuple[list[Finding], list[DaySummary]]:
    """A review's folder of one site, or of several with one folder each."""
    site = facts.site.id
    inner = folder / site if (folder / site / "findings.json").is_file() else folder
    path = inner / "findings.json"
    try:
        whole = json.loads(path.read_text(encoding="utf-8"))
        owner, findings = whole["site"], [Finding.from_dict(one) for one in whole["findings"]]
    except OSError as error:
        raise refused(
            str(path), "file", f"cannot be read: {error.strerror or error}", "name the --out of a review"
        ) from None
    except (ValueError, KeyError, TypeError, AttributeError):
        raise refused(str(path), "file", "not the findings of a review", "name the --out of a review") from None
    if owner != site:
        raise refused(
            str(path), "site", f"is {owner!r}, and --site describes {site!r}", "name the site file of the review"
        )
    return findings, _days(inner / "daily.parquet", site)


def _days(path: Path, site: str) -> list[DaySummary]:
    """A review's days; none where its folder has none."""
    if not path.is_file():
        return []
    frame = table_of(path).to_pandas()
    days = []
    for row in frame.to_dict("records"):
        lost = {
            name.removeprefix("lost_").removesuffix("_m3").replace("_", "-"): amount
            for name, amount in row.items()
            if name.startswith("lost_") and amount
        }
        plain: dict[str, Any] = {name: _or_none(row[name]) for name in DaySummary.__dataclass_fields__ if name in row}
        days.append(DaySummary(**{**plain, "site": site, "lost_m3": lost}))
    return days


def _or_none(value: Any) -> Any:
    return None if isinstance(value, float) and np.isnan(value) else value
