"""Templates to answers.

Flow: routes -> HERE -> HTML.
Never: decides what a page says (views).
"""

import hashlib
import mimetypes
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

from fastapi import Request
from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.responses import HTMLResponse

from dashboard.dependencies import words_of
from dashboard.errors import Trouble
from dashboard.languages import languages
from dashboard.settings import Settings

NOW_HEADER = "wellhand-now"
"""The server's time in milliseconds, so that a browser with a wrong clock still shows right ages."""


@dataclass(frozen=True)
class Asset:
    """One file of the look: its bytes, its type, and a name for its content."""

    body: bytes
    media_type: str
    version: str


def load_assets() -> dict[str, Asset]:
    """All files under static/, by name."""
    found = {}
    for file in files("dashboard").joinpath("static").iterdir():
        body = file.read_bytes()
        media_type = mimetypes.guess_type(file.name)[0] or "application/octet-stream"
        media_type = "text/javascript" if file.name.endswith(".js") else media_type
        found[file.name] = Asset(body, media_type, hashlib.sha256(body).hexdigest()[:12])
    return found


class Pages:
    """Renders templates with what every page shows."""

    def __init__(self, settings: Settings) -> None:
        self.assets = load_assets()
        self._settings = settings
        self._templates = Environment(
            loader=PackageLoader("dashboard"),
            autoescape=True,
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
        )

    def page(self, request: Request, template: str, status: int = 200, **shown: Any) -> HTMLResponse:
        """A template as the answer."""
        now = {NOW_HEADER: str(self._settings.now_ms())}
        return HTMLResponse(self.html(request, template, **shown), status, now)

    def html(self, request: Request, template: str, **shown: Any) -> str:
        """A template as text."""
        user = getattr(request.state, "user", None)
        common = {
            "words": words_of(request),
            "languages": languages(),
            "user": user,
            "alone": user is not None and user.sites is not None and len(user.sites) == 1,
            "here": request.url.path,
            "asset": self._address,
            "now_ms": self._settings.now_ms(),
            "call_name": self._settings.service_name,
            "call_phone": self._settings.service_phone,
        }
        return self._templates.get_template(template).render(common | shown)

    def error(self, request: Request, trouble: Trouble, headers: dict[str, str]) -> HTMLResponse:
        """What went wrong, as a page."""
        answer = self.page(request, "error.html", trouble.status, trouble=trouble)
        answer.headers.update(headers)
        return answer

    def _address(self, name: str) -> str:
        return f"/static/{name}?v={self.assets[name].version}"
