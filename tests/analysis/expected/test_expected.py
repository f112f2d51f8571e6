"""What `SiteModel.expect` promises: each row by itself, whatever is fitted, never more water than energy."""

import tracemalloc
from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.expected import COLUMNS, HEALTHY, Expected, Factors, SiteModel
from analysis.motor_rating import motor_rating
from analysis.physics.reason import Reason
from analysis.reasons import reasons
from analysis.rows import Rows, no_rows

NAMES = [field.name for field in fields(Expected)]


def same(left: Expected, right: Expected) -> None:
    """Bit for bit, NaN where NaN."""
    for name in NAMES:
        one, other = getattr(left, name), getattr(right, name)
        assert one.dtype == other.dtype
        assert one.tobytes() == other.tobytes() or np.array_equal(one, other, equal_nan=one.dtype.kind == "f"), name


def taken(seen: Expected, which) -> Expected:
    return Expected(*(getattr(seen, name)[which] for name in NAMES))


@pytest.fixture(scope="module")
def rows(make_rows):
    return make_rows()


@pytest.fixture(scope="module")
def whole(model, rows):
    return model.expect(rows)


@settings(max_examples=40, deadline=None)
@given(data=st.data())
def test_each_row_is_by_itself_however_the_rows_are_cut(model, rows, whole, data):
    cuts = sorted(data.draw(st.sets(st.integers(1, len(rows) - 1), max_size=6)))
    ends = [0, *cuts, len(rows)]
    pieces = [model.expect(rows.take(slice(a, b))) for a, b in zip(ends, ends[1:], strict=False)]
    joined = Expected(*(np.concatenate([getattr(piece, name) for piece in pieces]) for name in NAMES))
    same(joined, whole)


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 2**32 - 1))
def test_so_with_a_centrifugal_pump(centrifugal, rows, seed):
    rng = np.random.default_rng(seed)
    start = int(rng.integers(0, len(rows) - 300))
    piece = slice(start, start + int(rng.integers(1, 300)))
    whole = centrifugal.expect(rows)
    assert np.isfinite(whole.flow_at_speed_m3_h).any()
    same(centrifugal.expect(rows.take(piece)), taken(whole, piece))


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 2**32 - 1))
def test_order_and_company_of_rows_play_no_part(model, rows, whole, seed):
    which = np.random.default_rng(seed).integers(0, len(rows), 333)
    same(model.expect(rows.take(which)), taken(whole, which))


def test_single_rows_are_the_same_bits(model, rows, whole):
    for i in range(0, len(rows), 97):
        same(model.expect(rows.take(slice(i, i + 1))), taken(whole, slice(i, i + 1)))


def test_rows_decades_apart_are_served_too(model, rows, whole):
    far = Rows(np.array([0], np.int64), {name: column[:1] for name, column in rows.values.items()})
    both = Rows(
        np.concatenate([far.time_ms, rows.time_ms]),
        {name: np.concatenate([far.values[name], column]) for name, column in rows.values.items()},
    )
    same(taken(model.expect(both), slice(1, None)), whole)


def test_no_rows(model):
    assert len(model.expect(no_rows())) == 0


@settings(max_examples=40, deadline=None)
@given(kept=st.sets(st.sampled_from([
    "pv_voltage_v", "pv_current_a", "irradiance_w_m2", "ambient_temp_c", "module_temp_c", "motor_speed_rpm", "water_level_m",
    "discharge_pressure_bar",
])))  # fmt: skip
def test_any_set_of_channels_will_do(model, rows, kept):
    seen = model.expect(Rows(rows.time_ms, {name: rows.values[name] for name in kept}))
    assert np.isfinite(seen.flow_of_sun_m3_h[seen.daylight]).all()
    power_known = {"pv_voltage_v", "pv_current_a"} <= kept
    assert np.isfinite(seen.flow_m3_h).any() == power_known
    assert np.isfinite(seen.flow_at_speed_m3_h).any() == (power_known and "motor_speed_rpm" in kept)
    assert seen.poa_measured.any() == ("irradiance_w_m2" in kept)


