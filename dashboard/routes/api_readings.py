"""Readings of a bounded span, thinned for a picture, as JSON columns."""

from datetime import timedelta
from typing import Annotated

from fastapi import APIRouter, Query
from pydantic import AwareDatetime

from dashboard.dependencies import OpenStore, ThisSite
from dashboard.errors import DOCUMENTED, BadRequest
from dashboard.routes.api_shapes import ReadingsOut
from dashboard.views.thin import thinned
from logger.record.channels import CHANNELS

router = APIRouter(prefix="/api/sites/{site_id}", tags=["readings"], responses=DOCUMENTED)
SPAN_MAX = timedelta(days=40)
"""As long as the store keeps rows at hand; longer is an export, not a page."""
POINTS_MAX = 10_000


@router.get("/readings")
def list_readings(
    site: ThisSite,
    store: OpenStore,
    since: Annotated[AwareDatetime, Query(alias="from", description="ISO 8601 with an offset or Z")],
    until: Annotated[AwareDatetime, Query(alias="to", description="ISO 8601, not taken")],
    channels: Annotated[
        str, Query(max_length=1000, description="names with commas between; empty = all there are")
    ] = "",
    points: Annotated[int, Query(ge=1, le=POINTS_MAX, description="most rows in the answer")] = 1000,
) -> ReadingsOut:
    """Readings from `from` up to `to`; where there are more than `points`, means over even intervals."""
    if not timedelta(0) < until - since <= SPAN_MAX:
        raise BadRequest("span empty or too long", fix=f"put 'to' after 'from', by at most {SPAN_MAX.days} days")
    named = [name.strip() for name in channels.split(",") if name.strip()]
    unknown = [name for name in named if name not in CHANNELS]
    if unknown:
        raise BadRequest(f"no such channel: {', '.join(unknown)}", fix=f"choose of {', '.join(CHANNELS)}")
    from_ms, to_ms = (round(moment.timestamp() * 1000) for moment in (since, until))
    rows = store.readings(site.site.id, from_ms, to_ms, named or None)
    return ReadingsOut(site=site.site.id, **thinned(rows, from_ms, to_ms, points))
