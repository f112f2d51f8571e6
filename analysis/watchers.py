"""Everything that may be seen within a day: the symptoms that causes compete for, and the causes that have one of their own.

Flow: symptoms.DayView -> HERE -> life.py.
Never: weighing.
"""

from collections.abc import Callable, Iterable
from functools import cache

from analysis.causes.registry import all_causes
from analysis.no_water import no_water
from analysis.not_turning import not_turning
from analysis.symptoms import DayView, Episode


@cache
def watchers() -> dict[str, Callable[[DayView], list[Episode]]]:
    """Everyone who looks at a day, by symptom or cause."""
    own = {name: file.watch for name, file in all_causes().items() if file.watch is not None}
    return {"no-water": no_water, "not-turning": not_turning, **own}


def episodes_of(view: DayView, asked: Iterable[str] | None = None) -> list[Episode]:
    """The day's episodes, in the order in which they were flagged. `asked`: the watchers that may find something; None = all."""
    by_name = watchers()
    found = [episode for name in (by_name if asked is None else asked) for episode in by_name[name](view)]
    return sorted(found, key=lambda e: (e.flag_ms, e.symptom, e.cause or "", e.channel or ""))
