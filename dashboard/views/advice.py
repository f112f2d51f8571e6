"""What to say about a finding to those who live with the pump: name, what to do, what to beware of.

Flow: finding -> HERE -> views/glance.py, views/finding.py.
The words lie in the languages' catalogues; the finding's own `evidence` and `check` speak to technicians.
"""

from dashboard.languages import Words
from dashboard.views.figures import sureness
from logger.record.finding import Finding

SWITCHED_OFF = {"dry-running", "closed-delivery", "broken-shaft", "reverse-rotation", "stalled-motor", "cable-fault"}
ON_THE_PANELS = {"panel-soiling", "shading", "string-out", "over-voltage"}
AT_THE_WELL = {"falling-water-level", "clogging", "riser-leak"}


def name(finding: Finding, words: Words) -> str:
    """The cause in plain words, with the sensor's name where one is meant."""
    said = words(f"cause.{finding.cause}.name")
    if finding.cause == "sensor-fault" and finding.channel and words.has(f"channel.{finding.channel}"):
        return f"{said} ({words('channel.' + finding.channel)})"
    return said


def hedged_name(finding: Finding, words: Words) -> str:
    """The same as a sentence that claims no more than we know."""
    said = name(finding, words)
    word = sureness(finding.confidence)
    if word != "nearly-certain":
        said = said[0].lower() + said[1:]
    return words(f"sure.farmer-{word}", what=said)


def steps(finding: Finding, words: Words) -> list[str]:
    """What somebody without tools can do, in order."""
    return words.list(f"cause.{finding.cause}.do")


def cautions(finding: Finding, words: Words) -> list[str]:
    """What can hurt while doing it, the nearest danger first."""
    named = []
    if finding.cause == "cable-fault":
        named.append("live")
    if finding.cause in SWITCHED_OFF:
        named.append("off")
    if finding.cause in ON_THE_PANELS:
        named += ["sunlit", "height"]
    if finding.cause == "sensor-fault" and finding.channel == "low_level_probe_wet":
        named.append("guard")
    if finding.cause in AT_THE_WELL:
        named.append("water")
    return [words(f"caution.{one}") for one in [*named, "licensed"]]
