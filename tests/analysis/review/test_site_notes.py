"""What no fault forbids and most days make doubtful is said beside a review, and sound readings and sick pumps are left in peace."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.rows import Rows
from analysis.site_notes import notes_of
from analysis.solar_days import HOUR_MS
from tests.analysis.review.test_units_by_look import full, recorded
from tests.cases.recorded import case_folders, read_case


def shifted(hours: float) -> Rows:
    _, rows = recorded()
    return Rows(rows.time_ms + round(hours * HOUR_MS), rows.values)


@pytest.mark.parametrize("folder", case_folders(), ids=lambda f: f"{f.parent.name}-{f.name}")
def test_no_recorded_case_has_a_note_but_of_its_level(folder) -> None:
    facts, rows, _ = read_case(folder)
    assert [note for note in notes_of(facts, rows) if "the water rested at" not in note] == []


@pytest.mark.parametrize(
    ("hours", "zone", "words"),
    [
        (
            2.0,
            "Africa/Johannesburg",
            "2.0 h after solar noon, and Africa/Johannesburg is 2 h ahead of UTC: are the times local ones",
        ),
        (2.0, "UTC", "is the logger's clock right"),
        (-3.0, "America/Sao_Paulo", "3.0 h before solar noon, and America/Sao_Paulo is 3 h behind UTC"),
    ],
)
def test_a_clock_that_is_off_by_hours_is_asked_about(hours: float, zone: str, words: str) -> None:
    facts, _ = recorded()
    there = replace(facts, site=replace(facts.site, timezone=zone))
    (note,) = [one for one in notes_of(there, shifted(hours)) if "solar noon" in one]
    assert words in note


def test_half_an_hour_is_a_hills_or_a_drifting_clocks() -> None:
    facts, _ = recorded()
    assert [one for one in notes_of(facts, shifted(0.6)) if "solar noon" in one] == []


def test_a_float_the_other_way_round_is_asked_about() -> None:
    facts, rows = full()
    turned = Rows(rows.time_ms, rows.values | {"tank_float_up": 1.0 - rows["tank_float_up"]})
    (note,) = notes_of(facts, turned)
    assert "wired the other way round" in note
    since = rows.time_ms - rows.time_ms.min()
    stuck_later = np.where(since > 0.6 * since.max(), 1.0, rows["tank_float_up"])
    assert notes_of(facts, Rows(rows.time_ms, rows.values | {"tank_float_up": stuck_later})) == []


@pytest.mark.parametrize(("share", "words"), [(0.1, "a tenth"), (0.01, "a hundredth"), (0.5, None)])
def test_a_pulse_value_that_is_off_by_tens_is_asked_about(share: float, words: str | None) -> None:
    facts, rows = recorded()
    counted = Rows(rows.time_ms, rows.values | {"volume_m3": share * rows["volume_m3"]})
    notes = [one for one in notes_of(facts, counted) if "pulse value" in one]
    assert [words in one for one in notes] == ([True] if words else [])


@pytest.mark.parametrize(
    ("times", "words"), [(10.0, "about 10 times"), (100.0, "about 100 times"), (2.0, None), (0.1, None)]
)
def test_a_pulse_value_that_changes_some_day_is_dated(times: float, words: str | None) -> None:
    """Too much by decimal points is no pump's fault; too little may be one, and is weighed as such."""
    facts, rows = recorded()
    changes = rows.time_ms.min() + round(0.5 * np.ptp(rows.time_ms))
    steps = np.diff(rows["volume_m3"], prepend=rows["volume_m3"][0])
    counted = np.cumsum(np.nan_to_num(np.where(rows.time_ms > changes, times, 1.0) * steps))
    notes = [
        note
        for note in notes_of(facts, Rows(rows.time_ms, rows.values | {"volume_m3": counted}))
        if "the meter counts" in note
    ]
    assert len(notes) == (words is not None)
    if words is not None:
        day = np.datetime64(int(changes), "ms").astype("datetime64[D]")
        assert words in notes[0]
        assert any(f"since {day + one}" in notes[0] for one in (0, 1))
