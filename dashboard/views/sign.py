"""The sign of a site: a shape, a word and a colour that each say the same.

Flow: views/priority.py -> HERE -> glance.py, fleet.py.
"""

from dataclasses import dataclass

from dashboard.languages import Words
from dashboard.views.priority import LEVEL_NAMES, Level, SiteSeen, is_quiet, level

_OUTLINES = {
    Level.ACT: '<path class="s" d="M14 2h20l12 12v20L34 46H14L2 34V14z"/><path class="g" d="M24 11v17M24 36v1"/>',
    Level.LOOK: '<path class="s" d="M24 3 46 44H2z"/><path class="g" d="M24 18v12M24 37v1"/>',
    Level.UNKNOWN: '<circle class="s d" cx="24" cy="24" r="20"/>'
    '<path class="g" d="M17.5 19a6.5 6.5 0 1 1 9.5 5.8c-2.2 1.2-3 2.4-3 5.2M24 36v1"/>',
    Level.REST: '<rect class="s" x="3" y="3" width="42" height="42" rx="12"/><path class="g" d="M18 15v18M30 15v18"/>',
    Level.GOOD: '<circle class="s" cx="24" cy="24" r="22"/><path class="g" d="M13 25l8 8 14-17"/>',
}


@dataclass(frozen=True)
class Sign:
    """`kind` names the colours in the style sheet; `svg` is the shape; `word` says it."""

    kind: str
    word: str
    svg: str


def sign(site: SiteSeen, now_ms: int, words: Words) -> Sign:
    """The site's sign."""
    found = level(site, now_ms)
    key = LEVEL_NAMES[found]
    if found is Level.UNKNOWN and not is_quiet(site, now_ms) and not site.findings:
        return Sign(key, words("sign.cannot_tell"), shape(found))
    return Sign(key, words(f"sign.{key}"), shape(found))


def shape(of: Level) -> str:
    """The drawing; the word beside it speaks, so readers skip it."""
    return f'<svg class="shape" viewBox="0 0 48 48" aria-hidden="true" focusable="false">{_OUTLINES[of]}</svg>'
