"""What the pictures of a finding are made of: the readings and days around it.

Flow: store, analysis.explanation -> HERE -> routes/finding.py, routes/api_pictures.py.
Never: physics (analysis), drawing (views).
"""

from analysis.explain_sources import stored_rows
from analysis.explanation import Explanation, dates_around, explain
from analysis.store import Store
from analysis.summary import DaySummary
from logger.record.finding import Finding
from logger.record.site_facts import SiteFacts


def explained(store: Store, facts: SiteFacts, finding: Finding, now_ms: int) -> Explanation:
    """The finding with its pictures, of the week before it began, the hours and the week that led to it, and its last week."""
    site = facts.site.id
    rows, days = stored_rows(store, site, finding, now_ms), days_around(store, facts, finding, now_ms)
    return explain(facts, rows, finding, days, with_departures=False)


def days_around(store: Store, facts: SiteFacts, finding: Finding, now_ms: int) -> list[DaySummary]:
    """Days from two weeks before it began to its end or now, at most four months in all."""
    return store.days(facts.site.id, *dates_around(finding, now_ms))
