"""Light through the front glass: against optics by hand, measured modules, an integral over the sky; and where it is counted."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pvlib import iam, pvsystem

from analysis.physics.clear_sky import clear_sky
from analysis.physics.incidence import diffuse_modifiers, glass_modifier
from analysis.physics.sky_table import (
    CLEAR_POA_W_M2,
    CLEAR_STD_W_M2,
    ELEVATION_DEG,
    TAKEN_POA_W_M2,
    TAKEN_STD_W_M2,
    sky_table,
)
from analysis.physics.sun import SunPosition
from logger.record.site_facts import Array, Module, Site

MODULE = Module(170, 37.4, 4.55, 45.8, 4.82, -0.38, -0.30, 0.05, 45)


def by_hand(angle_deg: float) -> float:
    """Fresnel's reflection at the air's side, both ways of swinging, and Bouguer's absorption on the way through."""

    def passed(angle: float) -> float:
        inside = np.arcsin(np.sin(angle) / 1.526)
        across = ((np.sin(inside - angle)) / np.sin(inside + angle)) ** 2
        along = (np.tan(inside - angle) / np.tan(inside + angle)) ** 2
        return (1.0 - (across + along) / 2.0) * np.exp(-4.0 * 0.002 / np.cos(inside))

    return float(passed(np.radians(angle_deg)) / passed(1e-4))


@pytest.mark.parametrize("angle_deg", [1.0, 30.0, 45.0, 60.0, 75.0, 85.0, 89.0])
def test_agrees_with_optics_by_hand(angle_deg):
    assert float(glass_modifier(angle_deg)) == pytest.approx(by_hand(angle_deg), abs=2e-4)


def test_agrees_with_measured_modules():
    """The median of more than 500 modules measured at Sandia, from the tables that pvlib carries: each a polynomial through its
    readings, by itself good to about 0.01."""
    angles = np.arange(0.0, 80.0, 5.0)
    modules = pvsystem.retrieve_sam("SandiaMod")
    measured = np.median([iam.sapm(angles, modules[name]) for name in modules.columns], axis=0)
    off = np.abs(glass_modifier(angles) - measured)
    assert off[angles <= 60].max() < 0.02
    assert off.max() < 0.05


@pytest.mark.parametrize("tilt_deg", [15.0, 30.0, 45.0, 60.0])
def test_one_angle_stands_for_sky_and_ground(tilt_deg):
    """Marion's integral over the half-spheres (Solar Energy 147, 344-348, 2017, through pvlib) as second route."""
    sky, ground = diffuse_modifiers(tilt_deg)
    whole = iam.marion_diffuse("physical", tilt_deg)
    assert sky == pytest.approx(float(whole["sky"]), abs=0.006)
    assert ground == pytest.approx(float(whole["ground"]), abs=0.015)


@given(st.floats(0, 90), st.floats(0, 90))
def test_falls_with_the_angle_and_keeps_within_bounds(one, other):
    low, high = sorted((one, other))
    shares = glass_modifier(np.array([low, high]))
    assert 0.0 <= shares[1] <= shares[0] + 1e-12
    assert shares[0] <= 1.0
    assert float(glass_modifier(low)) == pytest.approx(shares[0], rel=1e-15), (
        "scalar = array, but for the last bit of the library's own power"
    )


def test_nothing_in_nothing_out_and_nothing_from_behind():
    assert np.isnan(glass_modifier(np.nan))
    assert float(glass_modifier(120.0)) == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("tilt_deg", [-1.0, 91.0, np.nan])
def test_a_tilt_out_of_range_is_refused(tilt_deg):
    with pytest.raises(ValueError, match="tilt must be 0 to 90"):
        diffuse_modifiers(tilt_deg)


@settings(max_examples=60)
@given(st.floats(-20, 90), st.floats(0, 360), st.floats(0, 90), st.floats(1.5, 7.0))
def test_what_is_taken_is_part_of_what_falls_in(elevation, azimuth, tilt, turbidity):
    sun = SunPosition(np.array([elevation]), np.array([azimuth]))
    sky = clear_sky(sun, 100.0, 800.0, tilt, 180.0, turbidity)
    assert 0.0 <= sky.taken_w_m2[0] <= sky.poa_w_m2[0] + 1e-9
    straight_in = sky.aoi_cos[0] > 0.99 and sky.beam_w_m2[0] > 600
    assert not straight_in or sky.taken_w_m2[0] > 0.98 * sky.poa_w_m2[0]


def test_only_a_site_without_a_sensor_of_the_sun_counts_it():
    """A sensor's reading is compared with the clear sky as it falls in; the array's own power with what it takes."""
    site = Site("x", "x", -30.72, 24.01, 1180)
    array = Array(module=MODULE, modules_in_series=6, strings=2, tilt_deg=30, azimuth_deg=0)
    bare, glazed = (
        table.days(np.array([20_400]))[0][0] for table in (sky_table(site, array), sky_table(site, array, True))
    )
    share = glazed[:, CLEAR_POA_W_M2] / bare[:, CLEAR_POA_W_M2]
    elevation = bare[:, ELEVATION_DEG]
    noon, low = np.argmax(elevation), (elevation > 8) & (elevation < 12)
    assert 0.98 < share[noon] < 1.0
    assert low.any()
    assert (share[low] < 0.95).all()
    assert (glazed[low, CLEAR_STD_W_M2] > 0.2 * (bare[low, CLEAR_POA_W_M2] - glazed[low, CLEAR_POA_W_M2])).all(), (
        "the glass itself is doubted"
    )
    assert np.array_equal(
        bare[:, TAKEN_POA_W_M2 : TAKEN_STD_W_M2 + 1], glazed[:, CLEAR_POA_W_M2 : CLEAR_STD_W_M2 + 1]
    ), "what stands in for a reading is the same sky"
