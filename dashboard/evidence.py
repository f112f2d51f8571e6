"""What the pictures of a finding are made of: the readings and days around it.

Flow: store, analysis.pictures -> HERE -> routes/finding.py, routes/api_pictures.py.
Never: physics (analysis), drawing (views).
"""

from datetime import UTC, datetime, timedelta

from analysis.pictures import ArrayPicture, FlowPicture, flow_against_power, power_against_sun
from analysis.plant import plant_of
from analysis.rows import Rows, joined
from analysis.store import Store
from analysis.summary import DaySummary
from dashboard.views.figures import ms_of
from logger.record.finding import Finding
from logger.record.site_facts import SiteFacts

DAY_MS = 86_400_000
SPAN_MS = 7 * DAY_MS
"""On each side: a week holds all of the sun's range, and is read in a moment."""
DAYS_BEFORE, DAYS_AFTER = 14, 30


def rows_around(store: Store, site: str, finding: Finding, now_ms: int) -> Rows:
    """The week before it began and its last week, up to its end or now."""
    began = ms_of(finding.began)
    ended = ms_of(finding.ended) if finding.ended else now_ms
    before = store.readings(site, began - SPAN_MS, began)
    return joined([before, store.readings(site, max(began, ended - SPAN_MS), ended + 1)])


def flow_picture(facts: SiteFacts, rows: Rows, finding: Finding) -> FlowPicture | None:
    """Before it began against since. None: no reading speaks of flow."""
    picture = flow_against_power(plant_of(facts).model, rows, ms_of(finding.began))
    return picture if len(picture.before.x) + len(picture.after.x) else None


def array_picture(facts: SiteFacts, rows: Rows, finding: Finding) -> ArrayPicture | None:
    """Before it began against since. None: no reading at maximum power."""
    picture = power_against_sun(plant_of(facts).model, rows, ms_of(finding.began))
    return picture if len(picture.before.x) + len(picture.after.x) else None


def days_around(store: Store, facts: SiteFacts, finding: Finding, now_ms: int) -> list[DaySummary]:
    """Days from two weeks before it began to its end or now, at most `DAYS_AFTER` after the beginning."""
    began = datetime.fromtimestamp(ms_of(finding.began) / 1000, UTC)
    last = datetime.fromtimestamp((ms_of(finding.ended) if finding.ended else now_ms) / 1000, UTC)
    last = min(last, began + timedelta(days=DAYS_AFTER)) + timedelta(days=1)
    first = began - timedelta(days=DAYS_BEFORE)
    return store.days(facts.site.id, first.date().isoformat(), last.date().isoformat())
