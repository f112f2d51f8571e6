"""Under a supposed clear sky the best of the last days tell what the array lost; haze that drifts off, clouded hours and few days do not."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.estimates.envelope import SKY_TOLD, under_clear_sky
from analysis.estimates.supposed_before import change_of_the_best
from analysis.estimates.vector import HOURS, SIZE
from analysis.plant import plant_of
from analysis.soiling import ENOUGH_SUPPOSED
from logger.record.site_file import read_site
from tests.cases.recorded import HERE

LONG = 50
FACTS = read_site((HERE / "string-out/centrifugal_full/site.toml").read_text(), "site.toml")
LEAN = plant_of(
    replace(FACTS, sensors=replace(FACTS.sensors, channels=("pv_voltage_v", "pv_current_a", "volume_m3")), visits=())
)


def hours_with(level: np.ndarray, haze: float = 0.03) -> np.ndarray:
    """Days of the sun's way at such a level, less what haze takes of each; every third day tells nothing."""
    rng = np.random.default_rng(4)
    hours = np.full((len(level), HOURS), np.nan)
    hours[:, 2:10] = (level - rng.exponential(haze, len(level)))[:, None] + rng.normal(0.0, 0.01, (len(level), 8))
    hours[::3] = np.nan
    return hours


def told(hours: np.ndarray) -> bool:
    """Whether it is enough to tell of."""
    change = change_of_the_best(hours)
    return change is not None and change.ratio >= ENOUGH_SUPPOSED


def test_a_storm_s_dust_is_told_and_sized() -> None:
    hours = hours_with(np.where(np.arange(LONG) < LONG - 10, 0.0, -0.25))
    assert told(hours)
    change = change_of_the_best(hours)
    assert change is not None
    assert change.loss == pytest.approx(0.25, abs=0.03)


@pytest.mark.parametrize("level", [np.zeros(LONG), np.linspace(0.05, -0.07, LONG)])
def test_haze_and_a_season_are_not(level: np.ndarray) -> None:
    assert not told(hours_with(level))


def test_one_clear_day_among_hazy_ones_says_that_nothing_was_lost() -> None:
    level = np.where(np.arange(LONG) < LONG - 10, 0.0, -0.25)
    level[-4] = level[-5] = 0.0
    assert not told(hours_with(level, 0.01))


def test_hours_apart_from_the_others_of_their_day_are_a_cloud_s() -> None:
    hours = hours_with(np.zeros(LONG), 0.01)
    hours[-10:, 2:5] -= 0.5
    assert not told(hours)


def day(level: float, hours: slice = slice(2, 10)) -> np.ndarray:
    """A day's vector."""
    vector = np.full(SIZE, np.nan)
    vector[SKY_TOLD[hours]] = level + 0.005 * (-1.0) ** np.arange(HOURS)[hours]
    return vector


@pytest.mark.parametrize(
    ("loss", "hours", "at_once"), [(0.4, slice(2, 10), True), (0.12, slice(2, 10), False), (0.4, slice(2, 5), False)]
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
