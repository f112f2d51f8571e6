"""What the pictures of a finding are made of: the readings and days around it.

Flow: store, analysis.pictures -> HERE -> routes/finding.py, routes/api_pictures.py.
Never: physics (analysis), drawing (views).
"""

from analysis.explain_sources import stored_rows
from analysis.explanation import dates_around, has_marks
from analysis.pictures import ArrayPicture, FlowPicture, flow_against_power, power_against_sun
from analysis.plant import plant_of
from analysis.rows import Rows
from analysis.store import Store
from analysis.summary import DaySummary
from dashboard.views.figures import ms_of
from logger.record.finding import Finding
from logger.record.site_facts import SiteFacts


def rows_around(store: Store, site: str, finding: Finding, now_ms: int) -> Rows:
    """The week before it began, the hours around, and its last week, up to its end or now."""
    return stored_rows(store, site, finding, now_ms)


def flow_picture(facts: SiteFacts, rows: Rows, finding: Finding) -> FlowPicture | None:
    """Before it began against since. None: no reading speaks of flow."""
    picture = flow_against_power(plant_of(facts).model, rows, ms_of(finding.began))
    return picture if has_marks(picture) else None


def array_picture(facts: SiteFacts, rows: Rows, finding: Finding) -> ArrayPicture | None:
    """Before it began against since. None: no reading at maximum power."""
    picture = power_against_sun(plant_of(facts).model, rows, ms_of(finding.began))
    return picture if has_marks(picture) else None


def days_around(store: Store, facts: SiteFacts, finding: Finding, now_ms: int) -> list[DaySummary]:
    """Days from two weeks before it began to its end or now, at most a month after the beginning."""
    return store.days(facts.site.id, *dates_around(finding, now_ms))
