"""What the days show and nobody is told of yet: dust and shade are seen as what is left over, and are told once it is likelier than not that
something is wrong, and their name is no mere guess; a second fault beside one that is told of, once its name is clear.

Flow: close.py (cases of the days) -> HERE -> memory.py; pipeline.py leaves out what waits.
A case that waits is followed, weighed and sized like any other, so that nothing is learnt from its days; it is flagged at the close that makes
it likely enough, and forgotten if it ends before. One that never became likely enough is let go, and its days are this installation's own
way (let_go.py): else a guess would stop the learning for good.
Never: a case that was told of; one seen within the day.
"""

from analysis.calibration import ARE_LEFT_OVER, LEFT_OVER, odds_on
from analysis.life import number_of, told_of
from analysis.memory import WAITS, Case, Memory, waits
from analysis.one_finding import SECOND_OWN, a_second
from analysis.soiling import SOILING
from analysis.solar_days import DAY_MS
from analysis.water_lost import key_of, renamed
from logger.record.causes import CAUSES

LIKELIER_THAN_NOT = 0.5
"""Of the cause and its named rivals together. Told sooner, it would be wrong more often than right: of 37 such findings of drawn seasons of four
plants 5 were right."""
LEAST_OWN = (
    0.35  # of the cause alone: where dust and a sensor that lies share what is left, wiping both tells (a guess)
)
LEAST_LOST = 0.005  # of the flow: the upper end of the interval that people would read as nothing
OUTLASTS_MS, OUTLASTS_UNREAD_MS = 3 * DAY_MS, 6 * DAY_MS
"""From the close at which dust or shade is first seen: what a leaf or a drop on the sensor does is gone by then, and where no sensor reads the
sun, one weather (soiling.py). Neither fault is a matter of days."""
BESIDE = "beside"
"""Likewise of one that was seen beside another that is told of."""


LONGEST_WAIT_MS = 28 * DAY_MS
"""Twice the days by which a case is weighed (slow_life.py): the newest were weighed, and before them as many others."""


def told_at_close(memory: Memory, close_ms: int, sun_read: bool) -> Case | None:
    """At a day's close: what begins to wait, what is told from now on, what is forgotten. Changes `memory.cases`. sun_read: by a sensor.

    Returns the case that is let go, if any: while another one is open, its days are not the installation's own, and it waits on.
    """
    for case in memory.cases:
        if waits(case):
            case.first_cause = case.cause  # nobody heard another name
        if case.flagged_ms == close_ms and case.family.startswith("slow"):
            beside = a_second(memory, close_ms)
            if not (_sure(case, beside) and _lasted(case, close_ms, sun_read)):
                case.weighed |= {WAITS: 1.0, BESIDE: float(beside)}
        elif (
            waits(case)
            and case.ended_ms is None
            and _sure(case, case.weighed[BESIDE] > 0.0)
            and _lasted(case, close_ms, sun_read)
        ):
            del case.weighed[WAITS], case.weighed[BESIDE]
            waited_as = key_of(case)
            case.number = number_of([one for one in memory.cases if one is not case], close_ms)
            case.flagged_ms = close_ms
            memory.days = renamed(memory.days, waited_as, key_of(case))
    memory.cases = [case for case in memory.cases if not (waits(case) and case.ended_ms is not None)]
    open_now = [case for case in memory.cases if case.ended_ms is None]
    if len(open_now) != 1 or not waits(open_now[0]) or close_ms - open_now[0].flagged_ms < LONGEST_WAIT_MS:
        return None
    memory.cases.remove(open_now[0])
    return open_now[0]


def _sure(case: Case, beside: bool) -> bool:
    own, rivals = told_of(case)
    if (beside and own < SECOND_OWN) or _takes_no_water(case):
        return False
    if case.cause not in ARE_LEFT_OVER:
        if not waits(case) or beside:
            return True
        own = odds_on(own, LEFT_OVER)  # seen as what is left over, and called by another name for some days
    return own >= LEAST_OWN and own + sum(rivals.values()) >= LIKELIER_THAN_NOT


def _lasted(case: Case, close_ms: int, sun_read: bool) -> bool:
    """Whether what was first seen days ago was not seen gone since; what is no matter of the sky's need not wait for that.

    Beside a sensor of the sun dust that has grown for as long is there since it began, not since it was enough to see.
    """
    if case.cause not in ARE_LEFT_OVER:
        return True
    if case.cause == SOILING and sun_read:
        return case.healthy == 0.0 and close_ms - case.began_ms >= OUTLASTS_UNREAD_MS
    return case.healthy == 0.0 and close_ms - case.flagged_ms >= (OUTLASTS_MS if sun_read else OUTLASTS_UNREAD_MS)


def _takes_no_water(case: Case) -> bool:
    """A loss of flow that is none, however sure its signs: whatever moved those, there is nothing to mend yet."""
    return case.size is not None and CAUSES[case.cause].quantity == "flow lost" and case.size[2] < LEAST_LOST