def test_power_comes_from_its_channel_else_from_voltage_and_current(model, rows):
    n = len(rows)
    direct = np.where(np.arange(n) % 2 == 0, 777.0, np.nan)
    seen = model.expect(Rows(rows.time_ms, {**rows.values, "input_power_w": direct}))
    product = rows["pv_voltage_v"] * rows["pv_current_a"]
    lit = seen.daylight
    assert np.array_equal(seen.input_power_w[lit], np.where(np.isnan(direct), product, direct)[lit], equal_nan=True)


def test_missing_stays_missing(rows, whole):
    power = rows["pv_voltage_v"] * rows["pv_current_a"]
    for name in ("input_power_w", "head_m", "flow_m3_h"):
        assert np.isnan(getattr(whole, name)[np.isnan(power)]).all(), name
    assert np.isnan(whole.flow_at_speed_m3_h[np.isnan(rows["motor_speed_rpm"])]).all()


def test_night_is_left_out_unless_the_pump_is_fed(model):
    night = np.array([1_762_905_600_000 - 3_600_000], np.int64)
    dark = model.expect(Rows(night, {}))
    assert not dark.daylight[0]
    assert np.isnan(dark.flow_of_sun_m3_h[0])
    fed = model.expect(Rows(night, {"input_power_w": np.array([900.0])}))
    assert not fed.daylight[0]
    assert fed.flow_m3_h[0] > 1.0


def test_energy_is_never_created(model, whole):
    known = ~np.isnan(whole.flow_m3_h) & (whole.input_power_w > 0)
    hydraulic = model.curve.density_kg_m3 * 9.80665 * whole.flow_m3_h / 3600.0 * whole.head_m
    assert (hydraulic[known] < whole.input_power_w[known]).all()
    assert (whole.flow_of_sun_m3_h[whole.daylight] >= 0).all()


@settings(max_examples=60, deadline=None)
@given(low=st.floats(50, 1400), more=st.floats(1, 300))
def test_more_power_and_more_sun_lift_no_less(model, low, more):
    noon = np.full(2, 1_762_941_600_000, np.int64)
    seen = model.expect(Rows(noon, {"input_power_w": np.array([low, low + more])}))
    if np.isfinite(seen.flow_m3_h).all():
        assert seen.flow_m3_h[1] >= seen.flow_m3_h[0]
        assert seen.head_m[1] >= seen.head_m[0]
    seen = model.expect(Rows(noon, {"irradiance_w_m2": np.array([low, low + more]) / 1.5}))
    assert seen.mpp_power_w[1] > seen.mpp_power_w[0]
    assert seen.flow_of_sun_m3_h[1] >= seen.flow_of_sun_m3_h[0]


def test_more_power_than_the_fastest_speed_takes_lifts_no_more(model):
    noon = np.full(3, 1_762_941_600_000, np.int64)
    for more in ({}, {"water_level_m": np.full(3, 44.0)}):
        seen = model.expect(Rows(noon, {"input_power_w": np.array([1900.0, 2500.0, 5000.0]), **more}))
        assert np.ptp(seen.flow_m3_h) < 0.01
        assert seen.flow_m3_h[0] > 5.0


def test_head_off_the_pumps_table_is_not_guessed(model):
    noon = np.full(1, 1_762_941_600_000, np.int64)
    seen = model.expect(Rows(noon, {"input_power_w": np.array([900.0]), "discharge_pressure_bar": np.array([9.0])}))
    assert np.isnan(seen.flow_m3_h[0])
    assert seen.head_m[0] > 100


