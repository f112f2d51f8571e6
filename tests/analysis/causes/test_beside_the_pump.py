"""What the array's figures tell of, held against the pump's of the same days."""

import numpy as np
import pytest

from analysis.beside_the_pump import SUN, denied, misread, read_too_little
from analysis.estimates.vector import PLACE, SIZE
from analysis.learning import Learnt, beginning
from analysis.plant import plant_of
from analysis.rows import Floats
from analysis.slow import Alarm, SlowBench, shift_of, slow_bench
from tests.cases.recorded import HERE, read_case

OFF = 0.25


def site() -> tuple[SlowBench, Learnt]:
    """A pump with all sensors, well learnt."""
    bench = slow_bench(plant_of(read_case(HERE / "closed-delivery" / "centrifugal_full")[0]))
    start = beginning(bench.scatter)
    return bench, Learnt(
        start.joint, 0.001 * start.joint_covariance, np.full(SIZE, 16.0), np.full(SIZE, 16.0), start.scatter
    )


def days(learnt: Learnt, shifts: dict[str, float], count: int = 2) -> Floats:
    """Day vectors that stand as learnt but for so much."""
    recent = np.tile(learnt.mean, (count, 1))
    for name, amount in shifts.items():
        places = [place for known, place in PLACE.items() if known.rstrip("0123456789") == name or known == name]
        recent[:, places] += amount
    return recent


def form_of(
    bench: SlowBench, cause: str, channel: str | None = None, group: str = "electric", sign: float = 0.0
) -> int:
    return next(
        k
        for k, effect in enumerate(bench.effects)
        if bench.causes[k] == cause
        and effect.group == group
        and effect.channel == channel
        and (not sign or sign * effect.direction[PLACE["av1"]] > 0)
    )


def is_denied(
    shifts: dict[str, float], cause: str, channel: str | None = None, sign: float = 0.0, amount: float = OFF
) -> bool:
    bench, learnt = site()
    recent, form = days(learnt, shifts), form_of(bench, cause, channel, sign=sign)
    moved = shift_of(bench, learnt, recent, "electric", 2, [])
    assert moved is not None
    return denied(bench, learnt, recent, Alarm(moved, form, amount, 0.01, 50.0), cause, form, [])


def test_an_array_whose_pump_gives_as_much_as_ever_for_less_power_is_read_wrongly() -> None:
    lost = {"s": -OFF}
    assert not is_denied(lost, "panel-soiling"), "the pump follows what is read"
    assert is_denied(lost | {"t": -OFF, "q": OFF}, "panel-soiling")
    assert not is_denied(lost | {"t": -0.06, "q": 0.06}, "panel-soiling"), "something else about the pump"
    bench, learnt = site()
    assert misread(bench, learnt, days(learnt, lost | {"t": -OFF, "q": OFF}), [])
    assert not misread(bench, learnt, days(learnt, lost), [])
    assert not misread(bench, learnt, np.full((2, SIZE), np.nan), [])
    assert not read_too_little(bench, learnt, np.full((2, SIZE), np.nan), 2, OFF, [])


@pytest.mark.parametrize(("pump", "told"), [({}, False), ({"t": 0.09, "q": -0.09}, True)])
def test_volts_too_high_are_a_sensors_where_the_pump_lacks_that_power(pump: dict[str, float], told: bool) -> None:
    assert is_denied({"av": 0.09} | pump, "sensor-fault", "pv_voltage_v", sign=1.0, amount=0.09) != told


def test_a_sensor_of_the_sun_is_not_held_against_the_sky_alone() -> None:
    bench, learnt = site()
    form = form_of(bench, "sensor-fault", "irradiance_w_m2")
    recent = days(learnt, {"gc": 0.3, "s": -0.3} if bench.directions[form][PLACE["gc"]] > 0 else {"gc": -0.3, "s": 0.3})
    for with_array in (True, False):
        if not with_array:
            recent[:, SUN] = np.nan
        moved = shift_of(bench, learnt, recent, "electric", 2, [])
        assert moved is not None
        found = denied(bench, learnt, recent, Alarm(moved, form, 0.3, 0.01, 50.0), "sensor-fault", form, [])
        assert found != with_array


@pytest.mark.parametrize(("sky", "off"), [(0.3, True), (0.0, False)])
def test_a_sensor_of_the_sun_that_agrees_with_a_clear_sky_is_sound_whatever_the_array_gives(
    sky: float, off: bool
) -> None:
    bench, learnt = site()
    form = form_of(bench, "sensor-fault", "irradiance_w_m2")
    sign = float(np.sign(bench.directions[form][PLACE["gc"]]))
    recent = days(learnt, {"gc": sign * sky, "s": -sign * 0.3})
    moved = shift_of(bench, learnt, recent, "electric", 2, [])
    assert moved is not None
    assert denied(bench, learnt, recent, Alarm(moved, form, 0.3, 0.01, 50.0), "sensor-fault", form, []) != off
