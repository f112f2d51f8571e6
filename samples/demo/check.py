"""What must be so in a running demo, asked over HTTP as anybody could.

Flow: show.py has it running -> HERE -> the list of what was checked, each held or not.
"""

import json
import socket
import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import httpx

from samples.demo.stage import Person, Stage
from samples.demo.stop import Stop
from samples.scenario import SampleSite

WATER_S_MAX = 90.0
LIVE_FAULT_S_MAX = 180.0


@dataclass(frozen=True)
class Checked:
    """One statement, and whether it held; `seen` is what was there instead."""

    what: str
    held: bool
    seen: str = ""


def signed_in(stage: Stage, person: Person) -> httpx.Client:
    """A client with this person's session. AssertionError: the sign-in was refused."""
    client = httpx.Client(base_url=stage.page_url, headers={"Origin": stage.page_url}, timeout=30)
    answer = client.post("/sign-in", data={"name": person.name, "password": person.password})
    assert answer.status_code == 303, f"{person.name} could not sign in: {answer.status_code} {answer.text[:200]}"
    return client


def check(stage: Stage, sites: list[SampleSite], told: Callable[[Checked], None], stop: Stop) -> bool:
    """Go through all of it; whether everything held. Stopped: somebody asked."""
    all_held = True

    def note(what: str, held: bool, seen: Any = "") -> None:
        nonlocal all_held
        all_held &= held
        told(Checked(what, held, "" if held else str(seen)))

    with (
        closing(signed_in(stage, stage.person("service"))) as service,
        closing(signed_in(stage, stage.person("farmer"))) as farmer,
    ):
        _check_access(stage, farmer, note)
        for site in sites:
            _check_site(service, site, note)
        _check_water(service, sites, note, stop)
        _check_live_faults(stage, service, sites, note, stop)
    return all_held


def _check_access(stage: Stage, farmer: httpx.Client, note: Callable) -> None:
    seen = [one["id"] for one in farmer.get("/api/sites").json()]
    note("a farmer sees the own site and no other", seen == list(stage.person("farmer").sites), seen)
    page = farmer.get("/", follow_redirects=True)
    note("the farmer's page opens", page.status_code == 200 and stage.person("farmer").sites[0] in str(page.url), page)
    note("nobody looks in without signing in", httpx.get(f"{stage.page_url}/api/sites").status_code == 401)


def open_causes(client: httpx.Client, site: str) -> list[str]:
    """The causes of a site's open findings."""
    return [one["cause"] for one in client.get(f"/api/sites/{site}/findings", params={"open": True}).json()]


def _check_site(client: httpx.Client, site: SampleSite, note: Callable) -> None:
    causes = open_causes(client, site.id)
    if site.expected is None:
        note(f"{site.id}: healthy, nothing found", causes == [], causes)
    else:
        note(f"{site.id}: {site.expected} and nothing else", causes == [site.expected], causes)


def _waited(within_s: float, holds: Callable[[], bool], stop: Stop) -> bool:
    until = time.monotonic() + within_s
    while time.monotonic() < until:
        if holds():
            return True
        stop.rest(1.0)
    return False


def _check_water(client: httpx.Client, sites: list[SampleSite], note: Callable, stop: Stop) -> None:
    """Today's water rises, at a healthy site that pumps."""
    site = next(one for one in sites if one.live_fault and one.expected is None)
    first = client.get(f"/api/sites/{site.id}/now").json()
    now: dict[str, Any] = {}

    def risen() -> bool:
        now.update(client.get(f"/api/sites/{site.id}/now").json())
        return (now["water_today_m3"] or 0) > (first["water_today_m3"] or 0) + 0.005 and now["time"] > first["time"]

    note(f"{site.id}: the water of today rises", _waited(WATER_S_MAX, risen, stop), (first, now))


def _check_live_faults(stage: Stage, client: httpx.Client, sites: list[SampleSite], note: Callable, stop: Stop) -> None:
    """Every fault that can be switched on is seen, at its own site."""
    live = [site for site in sites if site.live_fault]
    for site in live:
        answer = switch_on(stage.plants / "control.sock", site.id, str(site.live_fault))
        note(f"{site.id}: {site.live_fault} switched on", bool(answer.get("ok")), answer)
    for site in live:
        cause = str(site.live_fault)
        seen: list[str] = []
        held = _waited(LIVE_FAULT_S_MAX, partial(_sees, client, site.id, cause, seen), stop)
        note(f"{site.id}: {cause} is seen live", held, seen)


def _sees(client: httpx.Client, site: str, cause: str, seen: list[str]) -> bool:
    """Is the cause open there? `seen` holds what is."""
    seen[:] = open_causes(client, site)
    return cause in seen


def switch_on(control: Path, site: str, fault: str) -> dict[str, Any]:
    """Switch a fault on at a simulated plant; its answer."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as line:
        line.settimeout(10)
        line.connect(str(control))
        line.sendall(json.dumps({"site": site, "fault": fault}).encode() + b"\n")
        with line.makefile() as answers:
            return json.loads(answers.readline())
