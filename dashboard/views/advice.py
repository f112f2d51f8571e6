"""What to say about a finding to those who live with the pump: name, what to do, what to beware of.

Flow: finding -> HERE -> views/glance.py, views/finding.py.
The words lie in the languages' catalogues; the finding's own `evidence` and `check` and the engine's page speak to technicians. Which
dangers a cause has at this kind of pump the engine's page says, by names under which each language has its words.
"""

from analysis.causes.registry import all_causes
from dashboard.languages import Words
from dashboard.views.figures import sureness
from logger.record.finding import Finding

SWITCHED_OFF = {"dry-running", "closed-delivery", "broken-shaft", "reverse-rotation", "stalled-motor", "cable-fault"}
OF_THE_CHANNEL = {"low_level_probe_wet": "guard", "tank_float_up": "tank", "tank_level_m": "tank"}
"""What can hurt where this sensor lies, or is looked at; otherwise a lying sensor sends nobody to a tank."""
LICENSED = "licensed"


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


def cautions(finding: Finding, pump_kind: str, words: Words) -> list[str]:
    """What can hurt while doing it, the nearest danger first; what is for licensed people alone in one sentence at the end."""
    page = all_causes()[finding.cause].advice_at(pump_kind)
    named = [danger for caution in page.cautions for danger in caution.dangers if danger != LICENSED]
    if finding.cause in SWITCHED_OFF:
        named.insert(1, "off")
    if finding.cause == "sensor-fault":
        named = [one for one in named if one != "tank"]
        if finding.channel in OF_THE_CHANNEL:
            named.insert(0, OF_THE_CHANNEL[finding.channel])
    return [words(f"caution.{one}") for one in [*dict.fromkeys(named), LICENSED]]
