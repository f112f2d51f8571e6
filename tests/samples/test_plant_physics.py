"""The plant's parts against values that others published, and against what physics forbids."""

from datetime import UTC, datetime

import numpy as np
import pytest

from logger.record.site_facts import Module
from samples.plant.cells import best_junction_v, cells_of, current_and_voltage, lit_and_warm
from samples.plant.centrifugal import Centrifugal
from samples.plant.effects import HEALTHY
from samples.plant.helical import Helical
from samples.plant.sun import sun_position
from samples.plant.well import TIME_CONSTANTS_S, reservoirs, theis_drawdown_m


def test_sun_stands_where_the_solar_position_algorithm_puts_it():
    """Reda and Andreas, NREL/TP-560-34302 (2008), the worked example; the almanac's short series is good to 0.02 deg."""
    when = datetime(2003, 10, 17, 19, 30, 30, tzinfo=UTC).timestamp()
    elevation, azimuth, nearness = sun_position(np.array([when]), 39.742476, -105.1786)
    assert elevation[0] == pytest.approx(90 - 50.11162, abs=0.03)
    assert azimuth[0] == pytest.approx(194.340241, abs=0.03)
    assert nearness[0] == pytest.approx(0.9965422974**-2, rel=2e-4)


@pytest.mark.parametrize(
    ("light", "dark", "series", "shunt", "ideality", "short", "opened", "volts", "watts"),
    [  # curves 1, 2 and 32 of the high-precision set of pvlib-python, tests/data/precise_iv_curves1 (72 cells, 298.15 K)
        (1, 5e-10, 0.1, 300, 1.01, 0.999666777781, 39.74810740, 33.93689432, 28.71481605),
        (1, 5e-10, 0.1, 300, 1.30, 0.999666777720, 51.05412122, 43.50892289, 35.56623343),
        (8, 3e-8, 1.0, 3000, 1.30, 7.99733341778, 46.65256497, 33.39313303, 244.20122987),
    ],
)
def test_single_diode_meets_published_curves(light, dark, series, shunt, ideality, short, opened, volts, watts):
    """Maximum power by our own Newton steps; short circuit and open circuit must lie on the same curve."""
    slope = ideality * 72 * 1.380649e-23 * 298.15 / 1.602176634e-19
    best = best_junction_v(light, dark, slope, series, shunt, opened)
    current, voltage = current_and_voltage(light, dark, slope, series, shunt, best)
    assert current * voltage == pytest.approx(watts, rel=1e-8)
    assert voltage == pytest.approx(volts, rel=1e-5)
    assert current_and_voltage(light, dark, slope, series, shunt, opened)[0] == pytest.approx(0, abs=1e-7)
    assert current_and_voltage(light, dark, slope, series, shunt, short * series)[0] == pytest.approx(short, rel=1e-9)


def test_module_meets_its_own_datasheet():
    """At standard conditions, and by the datasheet's coefficient of open-circuit voltage; power falls as modules do."""
    cells = cells_of(Module(330, 37.6, 8.78, 45.9, 9.33, -0.38, -0.29, 0.05, 45))
    light, dark, slope, opened = lit_and_warm(cells, np.array([1000.0, 1000.0, 200.0]), np.array([25.0, 60.0, 25.0]))
    best = best_junction_v(light, dark, slope, cells.series_ohm, cells.shunt_ohm, opened)
    current, volts = current_and_voltage(light, dark, slope, cells.series_ohm, cells.shunt_ohm, best)
    assert current[0] * volts[0] == pytest.approx(330, rel=1e-6)
    assert opened[1] == pytest.approx(45.9 * (1 - 0.0029 * 35), rel=1e-4)
    assert (current[1] * volts[1] / 330 - 1) / 35 == pytest.approx(-0.0038, abs=0.0006)
    assert 0.18 < current[2] * volts[2] / 330 < 0.205


@pytest.mark.parametrize(("u", "w"), [(1e-4, 8.63322), (1e-3, 6.33154), (0.01, 4.03793), (0.1, 1.82292), (1, 0.219384)])
def test_theis_well_function(u, w):
    """W(u) as tabulated in Lohman, USGS Professional Paper 708, and Kruseman and de Ridder, annex 3.1."""
    time_d = 0.1**2 * 2e-3 / (4 * 50 * u)
    assert theis_drawdown_m(4 * np.pi * 50, 50.0, 2e-3, 0.1, time_d) == pytest.approx(w, rel=1e-4)


def test_pumping_day_by_superposition():
    """T 50 m2/d, S 2e-3, r 0.1 m, 40 m3/d for 8 h a day: worked out with Theis' function by superposition."""
    hours = np.array([1, 4, 8]) / 24
    assert theis_drawdown_m(40, 50, 2e-3, 0.1, hours) == pytest.approx([0.78704, 0.87530, 0.91942], abs=1e-5)
    third_day = sum(
        theis_drawdown_m(40, 50, 2e-3, 0.1, day + 8 / 24) - theis_drawdown_m(40, 50, 2e-3, 0.1, day) for day in (1, 2)
    )
    assert third_day + 0.91942 == pytest.approx(0.94755, abs=1e-4)


