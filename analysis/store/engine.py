"""Opens the database: settings that keep what was promised, and the migrations.

Flow: open_store -> HERE -> SQLAlchemy.
SQLite: write-ahead log, so that pages read while readings come in, and `synchronous=FULL`, because `stored` lets a board
forget its readings: with NORMAL a power cut may undo the last commits. One writer at a time; a writer takes the
lock at its first statement, so that two never deadlock, and waits BUSY_MS for the other.
Never: a table's content.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from alembic import command
from alembic.config import Config
from sqlalchemy import Connection, Engine, create_engine, event, make_url
from sqlalchemy.exc import ArgumentError, NoSuchModuleError, OperationalError

BUSY_MS = 30_000


class StoreError(Exception):
    """The store cannot be opened or used as asked; the text says what is wrong and what mends it."""


def connect(url: str) -> Engine:
    """An engine for `url`, with the tables brought up to date. StoreError: no such database, or not ours."""
    try:
        parsed = make_url(url)
        if parsed.drivername == "postgresql":
            parsed = parsed.set(drivername="postgresql+psycopg")
        engine = create_engine(parsed)
    except (ArgumentError, NoSuchModuleError, ModuleNotFoundError) as error:
        raise StoreError(_wrong_url(url, error)) from error
    if engine.dialect.name == "sqlite":
        _tell_sqlite(engine, url)
    elif engine.dialect.name != "postgresql":
        raise StoreError(_wrong_url(url, engine.dialect.name))
    try:
        with writing(engine) as connection:
            _upgrade(connection)
    except OperationalError as error:
        raise StoreError(f"{url}: cannot be opened: {error.orig}\n    fix: does it exist, may we write it?") from error
    return engine


def _wrong_url(url: str, why: object) -> str:
    return (
        f"{url}: no store can be opened there: {why}\n"
        "    fix: sqlite:////var/lib/wellhand/wellhand.db, or postgresql://user@host/name with psycopg installed"
    )


def _tell_sqlite(engine: Engine, url: str) -> None:
    file = engine.url.database
    if not file or file == ":memory:":
        raise StoreError(f"{url}: a store in memory cannot be shared\n    fix: name a file, sqlite:///wellhand.db")
    if not Path(file).absolute().parent.is_dir():
        raise StoreError(f"{url}: the folder {Path(file).absolute().parent} does not exist\n    fix: make it first")

    @event.listens_for(engine, "connect")
    def _connected(raw, _record) -> None:
        raw.isolation_level = None  # we say BEGIN ourselves, below
        for setting in ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON", f"busy_timeout={BUSY_MS}"):
            raw.execute(f"PRAGMA {setting}")

    @event.listens_for(engine, "begin")
    def _begun(connection: Connection) -> None:
        immediate = connection.get_execution_options().get("writes", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if immediate else "BEGIN")


@contextmanager
def writing(engine: Engine) -> Iterator[Connection]:
    """One transaction that writes: all of it is kept, or, where an error leaves the block, nothing."""
    with engine.connect().execution_options(writes=True) as connection, connection.begin():
        yield connection


@contextmanager
def reading(engine: Engine) -> Iterator[Connection]:
    """One look at one state of the database."""
    with engine.connect() as connection, connection.begin():
        yield connection


def _upgrade(connection: Connection) -> None:
    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations").replace("%", "%%"))
    config.attributes["connection"] = connection
    command.upgrade(config, "head")
