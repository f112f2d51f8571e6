"""The one shape in which anything that went wrong leaves the dashboard: problem and fix.

Flow: dependencies.py and routes raise -> HERE -> JSON under /api, a page elsewhere.
Never: a traceback, a store's or library's own words.
"""

import logging
from http import HTTPStatus
from typing import Any
from urllib.parse import quote

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel, Field
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse, RedirectResponse, Response

from dashboard.headers import ALWAYS

log = logging.getLogger(__name__)


class Trouble(BaseModel):
    """What is wrong and what mends it, in plain words."""

    status: int = Field(description="the HTTP status again")
    problem: str = Field(description="what is wrong")
    fix: str = Field(description="what to do about it")


class ErrorBody(BaseModel):
    """The body of every answer that is not a success."""

    error: Trouble


class Refused(Exception):
    """A request that is not served. The children name the status; `problem` and `fix` are for people."""

    status = 400

    def __init__(self, problem: str, fix: str, headers: dict[str, str] | None = None) -> None:
        super().__init__(f"{problem}: {fix}")
        self.problem, self.fix, self.headers = problem, fix, headers or {}


class BadRequest(Refused):
    """The request itself is wrong."""


class NotSignedIn(Refused):
    """Nobody is signed in."""

    status = 401


class Forbidden(Refused):
    """Somebody is signed in, and may not."""

    status = 403


class NotFound(Refused):
    """There is no such thing."""

    status = 404


class TooMany(Refused):
    """Tried too often."""

    status = 429


class Unavailable(Refused):
    """Not now."""

    status = 503


DOCUMENTED: dict[int | str, dict[str, Any]] = {
    status: {"model": ErrorBody, "description": words}
    for status, words in (
        (400, "the request is wrong"),
        (401, "not signed in"),
        (403, "signed in, and not allowed"),
        (404, "no such site, finding or address"),
    )
}
"""For the OpenAPI description of the routes under /api."""


def answer(request: Request, trouble: Trouble, headers: dict[str, str]) -> Response:
    """JSON under /api and for scripts, a page for people."""
    wants_page = "text/html" in request.headers.get("accept", "")
    if request.url.path.startswith("/api") or not wants_page:
        return JSONResponse(ErrorBody(error=trouble).model_dump(), trouble.status, headers)
    if trouble.status == 401 and request.method == "GET":
        return RedirectResponse(f"/sign-in?onward={quote(request.url.path)}", 303)
    return request.app.state.pages.error(request, trouble, headers)


def install(app: FastAPI) -> None:
    """Let every failure of `app` leave through `answer`."""

    @app.exception_handler(Refused)
    def refused(request: Request, error: Refused) -> Response:
        trouble = Trouble(status=error.status, problem=error.problem, fix=error.fix)
        return answer(request, trouble, error.headers)

    @app.exception_handler(RequestValidationError)
    def invalid(request: Request, error: RequestValidationError) -> Response:
        said = "; ".join(f"{'.'.join(str(part) for part in item['loc'])}: {item['msg']}" for item in error.errors())
        return answer(
            request, Trouble(status=400, problem=said, fix="correct what is named; see /api/openapi.json"), {}
        )

    @app.exception_handler(HTTPException)
    def plain(request: Request, error: HTTPException) -> Response:
        fixes = {404: "check the address, or start again at /", 405: "use another method; see /api/openapi.json"}
        problem = {404: f"nothing is at {request.url.path}"}.get(error.status_code) or HTTPStatus(
            error.status_code
        ).phrase
        trouble = Trouble(
            status=error.status_code, problem=problem, fix=fixes.get(error.status_code, "start again at /")
        )
        return answer(request, trouble, dict(error.headers or {}))

    @app.exception_handler(Exception)
    def bug(request: Request, error: Exception) -> Response:
        log.error("%s %s failed", request.method, request.url.path, exc_info=error)
        fix = "try again; if it stays, tell whoever runs this server the time, the log has the cause"
        trouble = Trouble(status=500, problem="something went wrong on the server", fix=fix)
        return answer(request, trouble, dict(ALWAYS))  # this one leaves outside our middleware
