"""What is written on a picture: a page brings its own language, a file is in English.

Flow: HERE -> curve_svg.py, day_svg.py, course_svg.py, plotted.py. The keys are those of the pages' catalogues.
"""

from collections.abc import Callable

Words = Callable[[str], str]

ENGLISH = {
    "language.decimal": ".",
    "finding.flow_picture": "Flow against power",
    "finding.flow_picture_says": "Marks: the water that came, by power into the controller. Line and band: what this pump should lift.",
    "finding.flow_x": "power into the controller, W",
    "finding.flow_y": "flow, m³/h",
    "finding.sun_picture": "Power against sun",
    "finding.sun_picture_says": "Marks: the power that came, by sun on the panels. Line and band: what these panels should give.",
    "finding.sun_x": "sun on the panels, W/m²",
    "finding.sun_y": "power, W",
    "finding.day_picture": "Water by day",
    "finding.day_picture_says": "Bars: the water of each day. Boxes: what that day's sun should have given. Dotted line: where it began.",
    "finding.axis_water": "water, m³",
    "finding.course_picture": "The hours around it",
    "finding.course_picture_says": "Above: the water that came, and the band of what should have. Below: power. Dotted: began; dashed: flagged.",
    "finding.course_x": "hour of the site's clock",
    "finding.legend_before": "before",
    "finding.legend_after": "since it began",
    "finding.legend_expected": "expected",
    "finding.legend_came": "came",
    "finding.legend_band": "normal range",
}


def english(key: str) -> str:
    """A wording; KeyError: a key that no picture has."""
    return ENGLISH[key]
