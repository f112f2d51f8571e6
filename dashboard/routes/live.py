"""Server-sent events: which sites changed, so that a page renews its part.

Flow: hub.py -> HERE -> static/live.js.
A stream ends by itself after a quarter of an hour; the browser comes again and is judged anew.
"""

import json
import time
from collections.abc import AsyncIterator

from fastapi import APIRouter, Request
from starlette.responses import StreamingResponse

from analysis.store.users import User
from dashboard.dependencies import SignedIn
from dashboard.errors import DOCUMENTED, ErrorBody, Unavailable
from dashboard.hub import Hub, Listener
from dashboard.look import may_see

router = APIRouter(prefix="/api", tags=["live"])
BEAT_S = 20.0
"""A line now and then, so that proxies do not close a quiet stream."""
STREAM_MAX_S = 900.0
RETRY_MS = 5000


@router.get(
    "/live",
    response_class=StreamingResponse,
    responses={
        200: {"content": {"text/event-stream": {}}, "description": 'events named `change`, data `{"sites": [ids]}`'},
        401: DOCUMENTED[401],
        503: {"model": ErrorBody, "description": "too many listen already"},
    },
)
async def live(request: Request, user: SignedIn) -> StreamingResponse:
    """Names, as they happen, the sites that changed, of those that you may see."""
    hub: Hub = request.app.state.hub
    listener = hub.listen()
    if listener is None:
        raise Unavailable("too many pages listen already", fix="ask again now and then with the ETag instead")
    return StreamingResponse(
        events(hub, listener, user), media_type="text/event-stream", headers={"cache-control": "no-store"}
    )


async def events(hub: Hub, listener: Listener, user: User) -> AsyncIterator[str]:
    """The lines of one stream."""
    end = time.monotonic() + STREAM_MAX_S
    try:
        yield f"retry: {RETRY_MS}\n\n"
        while not listener.ended and time.monotonic() < end:
            sites = await listener.changed(BEAT_S)
            mine = sorted(site for site in sites if may_see(user, site))
            yield f"event: change\ndata: {json.dumps({'sites': mine})}\n\n" if mine else ": still here\n\n"
    finally:
        hub.leave(listener)
