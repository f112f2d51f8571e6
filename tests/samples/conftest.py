"""Short seasons that several tests look at."""

from datetime import UTC, datetime

import pytest

from logger.record.site_facts import SiteFacts
from logger.record.site_file import load_site
from samples.scenario import SITES
from samples.season import Season, live_season

START, END = datetime(2025, 9, 1, tzinfo=UTC), datetime(2025, 9, 5, tzinfo=UTC)


def site(name: str) -> SiteFacts:
    """The facts of a sample site."""
    return load_site(SITES / f"{name}.toml")


@pytest.fixture(scope="session")
def helical() -> Season:
    """Four healthy days of a helical rotor."""
    return live_season(site("ochre-pan"), [], START, END, seed=5)


@pytest.fixture(scope="session")
def centrifugal() -> Season:
    """Four healthy days of a centrifugal pump with an induction motor."""
    return live_season(site("kestrel-ridge"), [], START, END, seed=6)


@pytest.fixture(scope="session", params=["helical", "centrifugal"])
def healthy(request: pytest.FixtureRequest) -> Season:
    """Each of the two."""
    return request.getfixturevalue(request.param)
