"""The colours of the style sheet keep the contrast that WCAG 2.2 asks for, by light and by dark.

Source of the formula and the limits: W3C, Web Content Accessibility Guidelines 2.2, success criteria 1.4.3 (text 4.5:1),
1.4.11 (shapes 3:1), and its definition of relative luminance.
"""

import re
from importlib.resources import files

import pytest

CSS = files("dashboard").joinpath("static/wellhand.css").read_text("utf-8")
TEXT, SHAPE = 4.5, 3.0
PAIRS = [
    *((ink, ground, TEXT) for ink in ("ink", "soft", "link") for ground in ("paper", "card")),
    *((tone, f"{tone}-bg", TEXT) for tone in ("good", "rest", "look", "act", "unknown")),
    *(("ink", f"{tone}-bg", TEXT) for tone in ("good", "rest", "look", "act", "unknown")),
    *((tone, ground, TEXT) for tone in ("good", "rest", "look", "act", "unknown") for ground in ("paper", "card")),
    ("on", "link", TEXT),
    ("water", "trough", SHAPE),
    ("water", "card", SHAPE),
    ("band", "trough", SHAPE),
    ("before", "card", SHAPE),
    ("after", "card", SHAPE),
]


def colours(block):
    return dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6})", block))


LIGHT = colours(CSS.partition("@media (prefers-color-scheme: dark)")[0])
DARK = LIGHT | colours(CSS.partition("@media (prefers-color-scheme: dark)")[2].partition("* {")[0])


def luminance(colour):
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one, other):
    dark, light = sorted([luminance(one), luminance(other)])
    return (light + 0.05) / (dark + 0.05)


def test_the_formula_on_known_pairs():
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.01)  # the well-known grey just below 4.5


@pytest.mark.parametrize("scheme", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize(("front", "ground", "least"), PAIRS)
def test_contrast(scheme, front, ground, least):
    assert contrast(scheme[front], scheme[ground]) >= least
