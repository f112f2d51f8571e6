"""Under a supposed clear sky haze and the season take light as dust and a shade do: what tells them apart."""

from pathlib import Path

import numpy as np
import pytest

from analysis.estimates.between_clouds import between_clouds
from analysis.estimates.envelope import SKY_TOLD, without_haze
from analysis.estimates.steady import hours_of
from analysis.estimates.vector import HOURS, SIZE
from analysis.learning import beginning, learn
from analysis.plant import plant_of
from analysis.slow import best_alarm, slow_bench
from analysis.soiling import fell_lately, stays_low
from logger.record.site_file import load_site

USUAL = np.linspace(-0.02, 0.06, HOURS)


def day(off: np.ndarray) -> np.ndarray:
    """A day's vector whose hours of the sun's way lie so far off what they usually give."""
    vector = np.full(SIZE, np.nan)
    vector[0] = 0.1
    vector[SKY_TOLD] = USUAL + off
    return vector


def seen(*hours: float) -> np.ndarray:
    """Nine hours of high and low sun, none in the first two and the last."""
    off = np.full(HOURS, np.nan)
    off[2:11] = hours
    return off


@pytest.mark.parametrize(
    "off",
    [
        seen(-0.45, -0.41, -0.35, -0.24, -0.22, -0.31, -0.36, -0.41, -0.50),  # a thick even haze: most at low sun
        seen(
            -0.22, -0.22, -0.14, -0.13, -0.20, -0.25, -0.21, -0.15, -0.17
        ),  # thin cloud that drifts by, even within each hour
    ],
)
def test_a_day_low_at_all_hours_by_unlike_shares_says_nothing_of_the_array(off: np.ndarray) -> None:
    kept = without_haze(day(off), USUAL)
    assert np.isnan(kept[SKY_TOLD]).all()
    assert kept[0] == 0.1, "what is not the sky's stays"


@pytest.mark.parametrize(
    "off",
    [
        np.full(HOURS, -0.15),  # dust, a string
        seen(-0.16, -0.15, -0.14, -0.15, -0.16, -0.15, -0.14, -0.15, -0.16),
        seen(-0.40, -0.45, -0.40, -0.01, 0.0, 0.01, 0.0, 0.0, 0.0),  # a shade
        seen(-0.05, -0.01, 0.0, 0.01, -0.02, -0.04, 0.03, 0.0, -0.05),  # a clear day
        seen(-0.3, -0.2, np.nan, np.nan, np.nan, np.nan, np.nan, np.nan, -0.1),  # too few to tell
    ],
)
def test_dust_a_shade_and_a_clear_day_are_kept(off: np.ndarray) -> None:
    np.testing.assert_array_equal(without_haze(day(off), USUAL), day(off))


def test_one_level_at_all_hours_is_no_haze_though_what_was_learnt_of_them_is_of_another_season() -> None:
    """Haze takes most at low sun, against what the file says and against what was learnt; a string takes the same of all."""
    usual = USUAL + np.where(np.arange(HOURS) % 2, 0.1, -0.1)
    half = day(seen(*np.full(9, -0.69)))
    np.testing.assert_array_equal(without_haze(half, usual), half)
    hazy = day(seen(-0.45, -0.41, -0.35, -0.24, -0.22, -0.31, -0.36, -0.41, -0.50))
    assert np.isnan(without_haze(hazy, usual)[SKY_TOLD]).all()


def broken_sky(sun: float, cloud: float, hours: int = HOURS) -> np.ndarray:
    """A day of minutes: hours whose sunny halves give one share of what a clear sky would, and their clouds any. By hour, `between_clouds`."""
    bins = np.repeat(np.arange(HOURS), 60)
    rng = np.random.default_rng(3)
    got = np.where(np.arange(len(bins)) % 12 < 6, sun, rng.uniform(0.3 * cloud, cloud, len(bins)))
    lit = bins < hours
    at = hours_of(bins, (1, HOURS), np.full(len(bins), 1 / 60))
    return between_clouds(lit, lit, at, got * rng.normal(1.0, 0.01, len(bins)), np.ones(len(bins)))[0]