def test_deeper_water_and_higher_pressure_lift_less(model):
    noon = np.full(3, 1_762_941_600_000, np.int64)
    for channel, values in (("water_level_m", [38.0, 44.0, 50.0]), ("discharge_pressure_bar", [0.8, 1.2, 1.6])):
        seen = model.expect(Rows(noon, {"input_power_w": np.full(3, 900.0), channel: np.array(values)}))
        assert (np.diff(seen.flow_m3_h) < 0).all()
        assert (np.diff(seen.head_m) > 0).all()


def test_measured_level_that_agrees_changes_nothing(model):
    noon = np.full(1, 1_762_941_600_000, np.int64)
    plain = model.expect(Rows(noon, {"input_power_w": np.array([1000.0])}))
    level = model.curve.level_m(plain.flow_m3_h)
    told = model.expect(Rows(noon, {"input_power_w": np.array([1000.0]), "water_level_m": level}))
    assert told.head_m == pytest.approx(plain.head_m, rel=2e-3)
    assert told.flow_m3_h == pytest.approx(plain.flow_m3_h, rel=5e-3)
    assert told.head_m_std < plain.head_m_std


@pytest.mark.parametrize(("name", "factors", "share"), [
    ("flow_m3_h", Factors(meter=0.9), 0.9),
    ("flow_at_speed_m3_h", Factors(meter=0.9), 0.9),
    ("mpp_power_w", Factors(array_voltage=0.8), 0.8),
    ("mpp_voltage_v", Factors(array_voltage=0.8), 0.8),
    ("clear_poa_w_m2", Factors(clear_sky=1.05), 1.05),
    ("motor_current_a", Factors(motor_current=1.2), 1.2),
])  # fmt: skip
def test_factors_scale_what_they_name(model, rows, whole, name, factors, share):
    some = getattr(whole, name) > 0.1
    ratio = getattr(model.expect(rows, factors), name)[some] / getattr(whole, name)[some]
    assert np.abs(ratio - share).max() < 1e-6


def test_wear_depth_and_friction_cost_water(model, rows, whole):
    busy = (whole.flow_m3_h > 1.0) & np.isnan(rows["water_level_m"]) & np.isnan(rows["discharge_pressure_bar"])
    assert busy.any()
    for factors in (
        Factors(flow=0.9),
        Factors(power=1.1),
        Factors(level_offset_m=5.0),
        Factors(friction=3.0),
        Factors(drawdown=2.0),
    ):
        assert (model.expect(rows, factors).flow_m3_h[busy] < whole.flow_m3_h[busy]).all(), factors


def test_soiling_takes_current_not_voltage(model, rows, whole):
    soiled = model.expect(rows, Factors(array_current=0.8))
    lit = whole.poa_w_m2 > 400
    assert np.nanmax(np.abs(soiled.mpp_current_a[lit] / whole.mpp_current_a[lit] - 0.8)) < 0.01
    assert np.nanmax(np.abs(soiled.mpp_voltage_v[lit] / whole.mpp_voltage_v[lit] - 1.0)) < 0.02


def test_sun_beyond_what_the_controller_takes_gives_no_more_water(facts, rows):
    half = SiteModel(replace(facts, controller=replace(facts.controller, max_power_w=700.0)))
    slow = SiteModel(replace(facts, controller=replace(facts.controller, speed_limit_pct=50.0)))
    full = SiteModel(facts).expect(rows)
    for limited in (half, slow):
        seen = limited.expect(rows)
        assert np.nanmax(seen.flow_of_sun_m3_h) < 0.7 * np.nanmax(full.flow_of_sun_m3_h)
        assert (seen.flow_of_sun_m3_h[full.daylight] <= full.flow_of_sun_m3_h[full.daylight] + 0.02).all()


def test_every_value_has_its_uncertainty(whole):
    for name in COLUMNS:
        value, std = getattr(whole, name), getattr(whole, f"{name}_std")
        assert np.array_equal(np.isnan(value), np.isnan(std)), name
        assert (std[~np.isnan(std)] >= 0).all(), name


