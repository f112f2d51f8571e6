"""What the picture of a finding is made of: the readings and days around it.

Flow: store, analysis.pictures -> HERE -> routes/finding.py, routes/api.
Never: physics (analysis), drawing (views).
"""

from datetime import UTC, datetime, timedelta
from functools import lru_cache
from importlib.util import find_spec
from typing import TYPE_CHECKING

from analysis.expected import SiteModel
from analysis.rows import joined
from analysis.store import Store
from analysis.summary import DaySummary
from dashboard.views.figures import ms_of
from logger.record.finding import Finding
from logger.record.site_facts import SiteFacts

if TYPE_CHECKING:
    from analysis.pictures import FlowPicture

DAY_MS = 86_400_000
SPAN_MS = 7 * DAY_MS
"""On each side: a week holds all of the sun's range, and is read in a moment."""
DAYS_BEFORE, DAYS_AFTER = 14, 30
MODELS_REMEMBERED = 64


@lru_cache(maxsize=MODELS_REMEMBERED)
def _model(facts: SiteFacts) -> SiteModel:
    return SiteModel(facts)


def flow_picture(store: Store, facts: SiteFacts, finding: Finding, now_ms: int) -> "FlowPicture | None":
    """The week before it began against its last week (up to now, or to its end). None: no reading speaks of flow."""
    if find_spec("analysis.pictures") is None:
        return None
    from analysis.pictures import flow_against_power

    site, began = facts.site.id, ms_of(finding.began)
    ended = ms_of(finding.ended) if finding.ended else now_ms
    rows = joined(
        [
            store.readings(site, began - SPAN_MS, began),
            store.readings(site, max(began, ended - SPAN_MS), ended + 1),
        ]
    )
    if not len(rows):
        return None
    return flow_against_power(_model(facts), rows, began)


def days_around(store: Store, facts: SiteFacts, finding: Finding, now_ms: int) -> list[DaySummary]:
    """Days from two weeks before it began to its end or now, at most `DAYS_AFTER` after the beginning."""
    began = datetime.fromtimestamp(ms_of(finding.began) / 1000, UTC)
    last = datetime.fromtimestamp((ms_of(finding.ended) if finding.ended else now_ms) / 1000, UTC)
    last = min(last, began + timedelta(days=DAYS_AFTER)) + timedelta(days=1)
    first = began - timedelta(days=DAYS_BEFORE)
    return store.days(facts.site.id, first.date().isoformat(), last.date().isoformat())
