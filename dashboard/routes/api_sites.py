"""Sites, what they do now, what is wrong, their days, their boards: as JSON."""

from dataclasses import asdict
from datetime import date, timedelta
from typing import Annotated

from fastapi import APIRouter, Query
from pydantic import AwareDatetime

from dashboard.dependencies import OpenStore, SignedIn, TheSettings, ThisFinding, ThisSite
from dashboard.errors import DOCUMENTED, BadRequest, NotFound
from dashboard.look import may_see, site_seen, sites_seen
from dashboard.routes.api_shapes import (
    BoardOut,
    DayOut,
    FindingOut,
    NowOut,
    SiteOut,
    day_out,
    finding_out,
    now_out,
)
from dashboard.views.priority import LEVEL_NAMES, level, present_ms
from logger.record.site_facts import SiteFacts

router = APIRouter(prefix="/api", tags=["sites"], responses=DOCUMENTED)
DAYS_MAX = 800
From = Annotated[AwareDatetime | None, Query(alias="from", description="ISO 8601 with an offset or Z")]
To = Annotated[AwareDatetime | None, Query(alias="to", description="ISO 8601 with an offset or Z")]
OpenOnly = Annotated[bool, Query(alias="open", description="only those that last and were not withdrawn")]


def _ms(moment: AwareDatetime | None) -> int | None:
    return None if moment is None else round(moment.timestamp() * 1000)


@router.get("/sites")
def list_sites(user: SignedIn, store: OpenStore, settings: TheSettings) -> list[SiteOut]:
    """The sites that you may see, by id."""
    sites = sites_seen(store, user)
    now_ms = present_ms(settings.now_ms(), sites)
    return [
        SiteOut(
            id=site.id,
            name=site.name,
            timezone=site.timezone,
            level=LEVEL_NAMES[level(site, now_ms)],
            open_findings=len(site.findings),
        )
        for site in sites
    ]


@router.get("/findings")
def list_all_findings(
    user: SignedIn, store: OpenStore, open_only: OpenOnly = True, since: From = None, until: To = None
) -> list[FindingOut]:
    """Findings of all the sites that you may see, newest flagged first."""
    found = store.findings_by_site(None, open_only, _ms(since), _ms(until))
    return [finding_out(site, one) for site, one in found if may_see(user, site)]


@router.get("/sites/{site_id}")
def show_site(site: ThisSite) -> SiteFacts:
    """What was installed there: the site file's facts."""
    return site


@router.get("/sites/{site_id}/now")
def show_now(site: ThisSite, store: OpenStore, settings: TheSettings) -> NowOut:
    """What the site does now, and today's water against what today's sun should have given."""
    seen = site_seen(store, site)
    if seen.now is None:
        raise NotFound(
            f"{seen.id} has not been judged yet", fix="wait for its first readings and a turn of the analysis"
        )
    return now_out(seen.now, LEVEL_NAMES[level(seen, present_ms(settings.now_ms(), [seen]))])


@router.get("/sites/{site_id}/findings")
def list_findings(
    site: ThisSite, store: OpenStore, open_only: OpenOnly = False, since: From = None, until: To = None
) -> list[FindingOut]:
    """Findings that overlap `from` to `to`, newest flagged first."""
    found = store.findings(site.site.id, open_only, _ms(since), _ms(until))
    return [finding_out(site.site.id, one) for one in found]


@router.get("/sites/{site_id}/findings/{finding_id}")
def show_finding(site: ThisSite, finding: ThisFinding) -> FindingOut:
    """One finding as it stands now."""
    return finding_out(site.site.id, finding)


@router.get("/sites/{site_id}/days")
def list_days(
    site: ThisSite,
    store: OpenStore,
    first: Annotated[date, Query(alias="from", description="local date, ISO 8601")],
    last: Annotated[date, Query(alias="to", description="local date, ISO 8601, taken too")],
) -> list[DayOut]:
    """Days by local date, oldest first."""
    if not timedelta(0) <= last - first < timedelta(days=DAYS_MAX):
        raise BadRequest("span backwards or too long", fix=f"put 'to' on or after 'from', by less than {DAYS_MAX} days")
    return [day_out(day) for day in store.days(site.site.id, first.isoformat(), last.isoformat())]


@router.get("/sites/{site_id}/board")
def show_board(site: ThisSite, store: OpenStore) -> BoardOut:
    """What the board last said of itself (online since when, its health), and what the server refused of it."""
    refused = [asdict(tally) for tally in store.tallies(site.site.id)]
    return BoardOut(presence=store.presence(site.site.id), health=store.health(site.site.id), refused=refused)
