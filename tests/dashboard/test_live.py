"""Changes reach those who listen, and only those who may see them."""

import asyncio
import json
from concurrent.futures import ThreadPoolExecutor

import pytest

from dashboard.hub import LISTENERS_MAX, Hub
from dashboard.routes.live import events
from tests.dashboard import scene as made


async def told(stream):
    """The sites of the next change."""
    async for line in stream:
        if line.startswith("event: change"):
            return json.loads(line.split("data: ")[1])["sites"]
    return None


def in_its_own_loop(playing):
    """Run to its end in a thread of its own: a browser's test in the same process keeps a loop running in this one."""
    with ThreadPoolExecutor(1) as one:
        return one.submit(asyncio.run, playing).result()


def listening(farm, name, change):
    """Sites that this person is told of when `change` happens."""

    async def play():
        hub = Hub(farm.store, 0.01)
        async with hub.running():
            stream = events(hub, hub.listen(), farm.store.user(name))
            assert (await anext(stream)).startswith("retry:")
            await asyncio.sleep(0.1)  # so that the hub has taken its first token
            change()
            return await asyncio.wait_for(told(stream), 5)

    return in_its_own_loop(play())


def test_a_change_is_told(farm):
    assert listening(farm, "ansie", lambda: farm.put("witpad", now=made.now_of("witpad"))) == ["witpad"]


def test_a_farmer_is_told_of_own_sites_only(farm):
    def both():
        farm.put("lang-vlei", now=made.now_of("lang-vlei"))
        farm.put("klip-fontein", now=made.now_of("klip-fontein"))

    assert listening(farm, "boer", both) == ["klip-fontein"]


def test_all_streams_end_when_the_server_goes_down(farm):
    async def play():
        hub = Hub(farm.store, 0.01)
        async with hub.running():
            stream = events(hub, hub.listen(), farm.store.user("ansie"))
            await anext(stream)
            hub.close_soon()
            async with asyncio.timeout(5):
                lines = [line async for line in stream]
            assert hub.listen() is None
            return lines

    assert all("change" not in line for line in in_its_own_loop(play()))


def test_a_store_that_is_away_for_a_while_ends_nothing(farm, monkeypatch, caplog):
    ask, failures = farm.store.changes_after, []

    def shaky(token):
        if token is not None and len(failures) < 3:
            failures.append(token)
            raise OSError("away")
        return ask(token)

    monkeypatch.setattr(farm.store, "changes_after", shaky)
    assert listening(farm, "ansie", lambda: farm.put("witpad", now=made.now_of("witpad"))) == ["witpad"]
    assert len(failures) == 3
    assert caplog.text.count("the store does not say what changed") == 1


def test_too_many_are_sent_to_poll(app, service):
    app.state.hub._listeners = {object() for _ in range(LISTENERS_MAX)}
    answer = service.get("/api/live")
    assert answer.status_code == 503
    assert "ask again now and then" in answer.json()["error"]["fix"]
    app.state.hub._listeners = set()


def test_nobody_listens_without_signing_in(visitor):
    assert visitor.get("/api/live").status_code == 401


@pytest.mark.parametrize("page", ["/fleet", "/sites/klip-fontein"])
def test_pages_name_the_part_that_renews_itself(service, page):
    html = service.get(page).text
    fragment = html.split('data-fragment="')[1].split('"')[0]
    inside = service.get(fragment)
    assert inside.status_code == 200
    assert inside.text.strip()[:40] in html
