"""Starts that the pump itself gives up: told from clouds, from stops by hand, and by whom."""

from dataclasses import replace
from typing import Any

import numpy as np

from analysis.come_again import seen_otherwise
from analysis.gives_up import LIMITS, enough_given_up, gives_up, shut_share
from analysis.memory import Case, Memory
from analysis.plant import plant_of
from analysis.symptoms import Episode
from tests.analysis.causes.test_standing_rules import FACTS, PLANT, seen_of
from tests.cases.recorded import HERE, read_case

OPEN_V, STRONG_V = 120.0, 119.0
TRIES = np.isin(np.arange(30), (5, 9, 13, 17))


class Sized:
    """Rows that know how many they are."""

    def __init__(self, **columns: Any) -> None:
        self.__dict__.update(columns)

    def __len__(self) -> int:
        return len(self.time_ms)


def tries(volts: float = STRONG_V, load: float = 3.0, measured: bool = False, **columns: Any) -> Any:
    """Every four minutes a row that takes so many times the power that its speed needs."""
    power = 0.25 * PLANT.full_power_w
    rows = {"motor_speed_rpm": np.where(TRIES, 300.0, 0.0), "pv_voltage_v": np.where(TRIES, volts, OPEN_V)} | columns
    seen = seen_of(len(TRIES), 3.0 * PLANT.start_power_w, measured, **rows)
    seen.power_w = np.where(TRIES, power, 1.0)
    seen.driven, seen.turning, seen.moved_m3 = TRIES, TRIES, np.zeros(len(TRIES))
    seen.speed_rpm = rows["motor_speed_rpm"]
    seen.expected.power_at_speed_w = np.full(len(TRIES), power / load)
    return Sized(**seen.__dict__)


def test_tries_against_a_load_are_known_by_the_row_after_and_enough_at_the_third() -> None:
    gave = gives_up(PLANT, tries())
    assert gave.tries.tolist() == TRIES.tolist()
    assert gave.over.tolist() == [False, *TRIES[:-1].tolist()]
    assert gave.stands[5:].all()
    assert not gave.stands[:5].any()
    assert int(enough_given_up(gave, np.arange(30)).argmax()) == 14


def test_what_is_known_up_to_a_row_stays_as_it_was() -> None:
    whole = gives_up(PLANT, tries())
    for until in range(6, 30):
        seen = tries()
        cut = {name: column[:until] for name, column in seen.__dict__.items() if isinstance(column, np.ndarray)}
        cut["rows"] = seen.rows.take(slice(0, until))
        cut["expected"] = type(seen.expected)(**{name: c[:until] for name, c in seen.expected.__dict__.items()})
        assert gives_up(PLANT, Sized(**cut)).over.tolist() == whole.over[:until].tolist()


def test_a_dim_array_a_light_load_and_water_that_comes_make_no_try_in_vain() -> None:
    assert not gives_up(PLANT, tries(volts=100.0)).tries.any(), "pulled down to its maximum power: dim"
    assert gives_up(PLANT, tries(volts=100.0, measured=True)).tries.any(), "the sensor says that it is not"
    assert not gives_up(PLANT, tries(load=1.0)).tries.any()
    watered = tries()
    watered.moved_m3 = np.where(TRIES, 0.01, 0.0)
    assert not gives_up(PLANT, watered).tries.any()
    fast = tries(measured=True)
    fast.expected.power_at_speed_w = np.full(len(TRIES), np.nan)
    assert not gives_up(PLANT, fast).tries.any(), "nobody knows what this speed needs"
    spent = tries(measured=True)
    spent.power_w = np.where(TRIES, 0.95 * spent.expected.mpp_power_w, 1.0)
    assert not gives_up(PLANT, spent).tries.any(), "all that the array had: it stopped for want of light"
    blind = tries()
    blind.speed_rpm = np.full(len(TRIES), np.nan)
    assert not gives_up(PLANT, blind).tries.any()


def test_where_the_gauge_shows_it_two_are_enough() -> None:
    plant = plant_of(read_case(HERE / "riser-leak" / "helical_full")[0])
    seen = tries(load=1.0, discharge_pressure_bar=np.where(TRIES, 12.0 + plant.outlet_m / plant.metres_a_bar, 0.1))
    seen.expected.poa_w_m2 = np.full(len(TRIES), 500.0)
    gave = gives_up(plant, seen)
    assert gave.shut.sum() == TRIES.sum()
    rows = np.arange(30)
    assert int(enough_given_up(gave, rows).argmax()) == 10
    assert shut_share(gave, rows) == 1.0
    assert np.isnan(shut_share(gave, rows[:8]))
    assert LIMITS.pressed < LIMITS.tries


def test_a_shut_pipe_seen_by_its_tries_and_by_its_runs_is_one_finding() -> None:
    class View:
        facts, memory = replace(FACTS), Memory()

    shut = {"flow": 0.0, "torque": 0.8, "idle": 2.0, "probe": 1.0, "backwards": 0.0}
    episode = Episode("no-water", 1000, 2000, 3000, 0.2, shut, shut)
    case = Case("not-turning", "closed-delivery", "closed-delivery", 0, 1, 0, 500)
    view: Any = View()
    assert seen_otherwise(view, [case], episode) is case
    other = Case("not-turning", "failed-start", "failed-start", 0, 1, 0, 500)
    assert seen_otherwise(view, [other], episode) is None
    assert seen_otherwise(view, [case], replace(episode, symptom="not-turning")) is None
