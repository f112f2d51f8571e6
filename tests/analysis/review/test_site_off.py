"""Water far off the file from the first day on is said, whichever way; what begins, ends, or fills the tank is left to the findings."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.site_off import off_from_the_first
from analysis.summary import DaySummary


def _days(shares, **more) -> list[DaySummary]:
    day = DaySummary("s", "2026-01-01", 0.0, 20.0, 16.0, 24.0, 8.0, 8.0, None, None, 1.0)
    return [replace(day, water_m3=20.0 * float(share), **more) for share in shares]


def test_a_third_or_twice_of_the_water_for_good_is_said_with_both_readings() -> None:
    said = off_from_the_first(_days(np.full(20, 0.35)))
    assert "far less water" in said
    assert "fault that was there before the first reading, or the file of another pump" in said
    assert "140 of 400 m3 on 20 sunny days" in said
    assert "far more water" in off_from_the_first(_days(np.full(20, 2.1)))


@pytest.mark.parametrize(
    "shares",
    [
        np.full(20, 0.75),
        np.full(20, 1.3),
        np.full(5, 0.3),
        np.where(np.arange(40) < 8, 1.0, 0.2),
        np.where(np.arange(40) < 15, 0.2, 1.0),
        np.random.default_rng(3).uniform(0.3, 1.2, 40),
    ],
)
def test_tolerance_weather_and_what_begins_or_ends_are_none(shares: np.ndarray) -> None:
    assert off_from_the_first(_days(shares)) is None


def test_a_full_tank_and_days_without_readings_are_none() -> None:
    assert off_from_the_first(_days(np.full(20, 0.2), lost_m3={"tank-full": 15.5})) is None
    assert off_from_the_first(_days(np.full(20, 0.2), coverage=0.3)) is None
    assert off_from_the_first([replace(day, water_m3=None) for day in _days(np.full(20, 0.2))]) is None


def test_a_review_of_a_file_that_promises_thrice_the_water_says_so_first(tmp_path, site_file, frame, capsys) -> None:
    from logger.cli import main

    less = frame.assign(volume_m3=np.floor(frame["volume_m3"] * 30.0) / 100.0)
    less.assign(time=less["time"].dt.strftime("%Y-%m-%dT%H:%M:%SZ")).to_csv(tmp_path / "r.csv", index=False)
    arguments = [
        "--site",
        str(site_file),
        "--readings",
        str(tmp_path / "r.csv"),
        "--out",
        str(tmp_path / "out"),
        "--no-pictures",
    ]
    assert main(["review", *arguments]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "Warning: from the first day on far less water came than the site file promises" in said
