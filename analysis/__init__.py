"""The server's side: store, engine, season reviews. In a notebook: `from analysis import explain, review_season`."""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from analysis.explanation import Explanation, explain
    from analysis.season import Review, review_season

__all__ = ["Explanation", "Review", "explain", "review_season"]

_FROM = {
    "Explanation": "analysis.explanation",
    "explain": "analysis.explanation",
    "Review": "analysis.season",
    "review_season": "analysis.season",
}


def __getattr__(name: str) -> Any:
    """Brought in when asked for, so that a page does not load the engine."""
    if name in _FROM:
        return getattr(import_module(_FROM[name]), name)
    raise AttributeError(f"module 'analysis' has no attribute {name!r}")