def test_the_sunny_minutes_between_clouds_tell_what_the_array_gives() -> None:
    found = broken_sky(0.5, 0.4)
    np.testing.assert_allclose(found[3:9], np.log(0.5), atol=0.02)


@pytest.mark.parametrize(
    ("sun", "cloud", "hours"),
    [
        (0.9, 0.8, HOURS),  # what dust makes: worth too little between clouds
        (0.5, 0.9, HOURS),  # brighter minutes above the level
        (0.5, 0.4, 4),  # two hours of high sun: too few to agree
    ],
)
def test_a_level_that_is_no_plain_one_tells_nothing(sun: float, cloud: float, hours: int) -> None:
    assert np.isnan(broken_sky(sun, cloud, hours)).all()


def season(level: np.ndarray) -> np.ndarray:
    """Vectors of days whose hours all lie at a level."""
    recent = np.full((len(level), SIZE), np.nan)
    recent[:, SKY_TOLD] = USUAL + level[:, None]
    return recent


def test_a_loss_of_weeks_fell_lately_and_a_season_s_drift_did_not() -> None:
    """A tenth below what was learnt: within a fortnight it is dust; where the weeks before lay there too, it is not."""
    dust = np.concatenate([np.zeros(40), np.linspace(0.0, -0.1, 14), np.full(4, -0.1)])
    assert fell_lately(season(dust), 0.1)
    assert not fell_lately(season(np.linspace(-0.07, -0.10, 60)), 0.1)
    assert not fell_lately(season(np.full(5, -0.1)), 0.1), "nothing before to hold it against"


def last_days(*level: float) -> np.ndarray:
    """Ten days over what was learnt, each at one level; NaN where no hour tells."""
    return np.repeat(np.array(level)[:, None], HOURS, axis=1)


def test_dust_lies_on_every_clear_day_and_a_dull_week_ends() -> None:
    """Three alike days of thin even cloud are one weather: what the sky still gave a week ago is not dust."""
    gap = np.nan
    assert stays_low(last_days(gap, -0.19, gap, -0.21, gap, gap, -0.2, gap, -0.22, -0.2), 0.2)
    assert not stays_low(last_days(0.01, gap, -0.25, gap, gap, gap, -0.24, gap, -0.26, -0.25), 0.25), "a clear day"
    assert not stays_low(last_days(gap, gap, gap, gap, gap, gap, -0.24, gap, -0.26, -0.25), 0.25), "one weather"
    assert not stays_low(last_days(gap, -0.25, gap, gap, gap, gap, gap, gap, gap, -0.25), 0.25), "two days"
    assert not stays_low(np.empty((0, HOURS)), 0.25)


SITE = Path(__file__).parents[3] / "samples" / "sites" / "quiet-fold.toml"
LOW_SUN = (1, 9, 10)


def told_of(fallen: dict[int, float]) -> bool:
    """Whether eight days on which only these hours tell, each so far below what forty sound days gave, are worth telling."""
    bench, rng = slow_bench(plant_of(load_site(SITE))), np.random.default_rng(6)
    learnt, recent = beginning(bench.scatter), np.empty((0, SIZE))
    for number in range(48):
        vector, late = np.full(SIZE, np.nan), number >= 40
        at = np.array(list(fallen)) if late else np.arange(1, 11)
        vector[SKY_TOLD[at]] = rng.normal(0.0, 0.02, len(at)) + (np.array(list(fallen.values())) if late else 0.0)
        recent = np.vstack([recent, vector])
        if not late:
            learnt = learn(learnt, vector, bench.scatter)
    return best_alarm(bench, learnt, recent, "electric", [], set()) is not None


def test_low_hours_alone_may_be_weeks_of_haze_and_hours_of_high_sun_are_dust() -> None:
    """As where the pump's speed is limited about noon: of such days only the sun's first and last hours tell."""
    assert told_of(dict.fromkeys((3, 5, 7), -0.22))
    assert not told_of(dict(zip(LOW_SUN, (-0.22, -0.16, -0.24), strict=True)))
