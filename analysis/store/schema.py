"""The tables. Migrations (migrations/versions) bring a database to this shape; a test compares the two.

Flow: every module of this package takes its tables from HERE.
Times are milliseconds since 1970 UTC. A site is known inside by `no`, outside by its id.
Never: queries.
"""

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    Double,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    SmallInteger,
    String,
    Table,
    Text,
)
from sqlalchemy.types import TypeEngine

from logger.record.channels import CHANNELS

metadata = MetaData()
BIG: TypeEngine = BigInteger().with_variant(Integer, "sqlite")
"""SQLite numbers rows by itself only in a column typed INTEGER; its integers are 64 bits wide anyway."""

CLOCK_NUMBERS = {"unsure": 0, "repaired": 1, "good": 2}


def _number() -> Column:
    return Column("no", BIG, primary_key=True, autoincrement=True)


def _site(**rest) -> Column:
    return Column("site_no", BIG, ForeignKey("site.no", ondelete="CASCADE"), nullable=False, **rest)


def _time(name: str, nullable: bool = False) -> Column:
    return Column(name, BIG, nullable=nullable)


def _values() -> list[Column]:
    """A column a channel; lows and highs within an interval are rare and share one JSON column."""
    return [*(Column(name, Double) for name in CHANNELS), Column("extremes", Text)]


site = Table(
    "site",
    metadata,
    _number(),
    Column("id", String(48), nullable=False, unique=True),
    Column("name", Text, nullable=False),
    Column("facts_text", Text, nullable=False),
    Column("digest", Text, nullable=False),
    _time("added_ms"),
    _time("facts_ms"),
)

boot = Table(
    "boot",
    metadata,
    _number(),
    _site(),
    Column("name", String(64), nullable=False),
    Index("boot_of_site", "site_no", "name", unique=True),
)

seen = Table(  # sequences that came, as ranges without a hole; void: as tombstones, without values
    "seen",
    metadata,
    Column("boot_no", BIG, ForeignKey("boot.no", ondelete="CASCADE"), primary_key=True),
    Column("void", Boolean, primary_key=True),
    Column("first_seq", BIG, primary_key=True),
    Column("last_seq", BIG, nullable=False),
)

reading = Table(
    "reading",
    metadata,
    _site(primary_key=True),
    Column("time_ms", BIG, primary_key=True, autoincrement=False),
    Column("boot_no", BIG),
    Column("seq", BIG),
    Column("clock", SmallInteger, nullable=False),
    *_values(),
    sqlite_with_rowid=False,  # the rows lie in the order (site, time), without a second tree
)

reading_unsure = Table(  # made before the board knew the time; kept aside until the board has repaired it
    "reading_unsure",
    metadata,
    Column("boot_no", BIG, ForeignKey("boot.no", ondelete="CASCADE"), primary_key=True),
    Column("seq", BIG, primary_key=True),
    _site(),
    _time("time_ms"),
    *_values(),
)

archive = Table(  # months of readings that lie as files; see archive.py
    "archive",
    metadata,
    _site(primary_key=True),
    Column("month", String(7), primary_key=True),
    Column("file", Text, nullable=False),
    Column("rows", BIG, nullable=False),
    _time("first_ms"),
    _time("last_ms"),
)

change = Table(  # rows that came and are not judged yet, from this time on
    "change",
    metadata,
    _number(),
    _site(),
    _time("from_ms"),
    Index("change_of_site", "site_no"),
)

told_sky = Table(  # by hour, the share of a clear sky's light that a neighbour's sensor told this site of
    "told_sky",
    metadata,
    _site(primary_key=True),
    Column("from_no", BIG, ForeignKey("site.no", ondelete="CASCADE"), primary_key=True),
    Column("hour_ms", BIG, primary_key=True, autoincrement=False),
    Column("share", Double, nullable=False),
)

state = Table(
    "state",
    metadata,
    _site(primary_key=True),
    Column("until_ms", BIG, primary_key=True, autoincrement=False),
    Column("kind", String(12), primary_key=True),
    Column("digest", Text, nullable=False),
    Column("blob", LargeBinary, nullable=False),
)

finding = Table(
    "finding",
    metadata,
    _site(primary_key=True),
    Column("id", String(96), primary_key=True),
    Column("revision", Integer, nullable=False),
    Column("cause", String(32), nullable=False),
    _time("flagged_ms"),
    _time("began_ms"),
    _time("ended_ms", nullable=True),
    Column("withdrawn", Boolean, nullable=False),
    Column("doc", Text, nullable=False),
    Index("finding_by_flagged", "site_no", "flagged_ms"),
)

now = Table("now", metadata, _site(primary_key=True), _time("time_ms"), Column("doc", Text, nullable=False))

day = Table(
    "day",
    metadata,
    _site(primary_key=True),
    Column("date", String(10), primary_key=True),
    Column("doc", Text, nullable=False),
)

tally = Table(  # what was refused, dropped or mended on the way in; `site` as the topic said, known or not
    "tally",
    metadata,
    Column("site", String(48), primary_key=True),
    Column("what", String(24), primary_key=True),
    Column("detail", String(64), primary_key=True),
    Column("count", BIG, nullable=False),
    _time("last_ms"),
    Column("example", Text),
)

presence = Table("presence", metadata, _site(primary_key=True), _time("heard_ms"), Column("doc", Text, nullable=False))

health = Table("health", metadata, _site(primary_key=True), _time("heard_ms"), Column("doc", Text, nullable=False))

urgent = Table(  # what a board itself judged
    "urgent",
    metadata,
    _site(primary_key=True),
    Column("cause", String(32), primary_key=True),
    Column("time_ms", BIG, primary_key=True, autoincrement=False),
    _time("heard_ms"),
    Column("doc", Text, nullable=False),
)

outbox = Table(  # what is to be told: kind `findings` to the broker, `notice` to people
    "outbox",
    metadata,
    _number(),
    Column("kind", String(12), nullable=False),
    _site(),
    Column("finding_id", String(96)),
    Column("doc", Text, nullable=False),
    _time("made_ms"),
    _time("sent_ms", nullable=True),
    Column("tries", Integer, nullable=False, default=0),
    Column("trouble", Text),
    Index("outbox_unsent", "kind", "sent_ms"),
)

person = Table(
    "person",
    metadata,
    Column("name", String(64), primary_key=True),
    Column("password_hash", Text, nullable=False),
    Column("role", String(16), nullable=False),
    Column("sites", Text),  # JSON list of ids; null = every site
    _time("added_ms"),
)

act = Table(  # what people did about a finding, and visits
    "act",
    metadata,
    _number(),
    _site(),
    Column("finding_id", String(96)),
    Column("kind", String(24), nullable=False),
    Column("by", String(64), nullable=False),
    _time("at_ms"),
    _time("until_ms", nullable=True),
    Column("doc", Text, nullable=False),
    Index("act_of_finding", "site_no", "finding_id"),
)

pulse = Table(  # grows with each change that a page may show; row 0 is the whole, the others are sites
    "pulse",
    metadata,
    Column("site_no", BIG, primary_key=True, autoincrement=False),
    Column("count", BIG, nullable=False),
    Index("pulse_by_count", "count"),
)
