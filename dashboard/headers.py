"""What every request and answer must carry: safe headers out, no posts from foreign pages in.

Flow: server -> HERE -> session -> routes.
"""

import hashlib
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import JSONResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

CONTENT_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
    "manifest-src 'self'; worker-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
"""Everything from here and nothing inline: what somebody smuggles into a name can neither run nor call home."""

ALWAYS = {
    "content-security-policy": CONTENT_POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "geolocation=(), camera=(), microphone=()",
}
SAFE_METHODS = {"GET", "HEAD", "OPTIONS"}


class SafeHeaders:
    """Adds `ALWAYS` to each answer (and strict transport where people come by https)."""

    def __init__(self, app: ASGIApp, https: bool) -> None:
        self._app = app
        self._headers = ALWAYS | ({"strict-transport-security": "max-age=31536000"} if https else {})

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in self._headers.items():
                    headers[name] = value
                headers.setdefault("cache-control", "private, no-cache")
            await send(message)

        await self._app(scope, receive, send_with_headers if scope["type"] == "http" else send)


class OwnOrigin:
    """Refuses what changes something and comes from another site's page.

    A browser always says where a post comes from; a script that says nothing carries no stolen cookie.
    """

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] == "http" and scope["method"] not in SAFE_METHODS and not from_own_page(Headers(scope=scope)):
            body = {
                "error": {
                    "status": 403,
                    "problem": "this was sent from another site's page",
                    "fix": "open the page here and send it again; behind a proxy, let it pass the Host header on",
                }
            }
            await JSONResponse(body, 403)(scope, receive, send)
            return
        await self._app(scope, receive, send)


def from_own_page(headers: Headers) -> bool:
    """Judged by Sec-Fetch-Site where the browser sends it, else by Origin against Host."""
    fetched_from = headers.get("sec-fetch-site")
    if fetched_from is not None:
        return fetched_from in ("same-origin", "none")
    origin = headers.get("origin")
    return origin is None or urlsplit(origin).netloc == headers.get("host")


class Etags:
    """Names each whole answer to a GET by its content, and says 304 to who has it already.

    A phone that asks every quarter of a minute then pays for some hundred bytes, not for the page.
    """

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request. An answer that comes in pieces, or names itself, passes unchanged."""
        if scope["type"] != "http" or scope["method"] != "GET":
            await self._app(scope, receive, send)
            return
        known = Headers(scope=scope).get("if-none-match", "")
        held: Message | None = None

        async def send_tagged(message: Message) -> None:
            nonlocal held
            if message["type"] == "http.response.start" and message["status"] == 200:
                held = message
                return
            if held is not None:
                start, held = held, None
                if not message.get("more_body") and "etag" not in MutableHeaders(scope=start):
                    start, message = tagged(start, message, known)
                await send(start)
            await send(message)

        await self._app(scope, receive, send_tagged)


def tagged(start: Message, body: Message, known: str) -> tuple[Message, Message]:
    """The answer with its ETag; without its body where `known` (an If-None-Match) holds that tag."""
    tag = f'W/"{hashlib.sha256(body.get("body", b"")).hexdigest()[:20]}"'
    headers = MutableHeaders(scope=start)
    headers["etag"] = tag
    if tag not in [one.strip() for one in known.split(",")]:
        return start, body
    del headers["content-length"]
    del headers["content-type"]
    return {**start, "status": 304, "headers": start["headers"]}, {"type": "http.response.body", "body": b""}
