"""A fresh store for each test: on SQLite, and on PostgreSQL where its programs are on this machine."""

import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from analysis.store import Store, open_store

SITE = (Path(__file__).parent / "site.toml").read_text()


@pytest.fixture(scope="session")
def site_text() -> Callable[..., str]:
    """Makes a site file that holds, for any id: nothing in the store's tests depends on its figures."""

    def made(site: str, static_level_m: float = 38.0) -> str:
        return SITE.replace('"north"', f'"{site}"').replace("38.0", str(static_level_m))

    return made


@pytest.fixture(scope="session")
def postgres() -> Iterator[str | None]:
    """The URL of a server of its own on a Unix socket, as an ordinary user; None where it cannot be had."""
    binary = shutil.which("pg_ctl") or next(map(str, Path("/usr/lib/postgresql").glob("*/bin/pg_ctl")), None)
    try:
        import psycopg  # noqa: F401
    except ModuleNotFoundError:
        binary = None
    if binary is None or sys.platform == "win32":
        yield None
        return
    # Not below pytest's own folder, which nobody else may enter.
    home = Path(tempfile.mkdtemp(prefix="wellhand-postgres-"))
    runner = []
    if os.geteuid() == 0:  # the server refuses root
        runner = ["setpriv", "--reuid=nobody", "--regid=nogroup", "--clear-groups"]
        shutil.chown(home, "nobody", "nogroup")
    initdb = str(Path(binary).resolve().parent / "initdb")
    subprocess.run(
        [*runner, initdb, "-D", f"{home}/data", "-U", "wellhand", "-A", "trust"],
        check=True,
        capture_output=True,
        cwd="/",
    )
    control = [*runner, binary, "-D", f"{home}/data", "-w", "-l", f"{home}/log"]
    subprocess.run(
        [*control, "-o", f"-k {home} -c listen_addresses='' -c fsync=off", "start"],
        check=True,
        capture_output=True,
        cwd="/",
    )
    yield f"postgresql://wellhand@/postgres?host={home}"
    subprocess.run([*control, "-m", "immediate", "stop"], check=True, capture_output=True, cwd="/")
    shutil.rmtree(home)


@pytest.fixture(params=["sqlite", "postgresql"])
def url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Where a store that does not exist yet may be made."""
    if request.param == "sqlite":
        return f"sqlite:///{tmp_path}/wellhand.db"
    server = request.getfixturevalue("postgres")
    if server is None:
        pytest.skip("PostgreSQL's programs or psycopg are not on this machine")
    import psycopg

    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute("drop schema public cascade")
        connection.execute("create schema public")
    return server


@pytest.fixture
def store(url: str, site_text: Callable[..., str]) -> Iterator[Store]:
    """An empty store with two sites, `north` and `south`."""
    opened = open_store(url)
    opened.put_site(site_text("north"))
    opened.put_site(site_text("south"))
    yield opened
    opened.close()
