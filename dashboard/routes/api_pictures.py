"""The pictures behind a finding, as data."""

from fastapi import APIRouter

from analysis.pictures import ArrayPicture, FlowPicture
from dashboard.dependencies import OpenStore, TheSettings, ThisFinding, ThisSite
from dashboard.errors import DOCUMENTED, NotFound
from dashboard.evidence import explained
from dashboard.look import site_seen
from dashboard.routes.api_shapes import ArrayPictureOut, FlowPictureOut
from dashboard.views.curve_data import picture_data
from dashboard.views.priority import present_ms

router = APIRouter(prefix="/api/sites/{site_id}/findings/{finding_id}", tags=["pictures"], responses=DOCUMENTED)


@router.get("/flow-against-power")
def show_flow(site: ThisSite, finding: ThisFinding, store: OpenStore, settings: TheSettings) -> FlowPictureOut:
    """Flow against power, a week before the finding began and its last week, beside what should have come."""
    now_ms = present_ms(settings.now_ms(), [site_seen(store, site)])
    picture = explained(store, site, finding, now_ms).pictures.get("flow-against-power")
    if not isinstance(picture, FlowPicture):
        raise NotFound("no readings of flow and power lie around this finding", fix="see its evidence in words")
    return FlowPictureOut(**picture_data(picture))


@router.get("/power-against-sun")
def show_array(site: ThisSite, finding: ThisFinding, store: OpenStore, settings: TheSettings) -> ArrayPictureOut:
    """The array's power against the sun, a week before the finding began and its last week, beside what should have come."""
    now_ms = present_ms(settings.now_ms(), [site_seen(store, site)])
    picture = explained(store, site, finding, now_ms).pictures.get("power-against-sun")
    if not isinstance(picture, ArrayPicture):
        raise NotFound("no readings at maximum power lie around this finding", fix="see its evidence in words")
    return ArrayPictureOut(**picture_data(picture))
