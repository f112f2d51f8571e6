"""The list of what to do next, whole and as the part that renews itself."""

from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Query, Request
from starlette.responses import HTMLResponse

from dashboard.dependencies import OpenStore, SignedIn, TheSettings, TheWords
from dashboard.look import sites_seen
from dashboard.views.fleet import ROWS_MAX, fleet
from dashboard.views.priority import present_ms

router = APIRouter(prefix="/fleet", include_in_schema=False)
Asked = Annotated[str, Query(alias="words", max_length=100)]
Start = Annotated[int, Query(ge=0, le=1_000_000)]


def shown(
    user: SignedIn, store: OpenStore, settings: TheSettings, words: TheWords, asked: str, start: int
) -> dict[str, Any]:
    """What both show."""
    sites = sites_seen(store, user)

    def address(path: str, at: int) -> str:
        query = {key: value for key, value in (("words", asked), ("start", at)) if value}
        return f"{path}?{urlencode(query)}" if query else path

    return {
        "fleet": fleet(sites, present_ms(settings.now_ms(), sites), words, asked, start),
        "title": words("fleet.title_farmer" if user.role == "farmer" else "fleet.title"),
        "asked": asked,
        "fragment": address("/fleet/rows", start),
        "previous": address("/fleet", max(0, start - ROWS_MAX)),
        "next": address("/fleet", start + ROWS_MAX),
    }


@router.get("")
def whole(
    request: Request,
    user: SignedIn,
    store: OpenStore,
    settings: TheSettings,
    words: TheWords,
    asked: Asked = "",
    start: Start = 0,
) -> HTMLResponse:
    """The page."""
    listed = shown(user, store, settings, words, asked, start)
    return request.app.state.pages.page(request, "fleet.html", **listed)


@router.get("/rows")
def part(
    request: Request,
    user: SignedIn,
    store: OpenStore,
    settings: TheSettings,
    words: TheWords,
    asked: Asked = "",
    start: Start = 0,
) -> HTMLResponse:
    """The part that renews itself."""
    listed = shown(user, store, settings, words, asked, start)
    return request.app.state.pages.page(request, "_rows.html", **listed)
