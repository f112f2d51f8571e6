"""Sites without a sensor of the sun under the sky that neighbours tell of: what is told, how it is used, live as in the review."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from analysis.merge import merged
from analysis.plant import plant_of
from analysis.rows import Rows
from analysis.season import review_rows, rows_of_frame
from analysis.sky import CHANNEL, SENSOR, SkyShares, distance_km, of_all, shares_told, tells, with_sky
from analysis.solar_days import HOUR_MS, MINUTE_MS
from analysis.store import open_store
from analysis.turn import turn
from samples.cases import SEASON_START, draw_site
from samples.faults import Fault
from samples.plant.drawn import Likeness
from samples.season import live_season
from samples.site_text import site_text

DAY_MS = 24 * HOUR_MS
START_MS = round(SEASON_START.timestamp() * 1000)


def site(seed: int, sun: bool, name: str, north_deg: float = 0.0):
    facts = draw_site(seed, "multistage-centrifugal", "full")
    channels = facts.sensors.channels
    if not sun:
        channels = tuple(one for one in channels if one not in (SENSOR, "module_temp_c", "ambient_temp_c"))
    place = replace(facts.site, id=name, name=name, latitude_deg=facts.site.latitude_deg + north_deg)
    return replace(facts, site=place, sensors=replace(facts.sensors, channels=channels))


def sunny(facts, days: int = 3, share: float = 0.9, cloud: float = 0.0) -> Rows:
    """Minutes of a sensor that reads `share` of the clear sky, with cloud passing each few minutes."""
    time_ms = START_MS + np.arange(1, days * 1440 + 1) * MINUTE_MS
    clear = plant_of(facts).model.expect(Rows(time_ms, {}), brief=True).clear_poa_w_m2
    passing = 1.0 - cloud * (np.arange(len(time_ms)) // 7 % 2)
    return Rows(time_ms, {SENSOR: np.nan_to_num(clear) * share * passing})


def test_the_share_of_even_hours_is_told_and_of_broken_cloud_nothing():
    facts = site(5, True, "sunny")
    told = shares_told(facts, sunny(facts))
    assert len(told) >= 9
    assert np.allclose(told.share, 0.9, atol=1e-9)
    assert (told.hour_ms % HOUR_MS == 0).all()
    assert len(shares_told(facts, sunny(facts, cloud=0.4))) == 0
    assert len(shares_told(facts, sunny(facts, share=0.3))) == 0, "a covered sensor is no haze"


def test_an_hour_is_told_from_its_own_rows_alone():
    facts = site(5, True, "sunny")
    rows = sunny(facts)
    whole = shares_told(facts, rows)
    cut = START_MS + DAY_MS + 9 * HOUR_MS
    parts = [shares_told(facts, rows.take(rows.time_ms < cut)), shares_told(facts, rows.take(rows.time_ms >= cut))]
    assert np.array_equal(np.concatenate([one.hour_ms for one in parts]), whole.hour_ms)
    assert np.allclose(np.concatenate([one.share for one in parts]), whole.share, rtol=1e-3)


def test_the_middle_neighbour_of_each_hour_tells():
    hours = np.array([0, 1, 2]) * HOUR_MS
    clean, also, soiled = (
        SkyShares(hours[first:], np.full(3 - first, share)) for first, share in ((0, 1.0), (1, 0.98), (1, 0.7))
    )
    together = of_all([clean, also, soiled])
    assert together.hour_ms.tolist() == hours.tolist()
    assert together.share.tolist() == [1.0, 0.98, 0.98]
    rows = with_sky(Rows(np.array([MINUTE_MS, HOUR_MS, 7 * HOUR_MS]), {}), together)
    assert rows[CHANNEL].tolist()[:2] == [1.0, 0.98]
    assert np.isnan(rows[CHANNEL][2])


def test_distance_along_the_ground():
    """A degree of latitude is 111.19 km on a sphere of 6371 km: pi/180 of the radius (geometry, no source)."""
    near, far = site(5, True, "a"), site(5, False, "b", 1.0)
    assert distance_km(near, far) == pytest.approx(111.195, abs=0.01)
    assert tells(near, site(5, False, "c", 0.2))
    assert not tells(near, far)
    assert not tells(site(5, False, "d"), near)
    assert not tells(near, site(5, True, "e"))


@pytest.fixture(scope="module")
def two():
    """A dusty site without a sensor, and a clean one 11 km away, under one landscape's weather."""
    end = SEASON_START + timedelta(days=60)
    dust = Fault("panel-soiling", SEASON_START + timedelta(days=20), None, 0.2, shape="ramp", options={"ramp_days": 12})
    made = []
    for facts, faults, seed in ((site(43, False, "dusty"), [dust], 43), (site(43, True, "clear", 0.1), [], 120)):
        season = live_season(facts, faults, SEASON_START, end, 300, seed, likeness=Likeness(landscape_seed=43))
        made.append((facts, merged(rows_of_frame(season.frame)).rows))
    return made


