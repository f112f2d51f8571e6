"""What to look at on site first: by the cause, the pump's kind, the channel that is meant, and what would tell the cause from its rivals.

Flow: life.py (a case as others see it) -> causes/registry.py, telling_apart.py -> HERE -> a finding's `check`.
Never: judgement.
"""

from collections.abc import Mapping

from analysis.causes.registry import all_causes
from analysis.telling_apart import measurements_to_tell

TOLD_APART = 0.15  # of a rival, as people are told it: one in seven is worth a look while somebody is on site
MOST_TOLD = 2  # a longer list is not read


def check_of(
    cause: str,
    kind: str,
    channel: str | None,
    unread: bool,
    rivals: Mapping[str, float],
    motor: str | None = None,
) -> str:
    """The cause's own first check, and for each rival that may well be it instead the measurement that would tell.

    kind
        Of the pump.
    unread
        Whether nothing reads the code that would say it.
    rivals
        By cause, the share as it is told.
    motor
        Its kind, where the site file tells.
    """
    file = all_causes().get(cause)
    if file is None:
        return ""
    near = sorted(
        (name for name, share in rivals.items() if share >= TOLD_APART), key=lambda name: (-rivals[name], name)
    )
    own = file.check_at(kind, channel, unread)
    return " ".join([own, *measurements_to_tell(cause, near[:MOST_TOLD], kind, motor, asked=own)])
