"""The words of the pages, a TOML catalogue a language.

Flow: <code>.toml -> HERE -> views, routes.
Never: decides what to say (views).
"""

import tomllib
from functools import cache
from importlib.resources import files
from typing import Any

DEFAULT = "en"


class Words:
    """One language. A key is `table.key`; one that is missing is a bug and raises KeyError."""

    def __init__(self, code: str, catalogue: dict[str, Any]) -> None:
        self.code = code
        self._flat = dict(flattened(catalogue))

    def __call__(self, key: str, **values: object) -> str:
        """The wording, its braces filled."""
        return str(self._flat[key]).format(**values)

    def list(self, key: str) -> list[str]:
        """A wording that is several sentences."""
        return list(self._flat[key])

    def has(self, key: str) -> bool:
        """For names that come from readings, such as a channel's."""
        return key in self._flat

    def keys(self) -> set[str]:
        """Every key, for the comparison of languages."""
        return set(self._flat)


def flattened(catalogue: dict[str, Any], above: str = "") -> list[tuple[str, Any]]:
    """Tables to `table.key` pairs."""
    pairs: list[tuple[str, Any]] = []
    for key, value in catalogue.items():
        pairs += flattened(value, f"{above}{key}.") if isinstance(value, dict) else [(above + key, value)]
    return pairs


@cache
def languages() -> dict[str, Words]:
    """By code, the default first."""
    found = {
        file.name.removesuffix(".toml"): tomllib.loads(file.read_text("utf-8"))
        for file in files(__name__).iterdir()
        if file.name.endswith(".toml")
    }
    return {code: Words(code, found[code]) for code in sorted(found, key=lambda code: (code != DEFAULT, code))}


def chosen(code: str | None, accept_language: str = "") -> Words:
    """What the person chose, else the first of the browser's wishes that we speak, else English."""
    spoken = languages()
    if code in spoken:
        return spoken[code]
    for wish in _wishes(accept_language):
        if wish in spoken:
            return spoken[wish]
    return spoken[DEFAULT]


def _wishes(accept_language: str) -> list[str]:
    weighed = []
    for part in accept_language[:500].split(","):
        tag, _, rest = part.strip().partition(";")
        weight = rest.strip().removeprefix("q=")
        try:
            weighed.append((-float(weight) if weight else -1.0, tag.strip().lower().partition("-")[0]))
        except ValueError:
            continue  # a wish that cannot be weighed is no wish
    return [tag for _, tag in sorted(weighed, key=lambda pair: pair[0])]
