"""The fleet list: order, rows, filter, pages."""

import re
from dataclasses import replace

from analysis.causes.registry import HELICAL
from dashboard.languages import languages
from dashboard.views.fleet import ROWS_MAX, fleet
from dashboard.views.priority import SiteSeen
from tests.dashboard import scene as made

EN = languages()["en"]


def names_in(html):
    return re.findall(r'<a href="/sites/([a-z-]+)">', html)


def test_rows_come_in_the_order_of_what_needs_doing(service):
    html = service.get("/fleet").text
    assert names_in(html) == ["klip-fontein", "lang-vlei", "witpad", "doring-dam"]
    assert "1 act now, 1 to look at, 1 without news, 1 well" in html


def test_a_row_says_what_since_when_how_bad_how_sure_and_what_it_cost(service):
    row = re.search(r'<tr role="row" class="look">.*?</tr>', service.get("/fleet/rows").text, re.DOTALL)[0]
    text = " ".join(re.sub(r"<[^>]+>", " ", row).replace("&#39;", "'").split())
    assert text == (
        "Look at this Langvlei The panels are dirty 20 Feb 12\u202f% of the panels' power lost "
        "Likely, 82\u202f% 41 m³ 13:59"
    ).replace("\u202f", " ")


def test_words_filter_by_name_cause_and_sign(service):
    for asked, left in [("LANG", ["lang-vlei"]), ("without water", ["klip-fontein"]), ("panel-soiling", ["lang-vlei"]),
                        ("no news", ["witpad"]), ("klip dirty", []), ("", 4)]:  # fmt: skip
        found = names_in(service.get("/fleet", params={"words": asked}).text)
        assert found == left or len(found) == left, asked
    assert "No pump fits these words." in service.get("/fleet?words=klip+dirty").text


def test_the_part_that_renews_itself_keeps_the_filter(service):
    html = service.get("/fleet?words=no+news&start=0").text
    assert 'data-fragment="/fleet/rows?words=no+news"' in html
    assert names_in(service.get("/fleet/rows?words=no+news").text) == ["witpad"]


def test_a_closed_or_withdrawn_finding_is_no_work(farm, service):
    farm.put("klip-fontein", replace(made.DRY, withdrawn="the readings came late", revision=2))
    assert "The pump is running without water" not in service.get("/fleet").text


def test_thousands_of_sites_come_in_pages():
    sites = [SiteSeen(f"s{n}", f"Site {n:05d}", "UTC", made.now_of(f"s{n}"), HELICAL) for n in range(2 * ROWS_MAX + 7)]
    first, last = fleet(sites, made.NOW_MS, EN), fleet(sites, made.NOW_MS, EN, start=2 * ROWS_MAX)
    assert (len(first.rows), first.first, first.last, first.total) == (ROWS_MAX, 1, ROWS_MAX, 2 * ROWS_MAX + 7)
    assert (len(last.rows), last.first, last.last) == (7, 2 * ROWS_MAX + 1, 2 * ROWS_MAX + 7)


def test_an_empty_store_says_what_to_do():
    assert not fleet([], made.NOW_MS, EN).any_site


def test_headings_are_headings(service):
    html = service.get("/fleet").text
    assert html.count('<th scope="col"') == 7
    assert html.count('<th scope="row"') == 4
    assert "<caption" in html
