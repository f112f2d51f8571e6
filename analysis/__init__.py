"""The server's side: store, engine, season reviews. In a notebook: `from analysis import review_season`."""

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from analysis.season import Review, review_season

__all__ = ["Review", "review_season"]


def __getattr__(name: str) -> Any:
    """Brought in when asked for, so that a page does not load the engine."""
    if name in __all__:
        from analysis import season

        return getattr(season, name)
    raise AttributeError(f"module 'analysis' has no attribute {name!r}")
