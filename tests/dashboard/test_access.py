"""Who may see what: tried on every address that names a site, so that a new one cannot be forgotten."""

import pytest
from fastapi.routing import APIRoute

from tests.dashboard import scene as made

QUERY = "?from=2026-03-01T00:00:00Z&to=2026-03-02T00:00:00Z"
OPEN_TO_ALL = {"/", "/sign-in", "/sign-out", "/language", "/healthz", "/static/{name}"}


def addresses(app):
    found = []
    for route in all_routes(app):
        if "GET" in route.methods:
            found.append(route.path)
    return found


def all_routes(app):
    """Routes, also those that this FastAPI keeps within an included router."""
    listed, waiting = [], list(app.routes)
    while waiting:
        one = waiting.pop(0)
        inner = getattr(one, "original_router", None) or getattr(one, "router", None)
        if isinstance(one, APIRoute):
            listed.append(one)
        elif inner is not None:
            waiting += inner.routes
    return listed


def filled(path, site, finding):
    return path.replace("{site_id}", site).replace("{finding_id}", finding)


def test_there_are_addresses_to_try(app):
    assert len([path for path in addresses(app) if "{site_id}" in path]) >= 11


def test_whoever_is_not_signed_in_sees_nothing(app, visitor):
    for path in addresses(app):
        if path not in OPEN_TO_ALL:
            answer = visitor.get(filled(path, "klip-fontein", made.DRY.id) + QUERY)
            assert answer.status_code == 401, path


def test_a_farmer_sees_own_site_and_no_other(app, farmer):
    for path in addresses(app):
        if "{site_id}" not in path:
            continue
        other = farmer.get(filled(path, "lang-vlei", made.DIRTY.id) + QUERY)
        assert other.status_code == 403, path
        assert "Langvlei" not in other.text
        assert farmer.get(filled(path, "klip-fontein", made.DRY.id) + QUERY).status_code in (200, 400), path


def test_a_farmer_does_not_learn_which_sites_there_are(farmer):
    real, invented = farmer.get("/api/sites/lang-vlei/now"), farmer.get("/api/sites/no-such-place/now")
    assert real.status_code == invented.status_code == 403
    assert real.text.replace("lang-vlei", "X") == invented.text.replace("no-such-place", "X")


def test_lists_hold_own_sites_only(farmer):
    assert [site["id"] for site in farmer.get("/api/sites").json()] == ["klip-fontein"]
    assert {one["site"] for one in farmer.get("/api/findings?open=false").json()} == {"klip-fontein"}
    listed = farmer.get("/fleet").text
    assert "Klipfontein" in listed
    assert "Langvlei" not in listed


def test_a_finding_is_found_under_its_own_site_only(service):
    assert service.get(f"/api/sites/witpad/findings/{made.DRY.id}").status_code == 404


@pytest.mark.parametrize("site", ["..", "A", "a" * 49, "a'--"])
def test_what_is_no_site_id_is_refused(service, site):
    assert service.get(f"/api/sites/{site}/now").status_code in (400, 404)
