"""Who is signed in."""

from fastapi import APIRouter

from dashboard.dependencies import SignedIn
from dashboard.errors import DOCUMENTED
from dashboard.routes.api_shapes import WhoOut

router = APIRouter(prefix="/api", tags=["who"], responses={401: DOCUMENTED[401]})


@router.get("/who")
def who(user: SignedIn) -> WhoOut:
    """Your name, role and the sites you may see."""
    return WhoOut(name=user.name, role=user.role, sites=None if user.sites is None else list(user.sites))
