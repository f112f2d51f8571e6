"""What the analysis reads from measured sun and power, beside published methods on the same rows in the same test.

Measurements: those that pvanalytics 0.2.2 carries for its own examples (W. Vining and others, pvanalytics, Sandia and NREL):
`irradiance_RMIS_NREL.csv`, five February days of horizontal irradiance each five minutes at Golden, Colorado, with a clear sky by pvlib;
`system_50_ac_power_2_full_DST.parquet`, power of a roof in the same town each quarter of an hour from 2011 to 2013, with the satellite's
clear sky (NREL PSM3). Its clock keeps daylight saving time, which the name says; its place and the plane that fits its clear days
(45 deg, facing 160 deg) are ours. Only the data files are read: the package itself is not imported.
"""

import warnings
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from pvlib import irradiance, solarposition
from pvlib.clearsky import detect_clearsky
from rdtools.soiling import soiling_srr

from analysis.physics.cell_temperature import cell_of_ambient
from analysis.physics.clear_periods import clear_periods
from tests.published.test_published_soiling import Judged

GOLDEN = (39.74, -105.18, 1829)
TILT_DEG, AZIMUTH_DEG = 45.0, 160.0
POWER_PER_C = -0.004  # of crystalline silicon, common practice; the datasheet is not known


def data(name: str) -> Path:
    """A measured file of the installed package."""
    spec = find_spec("pvanalytics")
    assert spec is not None
    assert spec.origin is not None
    return Path(spec.origin).parent / "data" / name


def milliseconds(times: pd.DatetimeIndex) -> np.ndarray:
    return times.tz_convert("UTC").as_unit("ms").astype("int64").to_numpy()


def test_clear_periods_of_measured_sun_beside_reno_and_hansen() -> None:
    """Agreement on 19 rows of 20; and hardly a row that the published detector would not call clear."""
    frame = pd.read_csv(data("irradiance_RMIS_NREL.csv"))
    frame.index = pd.to_datetime(frame["measured_on"], format="%m/%d/%Y %H:%M").dt.tz_localize("Etc/GMT+7")
    sun, clear = frame["irradiance_ghi__7981"], frame["pvlib_clearsky_ghi"]
    theirs = detect_clearsky(sun, clear, infer_limits=True)
    ours = pd.concat([
        pd.Series(clear_periods(milliseconds(day.index), sun[day.index].to_numpy(float), day.to_numpy(float)), day.index)
        for _, day in clear.groupby(clear.index.date)
    ])  # fmt: skip
    judged = clear > 200
    assert judged.sum() > 400
    assert 0.3 < theirs[judged].mean() < 0.7, "days of both kinds"
    assert (ours == theirs)[judged].mean() > 0.9
    assert (ours & ~theirs)[judged].mean() < 0.01


def roof() -> tuple[pd.Series, pd.Series]:
    """Daily performance on clear noons (NaN on other days; 1 = among the best tenth) and insolation."""
    rows = pd.read_parquet(data("system_50_ac_power_2_full_DST.parquet"))
    local = pd.to_datetime(rows["measured_on"]).dt.tz_localize(None)
    times = local.dt.tz_localize("America/Denver", ambiguous="NaT", nonexistent="NaT").dt.tz_convert("UTC")
    power = pd.Series(rows["ac_power_2"].to_numpy(float), pd.DatetimeIndex(times))
    power = power[power.index.notna()]
    power = power[~power.index.duplicated()].sort_index()
    sky = pd.read_parquet(data("system_50_ac_power_2_full_DST_psm3.parquet"))
    sky = sky.set_index(pd.to_datetime(sky["index"], utc=True))[
        ["temp_air", "ghi_clear", "dni_clear", "dhi_clear"]
    ].astype(float)
    sky = sky.reindex(sky.index.union(power.index)).interpolate("time").reindex(power.index)
    sun = solarposition.get_solarposition(power.index, *GOLDEN)
    poa = irradiance.get_total_irradiance(
        TILT_DEG, AZIMUTH_DEG, sun["apparent_zenith"], sun["azimuth"], sky["dni_clear"], sky["ghi_clear"], sky["dhi_clear"]
    )["poa_global"]  # fmt: skip
    cell = cell_of_ambient(sky["temp_air"].to_numpy(), poa.to_numpy(), 45.0)
    should = (poa * (1.0 + POWER_PER_C * (cell - 25.0))).clip(lower=0.0)
    clock = power.index.tz_convert("Etc/GMT+7")
    performance, insolation = {}, {}
    for day, rows_of_day in power.groupby(clock.date):
        index = rows_of_day.index
        clear = clear_periods(milliseconds(index), rows_of_day.to_numpy(), should[index].to_numpy())
        noon = clear & np.isin(index.tz_convert("Etc/GMT+7").hour, (10, 11, 12, 13))
        ratio = (rows_of_day / should[index])[noon]
        performance[day] = ratio.median() if noon.sum() >= 6 else np.nan
        insolation[day] = poa[index].sum() / 4
    days = pd.DatetimeIndex(list(performance), tz="UTC")
    daily = pd.Series(list(performance.values()), days)
    return (daily / daily.quantile(0.9)).asfreq("D"), pd.Series(list(insolation.values()), days).asfreq("D")


def test_loss_of_a_measured_roof_beside_srr() -> None:
    """Three years at a roof that rain and snow keep clean: both methods see a few per cent, within two and a half points of each other."""
    performance, insolation = roof()
    assert performance.notna().sum() > 400
    np.random.seed(1)  # noqa: NPY002 - rdtools draws from it
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs, _, _ = soiling_srr(performance, insolation, reps=40)
    judged = Judged(
        performance.dropna().to_numpy(), sun_measured=False
    )  # a supposed clear sky: nobody measured the sun there
    ours = float(np.nanmean(judged.ratio))
    assert 0.93 < theirs < 0.99
    assert ours == pytest.approx(theirs, abs=0.025)
    assert not [case for case in judged.cases if case.cause == "panel-soiling"], "nobody told of dust here"