def test_a_pump_without_speeds_and_without_motor_facts(facts, rows):
    curve = tuple(replace(row, speed_rpm=None) for row in facts.pump.curve)
    seen = SiteModel(replace(facts, pump=replace(facts.pump, curve=curve))).expect(rows)
    assert np.isnan(seen.flow_at_speed_m3_h).all()
    assert np.isnan(seen.motor_current_a).all()
    assert np.isfinite(seen.flow_m3_h).any()


def test_motor_current_follows_torque_and_not_what_copper_loses(facts):
    """By hand: at half the torque and a third of the speed the shaft takes a sixth, copper a quarter of its own loss."""
    rating = motor_rating(facts, SiteModel(facts).pump)
    assert 0.08 < rating.copper < 0.2
    for torque, speed in ((1.0, 1.0), (0.5, 1.0 / 3.0), (1.0, 0.3), (0.7, 0.9)):
        power = rating.power_w * ((1.0 - rating.copper) * torque * speed + rating.copper * torque**2)
        current, slope = rating.current(np.array([speed * rating.speed_rpm]), np.array([power]))
        assert current[0] == pytest.approx(torque * facts.motor.rated_current_a)
        more, _ = rating.current(np.array([speed * rating.speed_rpm]), np.array([power + 0.01]))
        assert slope[0] == pytest.approx((more[0] - current[0]) / 0.01, rel=1e-3)


def test_a_longer_cable_loses_more_and_two_leads_less_than_three(facts):
    def copper(**changes):
        changed = replace(facts, **changes)
        return motor_rating(changed, SiteModel(changed).pump).copper

    longer = replace(facts.cable, length_m=facts.cable.length_m + 100)
    assert copper(cable=longer) > copper()
    assert copper(cable=longer, motor=replace(facts.motor, kind="brushed-dc")) < copper(cable=longer)
    induction = replace(facts, motor=replace(facts.motor, kind="induction"))
    assert motor_rating(induction, SiteModel(induction).pump) is None


def test_healthy_is_the_default(model, rows, whole):
    same(model.expect(rows, HEALTHY), whole)


def test_memory_grows_with_the_answer_and_no_faster(model, make_rows):
    """27 numbers and 2 flags a row, and a working set of one block whatever the number of rows."""
    peaks = []
    day = make_rows()
    for times in (30, 90):
        rows = Rows(np.tile(day.time_ms, times), {name: np.tile(column, times) for name, column in day.values.items()})
        model.expect(rows)
        tracemalloc.start()
        seen = model.expect(rows)
        peaks.append((len(seen), tracemalloc.get_traced_memory()[1]))
        tracemalloc.stop()
    (few, low), (many, high) = peaks
    a_row = (1 + 2 * len(COLUMNS)) * 8 + 2
    assert (high - low) / (many - few) == pytest.approx(a_row, rel=0.05)
    assert low - few * a_row < 12e6, "the working set of a block of 16,384 rows"


NOON_MS = 1_762_941_600_000


@pytest.mark.parametrize(("channel", "value", "why"), [
    ("irradiance_w_m2", 5000.0, Reason.OUT_OF_RANGE), ("irradiance_w_m2", -50.0, Reason.OUT_OF_RANGE), ("irradiance_w_m2", -2.0, Reason.OK),
    ("irradiance_w_m2", 1700.0, Reason.OK), ("module_temp_c", 298.15, Reason.OUT_OF_RANGE), ("ambient_temp_c", 293.0, Reason.OUT_OF_RANGE),
])  # fmt: skip
def test_what_no_sensor_of_the_sun_or_heat_says_gives_no_power_and_a_reason(model, channel, value, why):
    rows = Rows(np.full(2, NOON_MS), {"irradiance_w_m2": np.full(2, 900.0), channel: np.array([value, np.nan])})
    seen = model.expect(rows)
    code, sound = reasons(model, rows, seen)[0]
    assert (code, sound) == (why, Reason.OK)
    for name in ("mpp_power_w", "mpp_power_w_std", "mpp_voltage_v", "mpp_current_a", "flow_of_sun_m3_h"):
        assert np.isnan(getattr(seen, name)[0]) == (why != Reason.OK), name
        assert np.isfinite(getattr(seen, name)[1]), name


