"""The first tables: sites, readings, what the engine found, boards, people."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
CHANNELS = (  # as they were then; a later channel is a later migration
    "pv_voltage_v",
    "pv_current_a",
    "motor_current_a",
    "motor_speed_rpm",
    "flow_m3_h",
    "volume_m3",
    "discharge_pressure_bar",
    "water_level_m",
    "irradiance_w_m2",
    "module_temp_c",
    "ambient_temp_c",
    "controller_temp_c",
    "low_level_probe_wet",
    "tank_float_up",
    "motor_running",
    "fault_code",
    "input_power_w",
    "motor_voltage_v",
    "drive_frequency_hz",
    "speed_setting_pct",
    "switched_on",
    "tank_level_m",
)


def _values() -> list[sa.Column]:
    return [*(sa.Column(name, sa.Double()) for name in CHANNELS), sa.Column("extremes", sa.Text())]


def upgrade() -> None:

    op.create_table(
        "person",
        sa.Column("name", sa.String(length=64), nullable=False),
        sa.Column("password_hash", sa.Text(), nullable=False),
        sa.Column("role", sa.String(length=16), nullable=False),
        sa.Column("sites", sa.Text(), nullable=True),
        sa.Column("added_ms", BIG, nullable=False),
        sa.PrimaryKeyConstraint("name"),
    )
    op.create_table(
        "pulse",
        sa.Column("site_no", BIG, autoincrement=False, nullable=False),
        sa.Column("count", BIG, nullable=False),
        sa.PrimaryKeyConstraint("site_no"),
    )
    op.create_index("pulse_by_count", "pulse", ["count"], unique=False)
    op.create_table(
        "site",
        sa.Column("no", BIG, autoincrement=True, nullable=False),
        sa.Column("id", sa.String(length=48), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("facts_text", sa.Text(), nullable=False),
        sa.Column("digest", sa.Text(), nullable=False),
        sa.Column("added_ms", BIG, nullable=False),
        sa.Column("facts_ms", BIG, nullable=False),
        sa.PrimaryKeyConstraint("no"),
        sa.UniqueConstraint("id"),
    )
    op.create_table(
        "tally",
        sa.Column("site", sa.String(length=48), nullable=False),
        sa.Column("what", sa.String(length=24), nullable=False),
        sa.Column("detail", sa.String(length=64), nullable=False),
        sa.Column("count", BIG, nullable=False),
        sa.Column("last_ms", BIG, nullable=False),
        sa.Column("example", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("site", "what", "detail"),
    )
    op.create_table(
        "act",
        sa.Column("no", BIG, autoincrement=True, nullable=False),
        sa.Column("site_no", BIG, nullable=False),
        sa.Column("finding_id", sa.String(length=96), nullable=True),
        sa.Column("kind", sa.String(length=24), nullable=False),
        sa.Column("by", sa.String(length=64), nullable=False),
        sa.Column("at_ms", BIG, nullable=False),
        sa.Column("until_ms", BIG, nullable=True),
        sa.Column("doc", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["site_no"], ["site.no"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("no"),
    )
    op.create_index("act_of_finding", "act", ["site_no", "finding_id"], unique=False)
    op.create_table(
        "archive",
        sa.Column("site_no", BIG, nullable=False),
        sa.Column("month", sa.String(length=7), nullable=False),
        sa.Column("file", sa.Text(), nullable=False),
        sa.Column("rows", BIG, nullable=False),
        sa.Column("first_ms", BIG, nullable=False),
        sa.Column("last_ms", BIG, nullable=False),
        sa.ForeignKeyConstraint(["site_no"], ["site.no"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("site_no", "month"),
    )
    op.create_table(
        "boot",
        sa.Column("no", BIG, autoincrement=True, nullable=False),
        sa.Column("site_no", BIG, nullable=False),
        sa.Column("name", sa.String(length=64), nullable=False),
        sa.ForeignKeyConstraint(["site_no"], ["site.no"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("no"),
    )
    op.create_index("boot_of_site", "boot", ["site_no", "name"], unique=True)
    op.create_table(
        "change",
        sa.Column("no", BIG, autoincrement=True, nullable=False),
        sa.Column("site_no", BIG, nullable=False),
        sa.Column("from_ms", BIG, nullable=False),
        sa.ForeignKeyConstraint(["site_no"], ["site.no"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("no"),
    )
    op.create_index("change_of_site", "change", ["site_no"], unique=False)
    op.create_table(
        "day",
        sa.Column("site_no", BIG, nullable=False),
        sa.Column("date", sa.String(length=10), nullable=False),
        sa.Column("doc", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["site_no"], ["site.no"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("site_no", "date"),
    )
    op.create_table(
        "finding",
        sa.Column("site_no", BIG, nullable=False),
        sa.Column("id", sa.String(length=96), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("cause", sa.String(length=32), nullable=False),
        sa.Column("flagged_ms", BIG, nullable=False),
        sa.Column("began_ms", BIG, nullable=False),
        sa.Column("ended_ms", BIG, nullable=True),
        sa.Column("withdrawn", sa.Boolean(), nullable=False),
        sa.Column("doc", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["site_no"], ["site.no"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("site_no", "id"),
    )
    op.create_index("finding_by_flagged", "finding", ["site_no", "flagged_ms"], unique=False)
    op.create_table(
        "health",
        sa.Column("site_no", BIG, nullable=False),
        sa.Column("heard_ms", BIG, nullable=False),
        sa.Column("doc", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["site_no"], ["site.no"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("site_no"),
    )
    op.create_table(
        "now",
        sa.Column("site_no", BIG, nullable=False),
        sa.Column("time_ms", BIG, nullable=False),
        sa.Column("doc", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["site_no"], ["site.no"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("site_no"),
    )
    op.create_table(
        "outbox",
        sa.Column("no", BIG, autoincrement=True, nullable=False),
        sa.Column("kind", sa.String(length=12), nullable=False),
        sa.Column("site_no", BIG, nullable=False),
        sa.Column("finding_id", sa.String(length=96), nullable=True),
        sa.Column("doc", sa.Text(), nullable=False),
        sa.Column("made_ms", BIG, nullable=False),
        sa.Column("sent_ms", BIG, nullable=True),
        sa.Column("tries", sa.Integer(), nullable=False),
        sa.Column("trouble", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["site_no"], ["site.no"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("no"),
    )
    op.create_index("outbox_unsent", "outbox", ["kind", "sent_ms"], unique=False)
    op.create_table(
        "presence",
        sa.Column("site_no", BIG, nullable=False),
        sa.Column("heard_ms", BIG, nullable=False),
        sa.Column("doc", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["site_no"], ["site.no"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("site_no"),
    )
    op.create_table(
        "reading",
        sa.Column("site_no", BIG, nullable=False),
        sa.Column("time_ms", BIG, autoincrement=False, nullable=False),
        sa.Column("boot_no", BIG, nullable=True),
        sa.Column("seq", BIG, nullable=True),
        sa.Column("clock", sa.SmallInteger(), nullable=False),
        *_values(),
        sa.ForeignKeyConstraint(["site_no"], ["site.no"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("site_no", "time_ms"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "state",
        sa.Column("site_no", BIG, nullable=False),
        sa.Column("until_ms", BIG, autoincrement=False, nullable=False),
        sa.Column("kind", sa.String(length=12), nullable=False),
        sa.Column("digest", sa.Text(), nullable=False),
        sa.Column("blob", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["site_no"], ["site.no"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("site_no", "until_ms", "kind"),
    )
    op.create_table(
        "urgent",
        sa.Column("site_no", BIG, nullable=False),
        sa.Column("cause", sa.String(length=32), nullable=False),
        sa.Column("time_ms", BIG, autoincrement=False, nullable=False),
        sa.Column("heard_ms", BIG, nullable=False),
        sa.Column("doc", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["site_no"], ["site.no"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("site_no", "cause", "time_ms"),
    )
    op.create_table(
        "reading_unsure",
        sa.Column("boot_no", BIG, nullable=False),
        sa.Column("seq", BIG, nullable=False),
        sa.Column("site_no", BIG, nullable=False),
        sa.Column("time_ms", BIG, nullable=False),
        *_values(),
        sa.ForeignKeyConstraint(["boot_no"], ["boot.no"], ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["site_no"], ["site.no"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("boot_no", "seq"),
    )
    op.create_table(
        "seen",
        sa.Column("boot_no", BIG, nullable=False),
        sa.Column("void", sa.Boolean(), nullable=False),
        sa.Column("first_seq", BIG, nullable=False),
        sa.Column("last_seq", BIG, nullable=False),
        sa.ForeignKeyConstraint(["boot_no"], ["boot.no"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("boot_no", "void", "first_seq"),
    )
