"""Under a supposed clear sky a whole day at one other level is told at once; less may be haze, and some hours a shade."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.estimates.envelope import SKY_TOLD, under_clear_sky
from analysis.estimates.vector import HOURS, SIZE
from analysis.plant import plant_of
from logger.record.site_file import read_site
from tests.cases.recorded import HERE

FACTS = read_site((HERE / "string-out/centrifugal_full/site.toml").read_text(), "site.toml")
LEAN = plant_of(
    replace(
        FACTS,
        array=replace(FACTS.array, strings=3),
        sensors=replace(FACTS.sensors, channels=("pv_voltage_v", "pv_current_a")),
        visits=(),
    )
)


def day(level: float, hours: slice = slice(2, 10)) -> np.ndarray:
    """A day's vector."""
    vector = np.full(SIZE, np.nan)
    vector[SKY_TOLD[hours]] = level + 0.005 * (-1.0) ** np.arange(HOURS)[hours]
    return vector


@pytest.mark.parametrize(
    ("loss", "hours", "at_once"),
    [(0.4, slice(2, 10), True), (0.12, slice(2, 10), False), (0.28, slice(2, 10), False), (0.4, slice(2, 5), False)],
)
def test_a_whole_day_at_one_other_level_tells_at_once_and_ends_what_was_kept(
    loss: float, hours: slice, at_once: bool
) -> None:
    """As strings make it; less may be haze, and some hours a shade."""
    kept = None
    for _ in range(5):
        _, kept = under_clear_sky(LEAN, day(0.0), kept, None, np.zeros(HOURS))
    found, kept = under_clear_sky(LEAN, day(-loss, hours), kept, None, np.zeros(HOURS))
    at = SKY_TOLD[hours]
    assert np.allclose(found[at], -loss, atol=0.01) == at_once
    assert np.isnan(kept[:-1]).all() == at_once
