"""The farm of tests/dashboard/scene.py, served on a free port, and Chromium to look at it."""

import socket
import threading

import pytest
import uvicorn
from playwright.sync_api import sync_playwright

from dashboard.app import create_app
from dashboard.server import Server
from dashboard.settings import Settings
from tests.dashboard import scene as made

CHROMIUM = "/usr/bin/chromium"
QUIET = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-dev-shm-usage",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]
START_S = 30


@pytest.fixture
def farm(tmp_path):
    """The store of scene.py and how to change it."""
    scene = made.make(tmp_path)
    yield scene
    scene.store.close()


@pytest.fixture
def address(farm):
    """Where the pages are served."""
    settings = Settings(
        secret="not secret at all, for tests only, 40 of them",
        service_name="Veld pumps",
        service_phone="+00 000 0000",
        live_poll_s=0.05,
        now_ms=lambda: made.NOW_MS,
    )
    bound = socket.socket()
    bound.bind(("127.0.0.1", 0))
    app = create_app(farm.store, settings)
    server = Server(uvicorn.Config(app, log_level="warning", timeout_graceful_shutdown=3))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [bound]})
    thread.start()
    yield f"http://127.0.0.1:{bound.getsockname()[1]}"
    app.state.hub.close_soon()
    server.should_exit = True
    thread.join(START_S)
    bound.close()
    assert not thread.is_alive(), "open streams kept the server alive"


@pytest.fixture(scope="session")
def chromium():
    """One browser for all tests."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=QUIET)
        yield browser
        browser.close()


@pytest.fixture
def window(chromium):
    """A function: a fresh window of this size, whose clock stands at the scene's noon; its errors are collected."""
    contexts = []

    def open_window(width, height, **more):
        context = chromium.new_context(viewport={"width": width, "height": height}, locale="en-GB", **more)
        contexts.append(context)
        page = context.new_page()
        page.clock.install(time=made.NOW_MS / 1000)
        page.errors = []
        page.on("console", lambda said: page.errors.append(said.text) if said.type in ("error", "warning") else None)
        page.on("pageerror", lambda error: page.errors.append(str(error)))
        page.elsewhere = []
        page.on("request", lambda asked: page.elsewhere.append(asked.url) if "127.0.0.1" not in asked.url else None)
        page.set_default_timeout(15_000)
        return page

    yield open_window
    for context in contexts:
        context.close()
