"""The API: the contract's objects, every route described, figures true to the store."""

import pytest

from tests.dashboard import scene as made
from tests.dashboard.test_access import all_routes


def test_every_route_of_the_api_is_described_with_its_answer_and_its_errors(app, service):
    paths = service.get("/api/openapi.json").json()["paths"]
    for route in all_routes(app):
        if not route.path.startswith("/api"):
            continue
        for method in route.methods:
            told = paths[route.path][method.lower()]
            assert told.get("description"), route.path
            assert "401" in told["responses"], route.path
            content = told["responses"]["200"]["content"]
            if "application/json" in content:
                assert content["application/json"]["schema"] not in ({}, None), route.path
            for parameter in told.get("parameters", []):
                assert parameter["name"] in route.path or parameter.get("description"), (route.path, parameter["name"])
    assert len(paths) >= 13


def test_findings_are_the_contracts_objects_with_their_site(service):
    got = service.get("/api/sites/lang-vlei/findings?open=true").json()
    assert got == [{"site": "lang-vlei", **made.DIRTY.as_dict(), "withdrawn": None, "raised": None, "outside": None}]


def test_findings_of_a_span(service):
    ids = [one["id"] for one in service.get(
        "/api/sites/lang-vlei/findings?from=2025-11-10T00:00:00Z&to=2025-12-01T00:00:00Z").json()]  # fmt: skip
    assert ids == [made.OVER.id]
    assert {one["site"] for one in service.get("/api/findings").json()} == {"klip-fontein", "lang-vlei"}


def test_now_is_the_stores_row_with_times_for_people(service):
    got = service.get("/api/sites/doring-dam/now").json()
    assert got["time"] == "2026-03-10T12:00:00Z"
    assert got["last_heard"] == "2026-03-10T11:59:00Z"
    assert (got["doing"], got["level"], got["water_today_m3"]) == ("pumping", "good", 17.4)


def test_a_site_not_judged_yet_says_so(farm, service):
    farm.store.put_site(made.SITE_TEXT.format(id="nuut", name="Nuut"))
    error = service.get("/api/sites/nuut/now").json()["error"]
    assert error["problem"] == "nuut has not been judged yet"
    assert service.get("/sites/nuut").status_code == 200
    assert "Nuut" in service.get("/fleet").text


def test_days_with_both_ends(service):
    days = service.get("/api/sites/lang-vlei/days?from=2026-02-19&to=2026-02-20").json()
    assert [day["date"] for day in days] == ["2026-02-19", "2026-02-20"]
    assert days[1]["lost_m3"] == {"panel-soiling": pytest.approx(0.14 * 24)}


def test_readings_as_they_are_and_thinned(service):
    span = "from=2026-03-10T10:00:00Z&to=2026-03-10T11:00:00Z"
    whole = service.get(f"/api/sites/klip-fontein/readings?{span}&channels=flow_m3_h,input_power_w").json()
    assert (whole["rows"], whole["every_s"]) == (60, None)
    assert set(whole["channels"]) == {"flow_m3_h", "input_power_w"}
    few = service.get(f"/api/sites/klip-fontein/readings?{span}&channels=flow_m3_h&points=6").json()
    assert (few["rows"], few["every_s"], len(few["time"])) == (60, 600, 6)
    mean = sum(whole["channels"]["flow_m3_h"][:10]) / 10
    assert few["channels"]["flow_m3_h"][0] == pytest.approx(mean)


def test_more_points_than_a_page_can_show_are_refused(service):
    span = "from=2026-03-10T10:00:00Z&to=2026-03-10T11:00:00Z"
    assert service.get(f"/api/sites/klip-fontein/readings?{span}&points=10001").status_code == 400


def test_the_board_tells_of_itself(farm, service):
    from analysis.store.boards import put_health, put_presence

    with farm.store.changing("witpad") as (connection, number):
        put_presence(connection, number, {"state": "offline", "since": "2026-03-10T07:00:00Z"})
        put_health(connection, number, {"spool": 12})
    got = service.get("/api/sites/witpad/board").json()
    assert got["presence"]["state"] == "offline"
    assert got["health"]["spool"] == 12


def test_the_facts_of_a_site(service):
    facts = service.get("/api/sites/witpad").json()
    assert facts["pump"]["setting_depth_m"] == 80
    assert facts["well"]["static_level_m"] == 38.0
