"""What an episode is taken for by what was known at its flag alone, so that a later look says the same.

Flow: symptoms.Episode, untold.py, diagnosis.py -> HERE -> life.py, come_again.py, one_finding.py.
Never: measures of after the flag.
"""

from analysis.diagnosis import Verdict, weigh_levels
from analysis.symptoms import DayView, Episode
from analysis.untold import untold


def verdict_at_flag(view: DayView, episode: Episode, told_ms: int | None = None) -> Verdict:
    """All causes that the symptom may have, weighed against what no channel tells. `told_ms`: when its case was told of, if it has one."""
    return weigh_levels(episode.symptom, view.facts.pump.kind, episode.at_flag, untold(view, episode, told_ms))
