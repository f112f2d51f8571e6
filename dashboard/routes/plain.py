"""What needs no sign-in: the files of the look, and whether the server is well."""

import time

from fastapi import APIRouter, Request
from pydantic import BaseModel, Field
from starlette.responses import Response

from dashboard.dependencies import OpenStore
from dashboard.errors import ErrorBody, NotFound, Unavailable

router = APIRouter()
FOR_EVER = "public, max-age=31536000, immutable"
"""The address names the content, so a new content has a new address."""


class Health(BaseModel):
    """The server is well."""

    well: bool = Field(description="always true; otherwise the answer is 503")
    store_ms: float = Field(description="how long the store took to answer")


@router.get(
    "/healthz", tags=["server"], responses={503: {"model": ErrorBody, "description": "the store does not answer"}}
)
def healthz(store: OpenStore) -> Health:
    """Well means: the store answered just now."""
    begun = time.perf_counter()
    try:
        store.changes_after(None)
    except Exception as error:
        raise Unavailable(
            f"the store does not answer ({type(error).__name__})", fix="look at the database and the server's log"
        ) from error
    return Health(well=True, store_ms=round(1000 * (time.perf_counter() - begun), 1))


@router.get("/static/{name}", include_in_schema=False)
def static(request: Request, name: str) -> Response:
    """One file of the look."""
    asset = request.app.state.pages.assets.get(name)
    if asset is None:
        raise NotFound(f"nothing is at {request.url.path}", fix="reload the page that asked for it")
    fresh = request.query_params.get("v") == asset.version
    headers = {"cache-control": FOR_EVER if fresh else "no-cache"}
    return Response(asset.body, media_type=asset.media_type, headers=headers)
