"""The demo begins on a morning with sun, whatever the day on which somebody tries it."""

from datetime import UTC, datetime, timedelta

import pytest

from samples.demo import morning
from samples.demo.morning import FAIR_W_M2, START_HOUR_UTC, last_fair_morning, light_w_m2

A_CLOUDY_DAY = datetime(2026, 11, 27, 20, 0, tzinfo=UTC)


def test_a_cloudy_morning_is_passed_over():
    assert light_w_m2(A_CLOUDY_DAY.replace(hour=START_HOUR_UTC)) < FAIR_W_M2
    begins = last_fair_morning(A_CLOUDY_DAY)
    assert begins < A_CLOUDY_DAY - timedelta(days=1) + timedelta(hours=12)
    assert light_w_m2(begins) >= FAIR_W_M2


@pytest.mark.parametrize("week", range(0, 52, 4))
def test_at_any_time_of_the_year_there_was_a_fair_morning_within_a_week(week):
    now = datetime(2027, 1, 1, 3, 0, tzinfo=UTC) + timedelta(weeks=week)
    begins = last_fair_morning(now)
    assert timedelta(0) <= now - begins < timedelta(days=8)
    assert begins.hour == START_HOUR_UTC
    assert light_w_m2(begins) >= FAIR_W_M2


def test_where_none_is_fair_the_sunniest_is_taken(monkeypatch):
    now = datetime(2027, 1, 1, 9, 0, tzinfo=UTC)
    best = datetime(2026, 12, 20, START_HOUR_UTC, tzinfo=UTC)
    monkeypatch.setattr(morning, "light_w_m2", lambda day: 500.0 if day == best else 400.0)
    assert last_fair_morning(now) == best
