"""What people did when it ended tells what it was: leads exchanged mend what turned backwards, a pump lifted mends what hangs in the well.

Flow: the site file's visits, life.py (a case that healthy running has ended), diagnosis.py (shares) -> HERE -> life.py.
Only work that is written down speaks; that none is says nothing. Never: a case that still lasts.
"""

from analysis.diagnosis import Verdict
from analysis.memory import Case
from analysis.symptoms import DayView

LEADS, LIFTED = "leads-moved", "pump-lifted"
MENDS = {
    LEADS: {"reverse-rotation": 0.6, "stalled-motor": 0.08, "failed-start": 0.05, "cable-fault": 0.3},
    LIFTED: {"broken-shaft": 0.6, "riser-leak": 0.6, "stalled-motor": 0.5, "dry-running": 0.1, "cable-fault": 0.2},
}
"""How often such work is written down on the day on which the cause ends (a guess)."""
BY_CHANCE = 0.001
"""Likewise of any other cause, for some other reason: such work is done once in a few years, and hardly ever on just that day."""
MARK = {LEADS: "ended_by_leads", LIFTED: "ended_by_lifting"}
"""In a case's numbers."""
WORDS = {LEADS: " It ended when the motor's leads were moved.", LIFTED: " It ended when the pump was lifted."}


def mark(view: DayView, case: Case) -> bool:
    """Put into the case what was done between when it was last seen and now, the lifting first, for that moves leads as well; whether anything was."""
    if case.family not in ("no-water", "not-turning"):
        return False
    first, last = int(view.days.day_of(case.seen_ms)), view.day
    done = {visit.kind for visit in view.facts.visits if first <= view.days.day_of_date(visit.date) <= last}
    for work in (LIFTED, LEADS):
        if work in done:
            case.weighed[MARK[work]] = 1.0
            return True
    return False


def mended(verdict: Verdict, case: Case) -> Verdict:
    """The verdict with what was done to the case in it."""
    work = _work(case)
    if work is None:
        return verdict
    known = {name: share * (MENDS[work].get(name, BY_CHANCE)) for name, share in verdict.shares.items()}
    total = sum(known.values())
    return Verdict({name: share / total for name, share in known.items()}, verdict.form) if total > 0.0 else verdict


def words_of(case: Case) -> str:
    """A sentence of it, or none."""
    work = _work(case)
    return "" if work is None else WORDS[work]


def _work(case: Case) -> str | None:
    return next((work for work in (LIFTED, LEADS) if MARK[work] in case.weighed), None)
