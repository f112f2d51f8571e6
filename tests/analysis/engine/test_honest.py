"""What no instrument can say is no reading, whoever brings it in; what could be is left alone."""

import numpy as np
import pytest

from analysis.honest import FASTER, honest
from analysis.pipeline import advance, begin
from analysis.plant import plant_of
from analysis.rows import Rows
from tests.cases.recorded import HERE, read_case

FACTS, ROWS, _ = read_case(HERE / "none" / "helical")
PLANT = plant_of(FACTS)


def with_some(channel: str, value: float) -> Rows:
    """Each fifth reading of a channel another one."""
    column = np.where(np.arange(len(ROWS)) % 5 == 0, value, ROWS[channel])
    return Rows(ROWS.time_ms, {**ROWS.values, channel: column})


@pytest.mark.parametrize(
    ("channel", "value"),
    [("discharge_pressure_bar", -2.5), ("motor_speed_rpm", 65535.0), ("motor_speed_rpm", 6553.5), ("motor_current_a", 6553.5)],
)  # fmt: skip
def test_what_cannot_be_is_null_and_the_rest_stays(channel: str, value: float) -> None:
    mended = honest(PLANT, with_some(channel, value))
    assert np.isnan(mended[channel][::5]).all()
    assert np.array_equal(mended[channel][1::5], ROWS[channel][1::5], equal_nan=True)
    assert all(mended[name] is ROWS[name] for name in ROWS.values if name != channel)


def test_rows_that_could_be_are_the_same_rows() -> None:
    assert honest(PLANT, ROWS) is ROWS
    fastest = max(row.speed_rpm or 0.0 for row in FACTS.pump.curve)
    quick = with_some("motor_speed_rpm", -0.9 * FASTER * fastest)
    assert honest(PLANT, quick) is quick, "backwards is a way to turn"


def test_a_register_that_overflows_says_what_one_that_is_not_read_says() -> None:
    wild, null = with_some("motor_speed_rpm", 65535.0), with_some("motor_speed_rpm", np.nan)
    until = int(ROWS.time_ms.max())
    assert advance(begin(FACTS), wild, until).findings == advance(begin(FACTS), null, until).findings
