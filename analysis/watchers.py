"""Everything that may be seen within a day: the symptoms that causes compete for, and the causes that have one of their own.

Flow: symptoms.DayView -> HERE -> life.py.
Never: weighing.
"""

from analysis.causes.registry import all_causes
from analysis.no_water import no_water
from analysis.not_turning import not_turning
from analysis.symptoms import DayView, Episode


def episodes_of(view: DayView) -> list[Episode]:
    """The day's episodes, in the order in which they were flagged."""
    found: list[Episode] = []
    if view.columns is not None and len(view.columns):
        found += no_water(view)
        found += not_turning(view)
    for file in all_causes().values():
        if file.watch is not None:
            found += file.watch(view)
    return sorted(found, key=lambda e: (e.flag_ms, e.symptom, e.cause or "", e.channel or ""))