def test_told_haze_is_not_taken_for_dust(two):
    (dusty, rows), (clear, others) = two
    told = shares_told(clear, others)
    hazier = SkyShares(told.hour_ms, told.share * 0.8)
    size = {}
    for name, given in (("told", with_sky(rows, told)), ("hazier", with_sky(rows, hazier))):
        found = [one for one in review_rows(dusty, given).findings if one.cause == "panel-soiling"]
        size[name] = max((one.size.value for one in found if one.size), default=0.0)
    assert size["told"] == pytest.approx(0.2, abs=0.06), size
    assert size["hazier"] < size["told"] - 0.04, size


@pytest.mark.parametrize("first", ["dusty", "clear"])
def test_live_says_what_the_review_says_whoever_is_judged_first(two, tmp_path, first):
    (dusty, rows), (clear, others) = two
    inside = review_rows(dusty, with_sky(rows, shares_told(clear, others)))
    store = open_store(f"sqlite:///{tmp_path}/w.db")
    for facts, given in two:
        store.put_site(site_text(facts))
        store.load_history(facts.site.id, given)
    end_ms = int(max(rows.time_ms[-1], others.time_ms[-1]))
    names = ["dusty", "clear"] if first == "dusty" else ["clear", "dusty"]
    for name in [*names, "dusty"]:
        turn(store, name, end_ms)
    live = {one.id: one for one in store.findings("dusty") if one.withdrawn is None}
    assert {one.id for one in inside.findings} == set(live)
    for one in inside.findings:
        assert (one.cause, one.flagged, one.size, one.confidence) == (
            live[one.id].cause, live[one.id].flagged, live[one.id].size, live[one.id].confidence
        )  # fmt: skip
    store.close()


def test_a_site_enrolled_late_hears_of_the_past_and_one_whose_teller_loses_its_sensor_forgets(two, tmp_path):
    (dusty, rows), (clear, others) = two
    inside = {one.id for one in review_rows(dusty, with_sky(rows, shares_told(clear, others))).findings}
    alone = {one.id for one in review_rows(dusty, rows).findings}
    assert inside != alone
    store = open_store(f"sqlite:///{tmp_path}/w.db")
    end_ms, half_ms = int(max(rows.time_ms[-1], others.time_ms[-1])), int(others.time_ms[len(others) // 2])
    store.put_site(site_text(clear))
    store.load_history("clear", others.take(others.time_ms <= half_ms))
    turn(store, "clear", half_ms)
    store.put_site(site_text(dusty))
    store.load_history("dusty", rows)
    turn(store, "dusty", end_ms)
    store.load_history("clear", others.take(others.time_ms > half_ms))
    turn(store, "clear", end_ms)
    turn(store, "dusty", end_ms)
    assert {one.id for one in store.findings("dusty") if one.withdrawn is None} == inside
    blind = tuple(name for name in clear.sensors.channels if name != SENSOR)
    store.put_site(site_text(replace(clear, sensors=replace(clear.sensors, channels=blind))))
    turn(store, "clear", end_ms)
    turn(store, "dusty", end_ms)
    assert {one.id for one in store.findings("dusty") if one.withdrawn is None} == alone
    store.close()
