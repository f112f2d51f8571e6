"""Two faults that begin on the same day: told apart where level, torque and flow tell, and neither taken for a riddle."""

from types import SimpleNamespace

import numpy as np
import pytest

from analysis.diagnosis import UNEXPLAINED, weigh_shift
from analysis.estimates.bench import DAY_SHARE
from analysis.estimates.vector import HOURS, SIZE
from analysis.flow_lost import AT_POWER, WATER
from analysis.memory import Memory
from analysis.slow import shift_of, slow_bench
from analysis.slow_life import with_slow
from tests.analysis.causes.test_directions import plant
from tests.analysis.causes.test_leak_or_wear import form_of, learnt_of, vector

DAY, SOUND, ILL = 20000, 6, 14
NONE_TAKEN = np.full((3, HOURS), np.nan)
SITES = ("helical full", "centrifugal full")
DOUBTFUL = ("centrifugal full",)
"""Where the hole is held likelier than wear once the level has fallen too: impellers lift less in a deeper well by either."""


def both(site: str) -> np.ndarray:
    """A day's figures of a pump worn by a quarter in a well that fell by 8 m."""
    bench = slow_bench(plant(site))
    fallen = bench.explained([form_of(site, "falling-water-level", "resting")], np.array([8.0]), np.arange(SIZE))[0]
    return np.asarray(vector(site, form_of(site, "worn-pump"), 0.25) + fallen)


@pytest.mark.parametrize("site", SITES)
def test_wear_and_a_fallen_level_on_one_day_are_no_riddle(site: str) -> None:
    bench = slow_bench(plant(site))
    moved = shift_of(bench, learnt_of(site), np.tile(both(site), (5, 1)), "hydraulic", 5, [])
    assert moved is not None
    told = weigh_shift(bench, moved, 6.0)
    assert told.shares.get(UNEXPLAINED, 0.0) < 0.1
    assert told.shares["falling-water-level"] > 0.2


@pytest.mark.parametrize("site", SITES)
def test_wear_and_a_fallen_level_on_one_day_become_two_findings(site: str) -> None:
    sound, ill = learnt_of(site).mean, both(site)
    sound = np.where(np.isnan(ill), np.nan, sound)
    recent = np.array([sound] * SOUND + [ill] * ILL)
    memory, figures = Memory(), SimpleNamespace(on_power_m3=np.nan, taken=NONE_TAKEN)
    water = np.array([[0.0, *DAY_SHARE, DAY_SHARE @ np.exp(day[AT_POWER])] for day in recent])
    for day in range(SOUND, SOUND + ILL):
        memory.arrays[WATER] = water[: day + 1]
        with_slow(plant(site), memory, learnt_of(site), recent[: day + 1], DAY + day, figures)  # type: ignore[arg-type]
    told = {case.cause: case for case in memory.cases if case.ended_ms is None}
    fallen = told.pop("falling-water-level")
    assert fallen.size is not None
    assert fallen.size[1] < 8.0 < fallen.size[2]
    (lost,) = told.values()
    assert lost.first_cause == "worn-pump"
    assert lost.cause == "worn-pump" or site in DOUBTFUL, (
        "a rotor's torque and the standing column tell wear from a hole"
    )
    assert (lost.confidence if lost.cause == "worn-pump" else lost.rivals["worn-pump"]) > 0.3
    assert lost.size is not None
    assert lost.size[1] < 0.25 < lost.size[2]
    for case in memory.cases:
        assert case.flagged_ms <= plant(site).days.close_ms(DAY + SOUND + 4)
