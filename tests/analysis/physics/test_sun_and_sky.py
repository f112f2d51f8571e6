"""Sun and sky as the season sees them: interpolated, tabulated, against the models evaluated minute by minute."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pvlib import solarposition

from analysis.physics.cell_temperature import ambient_default
from analysis.physics.clear_sky import clear_sky, monthly_turbidity
from analysis.physics.sky_table import AMBIENT_C, CLEAR_POA_W_M2, ELEVATION_DEG, NODES, sky_table
from analysis.physics.sun import DAY_MS, SunPosition, day_of_year, pressure_at, refraction_deg, sun_position
from logger.record.site_facts import Array, Module, Site

MODULE = Module(170, 37.4, 4.55, 45.8, 4.82, -0.38, -0.30, 0.05, 45)
PLACES = [  # latitude, longitude, altitude, tilt, azimuth
    (-30.72, 24.01, 1180, 30, 0),
    (13.5, 2.1, 210, 15, 180),
    (52.0, 10.0, 50, 35, 180),
    (0.0, 179.0, 0, 10, 90),
]


@pytest.mark.parametrize("year", [2011, 2025, 2044])
@pytest.mark.parametrize(("latitude", "longitude"), [(p[0], p[1]) for p in PLACES])
def test_sun_keeps_within_two_hundredths_of_a_degree_for_a_generation(year, latitude, longitude):
    times = pd.date_range(f"{year}-01-01", f"{year + 1}-01-01", freq="3h7min", tz="UTC")
    other = solarposition.spa_python(times, latitude, longitude, pressure=101_325, temperature=15)
    ours = sun_position(times.as_unit("ms").asi8, latitude, longitude)
    up = other["apparent_elevation"].to_numpy() > -0.2
    assert np.abs(ours.elevation_deg - other["apparent_elevation"])[up].max() < 0.02
    turn = (ours.azimuth_deg - other["azimuth"] + 180) % 360 - 180
    assert np.abs(turn * np.cos(np.radians(other["elevation"])))[up].max() < 0.02


@pytest.mark.parametrize(("latitude", "longitude", "altitude", "tilt", "azimuth"), PLACES)
def test_table_agrees_with_the_models_asked_directly(latitude, longitude, altitude, tilt, azimuth):
    site = Site("x", "x", latitude, longitude, altitude)
    table = sky_table(site, Array(module=MODULE, modules_in_series=6, strings=2, tilt_deg=tilt, azimuth_deg=azimuth))
    times = pd.date_range("2025-01-01", "2025-12-31", freq="1h23min", tz="UTC").as_unit("ms")
    local = table.local_days(times.asi8)
    day = np.floor(local)
    days, place = np.unique(day.astype(int), return_inverse=True)
    values, rise, down = table.days(days)
    at = (local - day) * (NODES - 1)
    low = np.minimum(at.astype(int), NODES - 2)
    weight = (at - low)[:, None]
    found = values[place, low] * (1 - weight) + values[place, low + 1] * weight
    sun = sun_position(times.asi8, latitude, longitude, altitude)
    turbidity = monthly_turbidity(day_of_year(times.asi8 / DAY_MS), latitude, longitude)
    sky = clear_sky(sun, times.day_of_year.to_numpy(), altitude, tilt, azimuth, turbidity)
    high = (sun.elevation_deg > 3) & (sun.elevation_deg < 85)
    assert np.abs(found[:, ELEVATION_DEG] - sun.elevation_deg)[high].max() < 0.2
    assert np.abs(found[:, CLEAR_POA_W_M2] - sky.poa_w_m2)[high].max() < 7.0
    assert np.percentile(np.abs(found[:, CLEAR_POA_W_M2] - sky.poa_w_m2), 95) < 3.0
    lit = (local - day >= rise[place]) & (local - day <= down[place])
    assert lit[sun.elevation_deg > 0].all(), "no daylight is left out"
    assert not lit[sun.elevation_deg < -3.5].any()
    assert np.ptp(found[:, AMBIENT_C]) > 5


def test_polar_night_and_day_are_told():
    site = Site("x", "x", 78.0, 15.0, 10.0)
    table = sky_table(site, Array(module=MODULE, modules_in_series=6, strings=2, tilt_deg=60, azimuth_deg=180))
    december, june = (int(pd.Timestamp(day).timestamp() // 86_400) for day in ("2025-12-21", "2025-06-21"))
    _, rise, down = table.days(np.array([december, june]))
    assert rise[0] > down[0], "never up"
    assert rise[1] < 0.01 < 0.99 < down[1], "never down"


@settings(max_examples=60)
@given(st.floats(-90, 90), st.floats(0, 400))
def test_clear_sky_is_never_negative_nor_above_the_sun(elevation, day):
    sky = clear_sky(SunPosition(np.array([elevation]), np.array([123.0])), day, 800.0, 25.0, 180.0, 3.0)
    assert 0 <= sky.poa_w_m2[0] < 1450
    assert sky.beam_w_m2[0] <= sky.poa_w_m2[0] + 1e-9
    assert elevation > 0 or sky.poa_w_m2[0] == 0


def test_dustier_air_and_lower_ground_give_less():
    sun = SunPosition(np.array([50.0]), np.array([180.0]))
    clean, dusty = (float(clear_sky(sun, 100, 500, 20, 180, t).poa_w_m2[0]) for t in (2.5, 6.0))
    low, high = (float(clear_sky(sun, 100, altitude, 20, 180, 3.5).poa_w_m2[0]) for altitude in (0, 2500))
    assert dusty < clean
    assert low < high


def test_missing_time_gives_missing_sun():
    seen = sun_position(np.array([np.nan, 1.7e12]), 10.0, 10.0)
    assert np.isnan(seen.elevation_deg[0])
    assert np.isfinite(seen.elevation_deg[1])


@pytest.mark.parametrize(("latitude", "longitude"), [(91, 0), (0, 181)])
def test_a_place_off_the_globe_is_refused(latitude, longitude):
    with pytest.raises(ValueError, match="latitude -90 to 90 and longitude -180 to 180"):
        sun_position(0, latitude, longitude)


@pytest.mark.parametrize(("albedo", "tilt"), [(1.2, 20), (0.2, 95)])
def test_a_plane_or_ground_that_cannot_be_is_refused(albedo, tilt):
    with pytest.raises(ValueError, match="albedo must be 0 to 1 and tilt 0 to 90"):
        clear_sky(SunPosition(np.array([50.0]), np.array([180.0])), 100, 0, tilt, 180, 3.5, albedo)


def test_refraction_at_the_horizon_is_about_half_a_degree():
    """Common astronomy: 34 arc minutes at the horizon, 1 arc minute at 45 deg."""
    assert float(refraction_deg(0.0)) == pytest.approx(34 / 60, abs=0.1)
    assert float(refraction_deg(45.0)) == pytest.approx(1 / 60, abs=0.003)


@pytest.mark.parametrize(("altitude", "pascal"), [(0, 101_325), (1000, 89_874), (2000, 79_495)])
def test_pressure_of_the_standard_atmosphere(altitude, pascal):
    """ISO 2533:1975, from memory."""
    assert pressure_at(altitude) == pytest.approx(pascal, rel=2e-3)


def test_usual_air_temperature_has_the_right_signs():
    def at(day, hour, **place):
        return float(
            ambient_default(
                **({"latitude_deg": -30.0, "altitude_m": 500.0} | place), day_after_march_15=day, solar_hour=hour
            )
        )

    assert at(300, 15) > at(300, 4), "afternoon over dawn"
    assert at(300, 12) > at(100, 12), "January over June in the south"
    assert at(300, 12, latitude_deg=30.0) < at(100, 12, latitude_deg=30.0)
    assert at(300, 12, altitude_m=2500.0) < at(300, 12) - 10
    assert float(ambient_default(0, 0, 10, 15, highest_c=25.0)) == 25.0