def test_reservoirs_follow_theis_while_pumping_and_recovering():
    """The step-by-step well may be off by 1 % of the day's drawdown: it stands in for the aquifer, not for a formula."""
    shares = np.array(reservoirs(50.0, 2e-3, 0.1))

    def rise(time_d):
        return 40 * (shares * -np.expm1(-np.asarray(time_d)[..., None] * 86400 / TIME_CONSTANTS_S)).sum(axis=-1)

    hours = np.array([1, 4, 8]) / 24
    assert rise(hours) == pytest.approx([0.78704, 0.87530, 0.91942], abs=0.009)
    rest = np.array([8.5, 12, 24]) / 24
    assert rise(rest) - rise(rest - 8 / 24) == pytest.approx([0.18037, 0.06994, 0.02581], abs=0.009)


def test_affinity_laws_of_the_centrifugal_pump():
    """DOE-HDBK-1012/3-92, pump laws: 400 gpm, 48 ft, 45 kW at 1800 rpm are 800 gpm, 192 ft, 360 kW at 3600."""
    pump = Centrifugal(80.0, 0.02, 6e-5, 20_000.0, 50.0, 0.03125, 1800.0, 400.0)
    against = (80.0 - 0.02 * 400 - 6e-5 * 400**2 - 0.0) / 400**2  # a system without static lift through the same point
    flow, head, torque = pump.work(np.array([1800.0, 3600.0]), 0.0, against, HEALTHY, 1.0, 0.0)
    power = torque * np.array([1800.0, 3600.0]) * np.pi / 30
    assert flow[0] == pytest.approx(400, rel=1e-6)
    assert flow[1] / flow[0] == pytest.approx(2, rel=1e-9)
    assert head[1] / head[0] == pytest.approx(4, rel=1e-9)
    assert power[1] / power[0] == pytest.approx(8, rel=1e-9)


def test_helical_rotor_moves_its_volume_a_turn():
    """4 e D Ps a turn (Moineau 1930; formula from memory): 4 mm, 20 mm, 100 mm are 0.032 L, 3.84 m3/h at 2000 rpm."""
    pump = Helical(4 * 0.04 * 0.2 * 1.0, 0.0, 10.0, 0.5, 0.1, 4.0, 60.0, 120.0)
    flow, _, torque = pump.work(np.array([2000.0]), 60.0, 0.0, HEALTHY, 1.0, 0.0)
    assert flow[0] == pytest.approx(3.84, rel=1e-9)
    lifted = 997.0 * 9.80665 * 60.0 * 3.84 / 3600
    assert 0 < lifted < torque[0] * 2000 * np.pi / 30


def test_helical_slip_grows_with_lift_and_wear():
    """As Mueller et al., arXiv:2104.06736, describe: flow nearly linear in speed, less at greater pressure."""
    pump = Helical(0.03, 0.006, 15.0, 0.5, 0.1, 4.0, 60.0, 120.0)
    low, _, _ = pump.work(2900.0, 20.0, 0.0, HEALTHY, 1.0, 0.0)
    high, _, _ = pump.work(2900.0, 60.0, 0.0, HEALTHY, 1.0, 0.0)
    worn_low, _, _ = pump.work(2900.0, 20.0, 0.0, {**HEALTHY, "wear": 0.15}, 1.0, 0.0)
    worn_high, _, _ = pump.work(2900.0, 60.0, 0.0, {**HEALTHY, "wear": 0.15}, 1.0, 0.0)
    assert low > high > worn_high
    assert high - worn_high > 2 * (low - worn_low) > 0


def test_energy_is_never_created(healthy):
    """Water lifted < shaft < controller's input <= what the array offers, at every step."""
    run, plant = healthy.lived.run, healthy.plant
    on = (run.rpm > 0) & (run.driven_s >= healthy.lived.scene.step_s)
    lifted = 997.0 * 9.80665 * (run.level_m + plant.facts.delivery.outlet_height_m) * run.flow / 3600
    shaft = run.torque_nm * run.rpm * np.pi / 30
    assert on.sum() > 1000
    assert np.all(lifted[on] < shaft[on])
    assert np.all(shaft[on] < run.input_w[on])
    assert np.all(run.input_w <= healthy.lived.offer.power_w + 1e-6)


def test_tank_and_well_keep_their_water(healthy):
    """Tank: what came less what went is what is there, to a litre. Well: what was pumped is what arrived, or refills."""
    lived, run = healthy.lived, healthy.lived.run
    hours = lived.scene.step_s / 3600
    came, went = run.flow.sum() * hours, run.drawn_m3.sum() + run.spilt_m3.sum()
    assert lived.begins.tank_m3[0] + came - went == pytest.approx(lived.ends.tank_m3[-1], abs=1e-3)
    steps = np.diff(np.vstack([lived.begins.tank_m3, run.tank_m3]), axis=0)
    assert steps == pytest.approx(run.flow * hours - run.drawn_m3 - run.spilt_m3, abs=1e-9)
    pumped = (run.pumped * run.driven_s / 3600).sum()
    assert came <= pumped + 1e-9
    assert pumped - came < 0.05


def test_days_follow_on(healthy):
    """Each day begins as the one before it ended."""
    lived = healthy.lived
    assert lived.begins.tank_m3[1:] == pytest.approx(lived.ends.tank_m3[:-1], abs=1e-9)
    assert lived.begins.wells[:, 1:] == pytest.approx(lived.ends.wells[:, :-1], abs=0.02)
