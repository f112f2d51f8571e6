"""Everything that goes wrong leaves in one shape: problem and fix."""

import pytest

from dashboard.headers import ALWAYS


@pytest.mark.parametrize(
    ("path", "status", "problem", "fix"),
    [
        ("/api/sites/nowhere/now", 404, "there is no site nowhere", "/api/sites and /fleet list those there are"),
        ("/api/nowhere", 404, "nothing is at /api/nowhere", "check the address, or start again at /"),
        ("/api/sites/witpad/days?from=2026-03-02&to=2026-03-01", 400, "span backwards or too long",
         "put 'to' on or after 'from', by less than 800 days"),
        ("/api/sites/witpad/readings?from=2026-01-01T00:00:00Z&to=2026-03-01T00:00:00Z", 400, "span empty or too long",
         "put 'to' after 'from', by at most 40 days"),
        ("/api/sites/witpad/readings?from=2026-01-01T00:00:00Z", 400, "query.to: Field required",
         "correct what is named; see /api/openapi.json"),
    ],
)  # fmt: skip
def test_problem_and_fix(service, path, status, problem, fix):
    answer = service.get(path)
    assert answer.status_code == status
    assert answer.json() == {"error": {"status": status, "problem": problem, "fix": fix}}


def test_a_time_without_an_offset_is_refused_by_name(service):
    answer = service.get("/api/sites/witpad/readings?from=2026-01-01T00:00:00&to=2026-01-02T00:00:00Z")
    assert answer.status_code == 400
    assert "query.from" in answer.json()["error"]["problem"]


def test_an_unknown_channel_is_named_with_the_known_ones(service):
    span = "from=2026-01-01T00:00:00Z&to=2026-01-02T00:00:00Z"
    error = service.get(f"/api/sites/witpad/readings?{span}&channels=flow,volume_m3").json()["error"]
    assert error["problem"] == "no such channel: flow"
    assert "flow_m3_h" in error["fix"]


def test_people_get_a_page_and_not_signed_in_leads_to_the_door(visitor):
    page = visitor.get("/sites/witpad", headers={"accept": "text/html"})
    assert (page.status_code, page.headers["location"]) == (303, "/sign-in?onward=/sites/witpad")
    missing = visitor.get("/nowhere", headers={"accept": "text/html"})
    assert missing.status_code == 404
    assert "nothing is at /nowhere" in missing.text
    assert "What to do" in missing.text


def test_a_bug_says_nothing_of_the_inside_and_keeps_the_safe_headers(service, app, monkeypatch, caplog):
    monkeypatch.setattr(app.state.store, "all_now", lambda: 1 / 0)
    answer = service.get("/api/sites")
    assert answer.status_code == 500
    assert answer.json()["error"]["problem"] == "something went wrong on the server"
    assert "ZeroDivision" not in answer.text
    assert "ZeroDivisionError" in caplog.text
    assert {name: answer.headers.get(name) for name in ALWAYS} == ALWAYS


def test_a_store_that_is_away_makes_the_server_unwell(visitor, app, monkeypatch):
    def away(_token):
        raise OSError("no route to host")

    assert visitor.get("/healthz").json()["well"] is True
    monkeypatch.setattr(app.state.store, "changes_after", away)
    answer = visitor.get("/healthz")
    assert answer.status_code == 503
    assert answer.json()["error"]["problem"] == "the store does not answer (OSError)"


def test_what_came_in_is_never_markup(service):
    answer = service.get("/fleet?words=<script>alert(1)</script>")
    assert "<script>alert" not in answer.text
    assert "&lt;script&gt;alert" in answer.text
