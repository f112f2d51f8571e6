"""Numbers, times and sizes as people read them."""

import pytest

from dashboard.languages import languages
from dashboard.views.figures import age, moment, number, percent, since, size_text, sureness, water
from logger.record.finding import Size
from tests.dashboard import scene as made

EN, FR = languages()["en"], languages()["fr"]
ZONE = "Africa/Johannesburg"


@pytest.mark.parametrize(
    ("value", "digits", "said"),
    [(0, 2, "0"), (0.0384, 2, "0.038"), (1.449, 2, "1.4"), (17.4, 3, "17.4"), (17400, 3, "17\u202f400"),
     (999.6, 2, "1\u202f000"), (-3.14159, 2, "-3.1"), (9.96, 2, "10"), (123456.7, 2, "120\u202f000")],
)  # fmt: skip
def test_numbers_look_no_surer_than_they_are(value, digits, said):
    assert number(value, EN, digits) == said


def test_the_decimal_mark_is_the_languages():
    assert number(1.44, FR) == "1,4"


@pytest.mark.parametrize(
    ("m3", "said"), [(0.0384, "38 litres"), (17.4, "17\u202f400 litres"), (0, "0 litres"), (240.4, "240 m³")]
)
def test_water_is_litres_until_there_are_too_many(m3, said):
    assert water(m3, EN, 3) == said


@pytest.mark.parametrize(
    ("before_min", "said"),
    [(0, "14:00"), (60, "13:00"), (14 * 60 + 1, "9 Mar 23:59"), (60 * 24 * 70, "30 Dec 2025")],
)
def test_moments_are_the_sites_own_time_with_a_date_where_it_is_not_today(before_min, said):
    assert moment(made.NOW_MS - before_min * 60_000, ZONE, EN, made.NOW_MS).text == said


@pytest.mark.parametrize(
    ("minutes", "said"),
    [(-5, "0 minutes"), (119, "119 minutes"), (120, "2 hours"), (2879, "47 hours"), (2880, "2 days")],
)
def test_ages_are_coarse(minutes, said):
    assert age(minutes * 60_000, EN) == said


@pytest.mark.parametrize(
    ("size", "said"),
    [
        (
            Size("array power lost", 0.12, 0.09, 0.15, "fraction"),
            "12\u202f% of the panels' power lost (9.0\u202f% to 15\u202f%)",
        ),
        (Size("duration", 3.5, 3.5, 3.5, "h"), "for 4 hours"),
        (Size("extra lift", 6.2, 4, 8.4, "m"), "6.2\u202fm deeper (4.0\u202fm to 8.4\u202fm)"),
        (Size("trips per day", 7.0, 5.0, 9.0, "1/d"), "7.0 stops a day (5.0 to 9.0)"),
        (None, ""),
    ],
)
def test_sizes_are_said_with_their_interval(size, said):
    assert size_text(size, EN, interval=True) == said


@pytest.mark.parametrize(
    ("confidence", "word"), [(0.97, "nearly-certain"), (0.9, "nearly-certain"), (0.89, "likely"), (0.7, "likely"),
                             (0.4, "possible"), (0.39, "unsure")],
)  # fmt: skip
def test_the_word_for_a_confidence(confidence, word):
    assert sureness(confidence) == word


def test_nothing_is_ever_certain():
    assert percent(0.9999, EN) == "99\u202f%"


def test_what_comes_in_minutes_has_a_time_and_what_comes_in_weeks_a_day():
    assert since(made.DRY, ZONE, EN, made.NOW_MS).text == "13:37"
    assert since(made.DIRTY, ZONE, EN, made.NOW_MS).text == "20 Feb"
