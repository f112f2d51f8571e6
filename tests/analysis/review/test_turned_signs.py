"""A clamp put on backwards is refused with the cure, at any size of current; a zero that is off, and a sensor that fails some day, are not."""

import numpy as np
import pytest

from analysis.could_not import not_judged
from analysis.rows import Rows
from analysis.turned_signs import judge_signs
from analysis.units_by_look import judge_units
from tests.analysis.review.test_units_by_look import full, recorded
from tests.cases.recorded import case_folders, read_case


@pytest.mark.parametrize("channel", ["pv_current_a", "input_power_w", "flow_m3_h", "irradiance_w_m2"])
@pytest.mark.parametrize("which", [recorded, full])
def test_a_turned_sign_is_refused_however_little_flows(channel: str, which) -> None:
    facts, rows = which()
    if channel not in rows.values:
        return
    turned = Rows(rows.time_ms, rows.values | {channel: -rows[channel]})
    problems = judge_units("r.csv", turned, facts) or judge_signs("r.csv", turned, facts)
    assert f"column {channel}" in [one.key for one in problems]
    assert "Multiply by -1" in str(problems[0]) or "multiply by -1" in str(problems[0])


@pytest.mark.parametrize("folder", case_folders(), ids=lambda f: f"{f.parent.name}-{f.name}")
def test_no_recorded_case_has_a_turned_sign_or_lacks_its_days(folder) -> None:
    facts, rows, _ = read_case(folder)
    assert judge_signs("r.csv", rows, facts) == []
    assert [said for said in not_judged(rows, facts) if "by day" in said] == []


def test_a_zero_that_is_off_and_a_sign_that_turns_some_day_are_no_turned_clamp() -> None:
    facts, rows = recorded()
    current, late = rows["pv_current_a"], rows.time_ms > np.quantile(rows.time_ms, 0.6)
    for changed in (current - 0.3, np.where(late, -current, current), np.where(late, -1.0, current)):
        assert judge_signs("r.csv", Rows(rows.time_ms, rows.values | {"pv_current_a": changed}), facts) == []


def test_a_fitted_channel_that_is_null_by_day_is_said() -> None:
    facts, rows = recorded()
    current = rows["pv_current_a"]
    lost = Rows(rows.time_ms, rows.values | {"pv_current_a": np.where(current > 0.1, np.nan, current)})
    said = " ".join(not_judged(lost, facts))
    assert "mostly without a value by day: pv_current_a" in said
    assert "by day" not in " ".join(not_judged(rows, facts))
