"""What every page keeps: weight, ETag, safe headers, nothing from elsewhere."""

import gzip
import re

import pytest

from dashboard.headers import ALWAYS
from tests.dashboard import scene as made

PAGES = ["/sites/klip-fontein", "/sites/lang-vlei", "/fleet", f"/sites/lang-vlei/findings/{made.DIRTY.id}"]
FIRST_LOAD_MAX = 60_000
SCRIPT_MAX = 10_000


def weight(answer):
    """Bytes that cross the line: as compressed, plus the headers."""
    headers = sum(len(name) + len(value) + 4 for name, value in answer.headers.items())
    packed = len(gzip.compress(answer.content, 9)) if answer.headers.get("content-encoding") == "gzip" else None
    return headers + (packed if packed is not None else len(answer.content))


def parts_of(html):
    return re.findall(r'(?:src|href)="(/static/[^"]+)"', html)


@pytest.mark.parametrize("path", PAGES)
def test_the_first_load_is_light(service, path, record_property):
    page = service.get(path)
    assert page.headers["content-encoding"] == "gzip"
    total = weight(page) + sum(weight(service.get(part)) for part in parts_of(page.text))
    record_property("first_load_bytes", total)
    assert total < FIRST_LOAD_MAX


def test_the_scripts_are_small(app):
    scripts = [asset.body for name, asset in app.state.pages.assets.items() if name.endswith(".js")]
    assert 0 < sum(len(body) for body in scripts) <= SCRIPT_MAX


@pytest.mark.parametrize("path", [*PAGES, "/sign-in"])
def test_nothing_comes_from_elsewhere_and_nothing_is_inline(service, path):
    answer = service.get(path)
    assert {name: answer.headers.get(name) for name in ALWAYS} == ALWAYS
    assert re.findall(r'(?:src|href|action)="(?!/|#|tel:)', answer.text) == []
    assert " style=" not in answer.text
    assert re.findall(r"<script(?![^>]*src=)", answer.text) == []
    assert re.findall(r" on[a-z]+=", answer.text) == []
    for part in parts_of(answer.text):
        assert "//" not in service.get(part).text.replace("http://www.w3.org/2000/svg", "").replace("// ", "")


@pytest.mark.parametrize(
    "path", ["/sites/klip-fontein/glance", "/fleet/rows", "/api/sites/klip-fontein/now", "/api/findings"]
)
def test_what_has_not_changed_is_not_sent_again(farm, service, path):
    first = service.get(path)
    again = service.get(path, headers={"if-none-match": first.headers["etag"]})
    assert (again.status_code, again.content) == (304, b"")
    assert weight(again) < 900
    changed = made.now_of("klip-fontein", water_today_m3=18.9, doing="starting", flow_m3_h=0.7)
    farm.put("klip-fontein", made.replace(made.DRY, confidence=0.91, revision=2, water_lost_m3=2.0), now=changed)
    fresh = service.get(path, headers={"if-none-match": first.headers["etag"]})
    assert fresh.status_code == 200
    assert fresh.headers["etag"] != first.headers["etag"]


def test_a_minute_that_changes_nothing_changes_no_etag(service, clock):
    first = service.get("/sites/klip-fontein/glance").headers["etag"]
    clock[0] += 60_000
    assert service.get("/sites/klip-fontein/glance").headers["etag"] == first
    clock[0] += 3_600_000
    assert service.get("/sites/klip-fontein/glance").headers["etag"] != first, "an hour of silence shows"


def test_the_look_is_kept_by_its_content(service):
    page = service.get("/fleet").text
    for part in parts_of(page):
        assert "immutable" in service.get(part).headers["cache-control"]
        assert "immutable" not in service.get(part.partition("?")[0]).headers["cache-control"]


def test_pages_are_not_kept_by_others(service):
    assert service.get("/fleet").headers["cache-control"] == "private, no-cache"


def test_https_is_demanded_where_people_come_by_it(farm):
    from fastapi.testclient import TestClient

    from dashboard.app import create_app
    from dashboard.settings import Settings

    app = create_app(farm.store, Settings(secret="x" * 40, https=True, now_ms=lambda: made.NOW_MS))
    with TestClient(app, base_url="https://testserver", follow_redirects=False) as client:
        answer = client.post("/sign-in", data={"name": "ansie", "password": made.PASSWORD})
        assert "secure" in answer.headers["set-cookie"].lower()
        assert answer.headers["strict-transport-security"]


def test_a_finding_page_shows_figures_and_days(service):
    html = service.get(f"/sites/lang-vlei/findings/{made.DIRTY.id}").text
    for said in (made.DIRTY.evidence, made.DIRTY.check, "Likely, 82", "Judged 4 times", "shading the panels, 9"):
        assert said in html.replace("&#39;", "'"), said
    assert html.count('class="came"') > 20
    over = service.get(f"/sites/lang-vlei/findings/{made.OVER.id}").text
    assert "Over since 2 Dec 2025" in over
