"""Joins the parts into one application.

Flow: settings and an open store -> HERE -> uvicorn, or a test's client.
Never: a route's work; opening of files or stores.
"""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from fastapi import FastAPI
from starlette.middleware.gzip import GZipMiddleware
from starlette.middleware.sessions import SessionMiddleware

from analysis.store import Store
from dashboard import errors
from dashboard.attempts import Attempts
from dashboard.headers import Etags, OwnOrigin, SafeHeaders
from dashboard.hub import Hub
from dashboard.pages import Pages
from dashboard.routes import api_pictures, api_readings, api_sites, api_who, finding, fleet, live, plain, sign_in, site
from dashboard.settings import Settings

COOKIE = "wellhand"
ROUTERS = (plain, sign_in, site, fleet, finding, api_who, api_sites, api_readings, api_pictures, live)
ABOUT = (
    "Solar borehole pumps: what they do, what is wrong with them, and the readings it rests on. Sign in at /sign-in."
)


def create_app(store: Store, settings: Settings) -> FastAPI:
    """The whole dashboard over one open store; the caller closes the store."""

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        async with app.state.hub.running():
            yield

    app = FastAPI(
        title="wellhand",
        description=ABOUT,
        version="1",
        openapi_url="/api/openapi.json",
        docs_url=None,  # FastAPI's own pages load scripts from elsewhere, which our policy forbids
        redoc_url=None,
        lifespan=lifespan,
    )
    app.state.store = store
    app.state.settings = settings
    app.state.pages = Pages(settings)
    app.state.hub = Hub(store, settings.live_poll_s)
    app.state.attempts = Attempts(settings.wall_ms)
    app.state.hashing = asyncio.Semaphore(1)
    errors.install(app)
    for part in ROUTERS:
        app.include_router(part.router)
    # The last one added is the outermost.
    app.add_middleware(Etags)
    app.add_middleware(
        SessionMiddleware,
        secret_key=settings.secret,
        session_cookie=COOKIE,
        max_age=settings.session_days * 86400,
        same_site="lax",
        https_only=settings.https,
    )
    app.add_middleware(OwnOrigin)
    app.add_middleware(GZipMiddleware, minimum_size=600)
    app.add_middleware(SafeHeaders, https=settings.https)
    return app
