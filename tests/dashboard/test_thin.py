"""Readings thinned for a picture: nothing invented, extremes kept."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.rows import Rows
from dashboard.views.thin import iso_exact, thinned

HOUR_MS = 3_600_000


def rows(n=600, **columns):
    return Rows(
        np.arange(n, dtype=np.int64) * 60_000, {name: np.asarray(column, float) for name, column in columns.items()}
    )


def test_few_rows_pass_unchanged_with_their_nulls():
    got = thinned(rows(3, flow_m3_h=[1.0, np.nan, 2.0]), 0, HOUR_MS, 10)
    assert got["every_s"] is None
    assert got["channels"] == {"flow_m3_h": [1.0, None, 2.0]}
    assert got["time"][1] == "1970-01-01T00:01:00Z"


def test_means_with_lowest_and_highest():
    got = thinned(rows(600, flow_m3_h=np.arange(600)), 0, 600 * 60_000, 10)
    assert (got["rows"], got["every_s"], len(got["time"])) == (600, 3600, 10)
    assert got["channels"]["flow_m3_h"][0] == pytest.approx(29.5)
    assert got["channels"]["flow_m3_h_min"][1] == 60
    assert got["channels"]["flow_m3_h_max"][1] == 119


def test_counters_flags_and_codes_keep_the_last_known():
    volume, code = np.arange(600.0), np.zeros(600)
    volume[59], code[30] = np.nan, 7
    got = thinned(rows(600, volume_m3=volume, fault_code=code), 0, 600 * 60_000, 10)["channels"]
    assert got["volume_m3"][0] == 58
    assert got["fault_code"][0] == 0
    assert "volume_m3_min" not in got


def test_an_interval_without_rows_is_left_out_and_one_without_values_is_null():
    whole = rows(600, flow_m3_h=np.where(np.arange(600) < 60, np.nan, 1.0))
    got = thinned(whole.take(np.r_[0:120, 300:600]), 0, 600 * 60_000, 10)
    assert got["channels"]["flow_m3_h"][:2] == [None, 1.0]
    assert len(got["time"]) == 7


def test_extremes_that_the_board_sent_are_not_lost():
    flow = np.ones(600)
    dips = np.full(600, np.nan)
    dips[10] = 0.2
    got = thinned(rows(600, flow_m3_h=flow, flow_m3_h_min=dips), 0, 600 * 60_000, 10)["channels"]
    assert got["flow_m3_h_min"] == [0.2] + [1.0] * 9


def test_milliseconds_are_kept():
    assert iso_exact(1_234) == "1970-01-01T00:00:01.234Z"


@given(st.lists(st.one_of(st.none(), st.floats(-1e6, 1e6)), min_size=1, max_size=300), st.integers(1, 50))
@settings(max_examples=60, deadline=None)
def test_never_more_points_than_asked_and_never_outside_the_data(values, points):
    column = np.array([np.nan if value is None else value for value in values])
    got = thinned(rows(len(values), flow_m3_h=column), 0, len(values) * 60_000, points)
    assert len(got["time"]) <= max(points, 1)
    known = [value for value in got["channels"]["flow_m3_h"] if value is not None]
    assert bool(known) == bool(np.isfinite(column).any())
    if known:
        assert np.nanmin(column) - 1e-6 <= min(known)
        assert max(known) <= np.nanmax(column) + 1e-6
