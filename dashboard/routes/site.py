"""The farmer's page of one site, whole and as the part that renews itself."""

from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import HTMLResponse

from dashboard.dependencies import OpenStore, TheSettings, TheWords, ThisSite
from dashboard.look import site_seen
from dashboard.views.glance import glance
from dashboard.views.priority import present_ms

router = APIRouter(prefix="/sites/{site_id}", include_in_schema=False)


def shown(site: ThisSite, store: OpenStore, settings: TheSettings, words: TheWords) -> dict[str, Any]:
    """What both show."""
    seen = site_seen(store, site)
    page = glance(seen, present_ms(settings.now_ms(), [seen]), words)
    return {"glance": page, "fragment": f"/sites/{seen.id}/glance"}


@router.get("")
def whole(request: Request, site: ThisSite, store: OpenStore, settings: TheSettings, words: TheWords) -> HTMLResponse:
    """The page."""
    return request.app.state.pages.page(request, "site.html", **shown(site, store, settings, words))


@router.get("/glance")
def part(request: Request, site: ThisSite, store: OpenStore, settings: TheSettings, words: TheWords) -> HTMLResponse:
    """The part that renews itself."""
    return request.app.state.pages.page(request, "_glance.html", **shown(site, store, settings, words))