@pytest.mark.parametrize(("values", "why"), [
    ({"input_power_w": -500.0}, Reason.IMPOSSIBLE), ({"pv_voltage_v": 300.0, "pv_current_a": -4.0}, Reason.IMPOSSIBLE),
    ({"input_power_w": -20.0}, Reason.NOT_LIFTING), ({"input_power_w": 5e6}, Reason.OUT_OF_RANGE), ({}, Reason.MISSING),
    ({"input_power_w": 900.0, "water_level_m": 5000.0}, Reason.OUT_OF_RANGE), ({"input_power_w": 900.0}, Reason.OK),
    ({"input_power_w": 900.0, "discharge_pressure_bar": 400.0}, Reason.OUT_OF_RANGE),
    ({"input_power_w": 900.0, "water_level_m": 300.0}, Reason.HEAD_OUTSIDE),
])  # fmt: skip
def test_what_cannot_be_lifts_nothing_and_says_why(model, values, why):
    rows = Rows(np.array([NOON_MS]), {name: np.array([value]) for name, value in values.items()})
    seen = model.expect(rows)
    assert Reason(reasons(model, rows, seen)[1][0]) == why
    assert np.isnan(seen.flow_m3_h[0]) == (why > Reason.NOT_LIFTING)


def test_night_is_its_own_reason(model):
    rows = Rows(np.array([NOON_MS + 43_200_000]), {})
    assert [Reason(codes[0]) for codes in reasons(model, rows, model.expect(rows))] == [Reason.DARK, Reason.DARK]


def test_lists_and_single_numbers_are_rows_too(model):
    time_ms = NOON_MS + 60_000 * np.arange(3)
    arrays = model.expect(Rows(time_ms, {"input_power_w": np.full(3, 500.0), "irradiance_w_m2": np.full(3, 800.0)}))
    listed = model.expect(Rows(list(time_ms), {"input_power_w": [500, 500, 500], "irradiance_w_m2": 800}))
    alone = model.expect(Rows(NOON_MS, {"input_power_w": 500.0, "irradiance_w_m2": 800.0}))
    same(arrays, listed)
    same(taken(arrays, slice(1)), alone)
    with pytest.raises(ValueError, match="input_power_w has 2 values for 3 times"):
        model.expect(Rows(time_ms, {"input_power_w": np.full(2, 500.0)}))


def test_the_sky_that_stands_in_is_the_same_whether_a_sensor_is_fitted_or_not(facts):
    """A sensor that reads nothing leaves what a site without one has; beside readings stands the sky as it falls in."""
    channels = tuple(name for name in facts.sensors.channels if name != "irradiance_w_m2")
    bare, fitted = (
        SiteModel(replace(facts, sensors=replace(facts.sensors, channels=listed)))
        for listed in (channels, (*channels, "irradiance_w_m2"))
    )
    day = Rows(1_766_275_200_000 + 300_000 * np.arange(288, dtype=np.int64), {})  # 21 December
    dead = Rows(day.time_ms, {"irradiance_w_m2": np.full(288, np.nan)})
    for brief in (False, True):
        without, unlisted, unread = (m.expect(r, brief=brief) for m, r in ((bare, day), (fitted, day), (fitted, dead)))
        for name in ("poa_w_m2", "poa_w_m2_std", "cell_temp_c", "mpp_power_w", "mpp_power_w_std", "flow_of_sun_m3_h"):
            one = getattr(without, name)
            assert np.nanmax(one) > 1.0
            assert np.array_equal(one, getattr(unlisted, name), equal_nan=True), name
            assert np.array_equal(one, getattr(unread, name), equal_nan=True), name
        assert np.nansum(unlisted.clear_poa_w_m2) > 1.01 * np.nansum(without.clear_poa_w_m2)
