"""The pictures: true to the figures, safe, and readable without colour."""

import re
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest

from analysis.drawing import svg
from analysis.drawing.curve_svg import array_svg, flow_svg
from analysis.drawing.day_svg import DAYS_MAX, day_svg
from analysis.pictures import ArrayPicture, FlowPicture, Points
from dashboard.languages import languages
from dashboard.views.curve_data import picture_data
from tests.dashboard import scene as made

EN = languages()["en"]


def points(x, y):
    return Points(x, y, 0.9 * y, 1.1 * y, np.ones(len(x)))


def picture(before=12, after=5):
    power = np.linspace(200, 1400, 24)
    flow = (power - 150) / 250
    flow[0] = np.nan
    return FlowPicture(
        power, flow, 0.9 * flow, 1.1 * flow,
        points(np.linspace(300, 1300, before), np.linspace(0.6, 4.6, before)),
        points(np.linspace(300, 1300, after), np.linspace(0.3, 2.3, after)),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("high", "rounded", "step"),
    [(0.93, 1.0, 0.2), (4.95, 5.0, 1.0), (5.1, 6.0, 2.0), (1400, 1500, 500), (7.0, 8.0, 2.0)],
)
def test_axes_end_on_a_tick(high, rounded, step):
    assert svg.tick_step(high) == pytest.approx(step)
    assert svg.round_up(high) == pytest.approx(rounded)


def test_ticks_say_what_their_step_needs():
    assert [svg.tick_text(0.5, 0.5, ","), svg.tick_text(1500, 500, "."), svg.tick_text(0, 0.2, ".")] == [
        "0,5", "1\u202f500", "0.0",
    ]  # fmt: skip


def test_the_flow_picture_is_well_formed_and_holds_every_mark():
    drawn = ElementTree.fromstring(flow_svg(picture(), EN))
    assert drawn.get("role") == "img"
    assert drawn.get("aria-label")
    rings = max(path.get("d").count("a4 4") for path in drawn.iter("path") if path.get("class") == "before")
    diamonds = max(path.get("d").count("l5 5") for path in drawn.iter("path") if path.get("class") == "after")
    assert (rings, diamonds) == (12, 5)


def test_marks_whiskers_and_band_lie_where_their_figures_say():
    drawn = flow_svg(picture(), EN)
    top = float(re.search(r'class="axis" d="M[\d.]+ ([\d.]+)V', drawn).group(1))
    x, y = svg.across(1500), svg.Scale(0.0, 6.0, svg.HEIGHT - svg.BOTTOM, top)
    last = re.findall(r"M([\d.]+) ([\d.]+)l5 5", drawn)[4]
    assert float(last[0]) == pytest.approx(x(1300), abs=0.2)
    assert float(last[1]) + 5 == pytest.approx(y(2.3), abs=0.2)
    whisker = re.search(r'class="after whisker" d="[^"]*M([\d.]+) ([\d.]+)V([\d.]+)"', drawn)
    assert [float(part) for part in whisker.groups()] == pytest.approx([x(1300), y(0.9 * 2.3), y(1.1 * 2.3)], abs=0.2)
    band = re.search(r'class="normal" d="M([\d.]+) ([\d.]+)L', drawn)
    power = np.linspace(200, 1400, 24)[1]
    assert [float(part) for part in band.groups()] == pytest.approx([x(power), y(1.1 * (power - 150) / 250)], abs=0.2)


def test_readings_without_a_curve_are_still_shown():
    bare = replace(picture(), expected_m3_h=np.full(24, np.nan))
    assert 'class="normal" d' not in flow_svg(bare, EN)
    assert "l5 5" in flow_svg(bare, EN)
    assert "nan" not in flow_svg(bare, EN)


def test_no_readings_no_picture():
    assert flow_svg(picture(0, 0), EN) == ""


def test_the_array_picture_has_words_of_its_own():
    flow = picture()
    sun = ArrayPicture(flow.power_w, flow.expected_m3_h, flow.low, flow.high, flow.before, flow.after)
    assert "sun on the panels" in array_svg(sun, EN)
    assert "sun on the panels" not in flow_svg(flow, EN)


def test_as_data_a_hole_is_null():
    data = picture_data(picture())
    assert data["expected_m3_h"][0] is None
    assert data["after"]["x"][-1] == 1300
    assert set(data["before"]) == {"x", "y", "low", "high", "hours"}


def test_days_are_bars_as_high_as_their_water():
    days = made.days_of("x", share=0.5)
    drawn = ElementTree.fromstring(day_svg(days, "2026-02-20", EN, str))
    bars = [rect for rect in drawn.iter("rect") if rect.get("class") == "came"]
    assert len(bars) == len(days)
    assert float(bars[-1].get("height")) / float(bars[0].get("height")) == pytest.approx(0.5 / 0.99, rel=0.01)
    assert [path.get("class") for path in drawn.iter("path")].count("began") == 1


def test_a_day_not_known_leaves_a_gap():
    days = made.days_of("x")
    whole, holed = day_svg(days, None, EN, str), day_svg(days[:10] + days[15:], None, EN, str)
    first, last = (
        re.findall(r'class="came" x="([\d.]+)"', whole)[0],
        re.findall(r'class="came" x="([\d.]+)"', whole)[-1],
    )
    assert re.findall(r'class="came" x="([\d.]+)"', holed)[0] == first
    assert re.findall(r'class="came" x="([\d.]+)"', holed)[-1] == last


def test_a_long_life_shows_its_newest_days():
    days = made.days_of("x") * 3
    assert day_svg(days, None, EN, str).count('class="came"') <= DAYS_MAX
    assert day_svg([], None, EN, str) == ""


def test_a_legend_says_what_is_drawn_and_stays_within_the_picture():
    drawn = ElementTree.fromstring(flow_svg(replace(picture(), scale=0.94), EN))
    said = [text.text for text in drawn.iter("text")]
    assert "expected, as it was here: datasheet × 0.94" in said
    days = day_svg(made.days_of("x"), None, EN, str)
    assert "came" in days
    assert "expected, with its range" in days
    for code in ("en", "fr", "pt"):
        items = [(svg.swatch("came"), languages()[code](f"finding.legend_{name}", scale="0.94")) for name in
                 ("came", "expected", "band", "began", "flagged", "limit", "no_readings", "scaled")]  # fmt: skip
        marks, top = svg.legend(items)
        for at, text in re.findall(r'<text x="([\d.]+)"[^>]*>([^<]*)', marks):
            assert float(at) + 7.6 * len(text) < svg.WIDTH + svg.RIGHT, text
        assert top < 0.4 * svg.HEIGHT


def test_labels_are_escaped():
    assert "<b>" not in svg.frame("<b>", "", "<b>", '"<b>')
