"""Everything that may be seen within a day: the symptoms that causes compete for, and the causes that have one of their own.

Flow: symptoms.DayView -> HERE -> life.py.
Never: weighing.
"""

from collections.abc import Callable, Iterable
from dataclasses import replace
from functools import cache

from analysis.causes.registry import all_causes
from analysis.more_stops import more_stops
from analysis.no_measurement import lies, since
from analysis.no_water import no_water
from analysis.not_turning import not_turning
from analysis.plant import plant_of
from analysis.symptoms import DayView, Episode


@cache
def watchers() -> dict[str, Callable[[DayView], list[Episode]]]:
    """Everyone who looks at a day, by symptom or cause."""
    own = {name: file.watch for name, file in all_causes().items() if file.watch is not None}
    return {"no-water": no_water, "not-turning": not_turning, "more-stops": more_stops, **own}


def episodes_of(view: DayView, asked: Iterable[str] | None = None) -> list[Episode]:
    """The day's episodes, in the order in which they were flagged. `asked`: the watchers that may find something; None = all.

    From the instant on at which a channel is told to lie, the others look at the day without it: what they told before stands, and a
    stretch told of before is not told twice.
    """
    found = _asked(view, watchers() if asked is None else asked)
    lie = [one for one in found if lies(one) and one.channel not in view.lies]
    if not lie:
        return found
    told_ms = min(one.flag_ms for one in lie)
    first = [one for one in found if one.flag_ms < told_ms or (one in lie and one.flag_ms == told_ms)]
    rest = episodes_of(since(plant_of(view.facts), view, [one for one in lie if one.flag_ms == told_ms]))
    return _in_order([*first, *(_late(one, told_ms) for one in rest if not any(_same(one, other) for other in first))])


def _asked(view: DayView, names: Iterable[str]) -> list[Episode]:
    by_name = watchers()
    return _in_order([episode for name in names for episode in by_name[name](view)])


def _in_order(found: list[Episode]) -> list[Episode]:
    return sorted(found, key=lambda e: (e.flag_ms, e.symptom, e.cause or "", e.channel or ""))


def _late(episode: Episode, told_ms: int) -> Episode:
    """Seen by what is known from then on, so told of no sooner."""
    return episode if episode.flag_ms >= told_ms else replace(episode, flag_ms=told_ms)


def _same(one: Episode, other: Episode) -> bool:
    """Of one symptom, and one channel where it is about one, over the same time."""
    alike = (one.symptom, one.channel) == (other.symptom, other.channel)
    return alike and one.began_ms < other.seen_ms and other.began_ms < one.seen_ms
