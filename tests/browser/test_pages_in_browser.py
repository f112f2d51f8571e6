"""The pages as people see them: headless Chromium, at phone and desk size."""

import pytest

from tests.dashboard import scene as made

pytestmark = pytest.mark.browser
SIZES = [(360, 740), (1280, 800)]
DIRTY_PAGE = f"/sites/lang-vlei/findings/{made.DIRTY.id}"
DRY_PAGE = f"/sites/klip-fontein/findings/{made.DRY.id}"
CLOGGED = made.replace(
    made.DRY,
    id="doring-dam-20260310T1155Z-1",
    cause="clogging",
    first_cause="clogging",
    confidence=0.77,
    size=made.Size("flow lost", 0.3, 0.24, 0.36, "fraction"),
    water_lost_m3=3.2,
)


def sign_in(page, address, name):
    page.goto(f"{address}/sign-in")
    page.get_by_label("Name").fill(name)
    page.get_by_label("Password").fill(made.PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url(lambda url: "/sign-in" not in url)


def fits(page):
    return page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")


@pytest.mark.parametrize("size", SIZES, ids=["phone", "desk"])
def test_every_page_fits_and_none_has_an_error(window, address, tmp_path, size):
    page = window(*size)
    sign_in(page, address, "ansie")
    for name, path in [("fleet", "/fleet"), ("dry", "/sites/klip-fontein"), ("well", "/sites/doring-dam"),
                       ("dirty", "/sites/lang-vlei"), ("silent", "/sites/witpad"), ("finding", DIRTY_PAGE),
                       ("dry-finding", DRY_PAGE)]:  # fmt: skip
        page.goto(address + path)
        page.wait_for_load_state()
        page.screenshot(path=tmp_path / f"{name}.png", full_page=True)
        assert fits(page), name
    assert page.errors == []
    assert page.elsewhere == []


def test_languages_with_longer_words_fit_a_phone_too(window, address):
    page = window(360, 740)
    sign_in(page, address, "ansie")
    for code in ("fr", "pt"):
        page.locator("#language").select_option(code)
        page.locator("form[action='/language'] button").click()
        for path in ("/fleet", "/sites/klip-fontein", "/sites/lang-vlei", DIRTY_PAGE):
            page.goto(address + path)
            assert page.locator("html").get_attribute("lang") == code
            assert fits(page), (code, path)
    assert page.errors == []


def test_a_farmer_sees_sign_water_and_what_to_do_on_one_screen(window, address):
    page = window(360, 740)
    sign_in(page, address, "boer")
    assert page.url.endswith("/sites/klip-fontein")
    for words in ("Act now", "The pump is running without water.", "Switch the pump off at its own switch"):
        seen = page.get_by_text(words).first
        assert seen.is_visible()
        assert seen.bounding_box()["y"] < 740, words
    call = page.get_by_role("link", name="Call Veld pumps").bounding_box()
    assert call["y"] + call["height"] < 740


def test_a_healthy_pump_fits_one_screen_whole(window, address):
    page = window(360, 740)
    sign_in(page, address, "ansie")
    page.goto(f"{address}/sites/doring-dam")
    last = page.get_by_text("Nothing is wrong that we know of.").bounding_box()
    assert last["y"] + last["height"] < 740
    assert "1 minute ago" in page.locator(".figures").inner_text()


def test_a_new_finding_appears_in_the_fleet_without_a_reload(window, address, farm):
    page = window(1280, 800)
    with page.expect_request(lambda asked: asked.url.endswith("/api/live")):
        sign_in(page, address, "ansie")
    page.evaluate("window.notReloaded = true")
    page.wait_for_timeout(300)
    assert page.locator("tr.good").count() == 1
    farm.put("doring-dam", CLOGGED, now=made.now_of("doring-dam", flow_m3_h=2.8))
    page.get_by_text("Something is blocking the water").wait_for()
    assert page.locator("tr.look").count() == 2
    assert page.evaluate("window.notReloaded")
    assert page.errors == []


def test_a_new_finding_appears_on_the_farmers_page_and_is_said_aloud(window, address, farm):
    page = window(360, 740)
    sign_in(page, address, "twee")
    page.goto(f"{address}/sites/doring-dam")
    page.evaluate("window.notReloaded = true")
    assert page.get_by_text("All well").is_visible()
    farm.put("doring-dam", CLOGGED, now=made.now_of("doring-dam", flow_m3_h=2.8))
    page.clock.run_for(16_000)
    page.locator(".said", has_text="Probably: something is blocking the water.").wait_for()
    assert "Look at this" in page.locator("#aloud").inner_text()
    assert page.evaluate("window.notReloaded")
    assert page.errors == []


def test_without_a_connection_it_says_so_and_comes_back(window, address):
    page = window(360, 740)
    sign_in(page, address, "boer")
    page.context.set_offline(True)
    page.clock.run_for(16_000)
    page.get_by_text("No connection. You see what was known at").wait_for()
    page.context.set_offline(False)
    page.clock.run_for(16_000)
    page.locator("#offline").wait_for(state="hidden")


def test_a_sign_in_that_ended_leads_to_the_door(window, address, farm):
    page = window(360, 740)
    sign_in(page, address, "boer")
    farm.store.drop_user("boer")
    page.clock.run_for(16_000)
    page.get_by_role("button", name="Sign in").wait_for()


def test_the_filter_works_while_typing_and_keeps_the_focus(window, address):
    page = window(1280, 800)
    sign_in(page, address, "ansie")
    box = page.get_by_label("Show only rows with these words")
    box.press_sequentially("dirty")
    page.clock.run_for(1000)
    page.locator("tr.act").wait_for(state="detached")
    assert page.locator("tbody tr").count() == 1
    assert box.evaluate("box => box === document.activeElement")
    assert page.url.endswith("/fleet?words=dirty")


def test_it_can_be_used_by_keyboard_alone(window, address):
    page = window(1280, 800)
    page.goto(f"{address}/sign-in")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.get_by_label("Name").focus()
    page.keyboard.type("ansie")
    page.keyboard.press("Tab")
    page.keyboard.type(made.PASSWORD)
    page.keyboard.press("Enter")
    page.wait_for_url("**/fleet")
    page.get_by_role("link", name="The pump is running without water").focus()
    assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") == "solid"
    page.keyboard.press("Enter")
    page.wait_for_url(f"**{DRY_PAGE}")


def test_roles_and_headings_are_there_for_screen_readers(window, address):
    page = window(360, 740)
    sign_in(page, address, "ansie")
    assert page.get_by_role("columnheader").count() == 7
    assert page.get_by_role("rowheader").count() == 4
    page.goto(f"{address}/sites/doring-dam")
    assert page.get_by_role("img").first.get_attribute("aria-label").startswith("Bar: 17")
    assert page.get_by_role("heading", level=1).inner_text() == "Doring dam"


def test_dark_and_print_have_their_looks(window, address, tmp_path):
    page = window(360, 740, color_scheme="dark")
    sign_in(page, address, "ansie")
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(18, 25, 31)"
    page.goto(address + DRY_PAGE)
    page.emulate_media(media="print", color_scheme="light")
    assert not page.locator("footer").is_visible()
    page.screenshot(path=tmp_path / "print.png", full_page=True)
