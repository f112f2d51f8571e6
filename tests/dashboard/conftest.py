"""The farm of scene.py behind a client, signed in or not."""

import pytest
from fastapi.testclient import TestClient

from dashboard.app import create_app
from dashboard.settings import Settings
from tests.dashboard import scene as made


@pytest.fixture
def clock():
    """A list of one: the milliseconds that the pages think it is."""
    return [made.NOW_MS]


@pytest.fixture
def farm(tmp_path):
    """The store of scene.py and how to change it."""
    scene = made.make(tmp_path)
    yield scene
    scene.store.close()


@pytest.fixture
def app(farm, clock):
    """The application over the farm."""
    settings = Settings(
        secret="not secret at all, for tests only, 40 of them",
        service_name="Veld pumps",
        service_phone="+00 000 0000",
        live_poll_s=0.02,
        now_ms=lambda: clock[0],
        wall_ms=lambda: clock[0],
    )
    return create_app(farm.store, settings)


@pytest.fixture
def visitor(app):
    """A browser of somebody who is not signed in; redirects are not followed."""
    with TestClient(app, follow_redirects=False, raise_server_exceptions=False) as client:
        yield client


@pytest.fixture
def signed_in(visitor):
    """A function: sign this person in."""

    def sign_in(name):
        answer = visitor.post("/sign-in", data={"name": name, "password": made.PASSWORD})
        assert answer.status_code == 303, answer.text
        return visitor

    return sign_in


@pytest.fixture
def service(signed_in):
    """Signed in as one who sees every site."""
    return signed_in("ansie")


@pytest.fixture
def farmer(signed_in):
    """Signed in as one who sees klip-fontein only."""
    return signed_in("boer")
