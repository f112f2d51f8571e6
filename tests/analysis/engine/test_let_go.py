"""Days of a case that never became likely enough are this installation's own way: learnt, and held against none before them."""

import numpy as np

from analysis.close import kept_of
from analysis.estimates.scatter import GROUPS
from analysis.estimates.vector import PLACE, SIZE
from analysis.learning import OLDEST, Learnt, beginning, learn
from analysis.let_go import its_own_way
from analysis.memory import Case, Memory
from analysis.plant import plant_of
from analysis.shaded import TAKEN
from analysis.slow import slow_bench
from analysis.soiling import SUNS
from logger.record.site_file import read_site
from tests.cases.recorded import HERE

PLANT = plant_of(read_site((HERE / "string-out/centrifugal_full/site.toml").read_text(), "site.toml"))
SCATTER = slow_bench(PLANT).scatter
DAY, SINCE, LOST = 20_100, 20, 0.1
NOON = PLACE["s0"] + 5


def days_of(rng: np.random.Generator, count: int, lost: float) -> np.ndarray:
    """Vectors of the array's hours and of one of the pump's entries; the array gives less by so much (log)."""
    days = np.full((count, SIZE), np.nan)
    days[:, PLACE["s0"] + 2 : PLACE["s0"] + 10] = rng.normal(-lost, 0.01, (count, 8))
    days[:, PLACE["n1"]] = rng.normal(0.0, 0.01, count)
    return days


def let_go() -> tuple[Memory, Learnt, Learnt]:
    """A memory whose last `SINCE` days lost `LOST`, long after all was learnt; what was learnt before, and after the case is let go."""
    rng = np.random.default_rng(1)
    before = beginning(SCATTER)
    sound = days_of(rng, int(OLDEST) + 5, 0.0)
    for row in sound:
        before = learn(before, row, SCATTER)
    recent = np.concatenate([sound[SINCE - 60 :], days_of(rng, SINCE, LOST)])
    hours = np.ones((45, 12))
    memory = Memory(arrays={"recent": recent, TAKEN: hours, SUNS: hours} | kept_of(before))
    case = Case("slow-electric", "shading", "shading", 0, 1, 0, 0)
    case.weighed = {"day": float(DAY - SINCE + 3), "window": 3.0}
    return memory, before, its_own_way(memory, before, SCATTER, case, DAY)


def test_what_it_does_now_is_learnt_though_nothing_more_was_learnt_of_it() -> None:
    _, before, after = let_go()
    assert abs(before.mean[NOON]) < 0.02
    assert abs(after.mean[NOON] + LOST) < 0.02


def test_the_pump_stays_as_it_was_learnt() -> None:
    _, before, after = let_go()
    assert after.mean[PLACE["n1"]] == before.mean[PLACE["n1"]]
    assert after.days[PLACE["n1"]] == before.days[PLACE["n1"]]


def test_days_before_it_are_held_against_nothing() -> None:
    memory, _, _ = let_go()
    recent = memory.arrays["recent"]
    assert np.isnan(recent[:-SINCE, GROUPS["electric"]]).all()
    assert not np.isnan(recent[:, PLACE["n1"]]).any()
    assert len(memory.arrays[TAKEN]) == len(memory.arrays[SUNS]) == SINCE
