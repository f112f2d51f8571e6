"""The page of one finding."""

from fastapi import APIRouter, Request
from starlette.responses import HTMLResponse

from dashboard.dependencies import OpenStore, TheSettings, TheWords, ThisFinding, ThisSite
from dashboard.evidence import days_around, explained
from dashboard.look import site_seen
from dashboard.views.finding import finding_page
from dashboard.views.priority import present_ms

router = APIRouter(prefix="/sites/{site_id}/findings", include_in_schema=False)


@router.get("/{finding_id}")
def show(
    request: Request, site: ThisSite, finding: ThisFinding, store: OpenStore, settings: TheSettings, words: TheWords
) -> HTMLResponse:
    """Figures and pictures."""
    seen = site_seen(store, site)
    now_ms = present_ms(settings.now_ms(), [seen])
    shown, days = explained(store, site, finding, now_ms), days_around(store, site, finding, now_ms)
    page = finding_page(seen, shown, days, now_ms, words)
    return request.app.state.pages.page(request, "finding.html", page=page)
