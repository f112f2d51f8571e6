"""Signing in and out, and the choice of language.

Flow: form -> passwords.py, attempts.py -> session cookie.
"""

from typing import Annotated

from fastapi import APIRouter, Form, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import HTMLResponse, RedirectResponse, Response

from dashboard.attempts import Attempts
from dashboard.dependencies import MaybeUser, OpenStore, TheWords
from dashboard.languages import languages
from dashboard.passwords import fingerprint, opens

router = APIRouter(include_in_schema=False)
NAME_MAX, PASSWORD_MAX = 64, 1024


@router.get("/")
def start(user: MaybeUser) -> RedirectResponse:
    """To where this person begins: the only pump, the list, or the door."""
    if user is None:
        return RedirectResponse("/sign-in", 303)
    return RedirectResponse(f"/sites/{user.sites[0]}" if user.sites and len(user.sites) == 1 else "/fleet", 303)


@router.get("/sign-in")
def show(request: Request, onward: str = "/") -> HTMLResponse:
    """The form."""
    return _form(request, onward)


@router.post("/sign-in")
async def sign_in(
    request: Request,
    store: OpenStore,
    words: TheWords,
    name: Annotated[str, Form(max_length=NAME_MAX)],
    password: Annotated[str, Form(max_length=PASSWORD_MAX)],
    onward: Annotated[str, Form()] = "/",
) -> Response:
    """Sets the cookie and goes on to `onward`; or the form again, with 403, or with 429 after too many tries."""
    attempts: Attempts = request.app.state.attempts
    address = request.client.host if request.client else ""
    wait_s = attempts.wait_s(name, address)
    if wait_s:
        trouble = words("trouble.too_many", minutes=-(-wait_s // 60))
        answer = _form(request, onward, trouble, name, 429)
        answer.headers["retry-after"] = str(wait_s)
        return answer
    user = await run_in_threadpool(store.user, name)
    # One at a time: scrypt takes 16 MiB and a core, and a flood of tries must not starve the pages.
    async with request.app.state.hashing:
        fits = await run_in_threadpool(opens, password, user)
    if not fits or user is None:
        attempts.failed(name, address)
        return _form(request, onward, words("trouble.wrong_password"), name, 403)
    attempts.succeeded(name, address)
    language = request.session.get("language")
    request.session.clear()
    request.session.update({"name": user.name, "mark": fingerprint(user.password_hash)})
    if language:
        request.session["language"] = language
    return RedirectResponse(own_path(onward), 303)


@router.post("/sign-out")
def sign_out(request: Request) -> RedirectResponse:
    """Forgets who is signed in; the language stays."""
    for key in ("name", "mark"):
        request.session.pop(key, None)
    return RedirectResponse("/sign-in", 303)


@router.post("/language")
def language(
    request: Request, code: Annotated[str, Form(max_length=8)], back: Annotated[str, Form()] = "/"
) -> RedirectResponse:
    """Keeps the language that was chosen; one that we do not speak changes nothing."""
    if code in languages():
        request.session["language"] = code
    return RedirectResponse(own_path(back), 303)


def own_path(asked: str) -> str:
    """`asked` if it is a path of ours, else the start: a link must not lead away to a foreign page."""
    own = asked.startswith("/") and not asked.startswith(("//", "/\\")) and asked.isprintable() and "\\" not in asked
    return asked if own else "/"


def _form(request: Request, onward: str, trouble: str = "", name: str = "", status: int = 200) -> HTMLResponse:
    shown = {"trouble": trouble, "name": name, "onward": own_path(onward), "here": "/sign-in"}
    return request.app.state.pages.page(request, "sign_in.html", status, **shown)
