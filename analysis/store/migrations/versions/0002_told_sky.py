"""What neighbours with a sensor of the sun tell a site of the sky."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:

    op.create_table(
        "told_sky",
        sa.Column("site_no", BIG, nullable=False),
        sa.Column("from_no", BIG, nullable=False),
        sa.Column("hour_ms", BIG, autoincrement=False, nullable=False),
        sa.Column("share", sa.Double(), nullable=False),
        sa.ForeignKeyConstraint(["site_no"], ["site.no"], ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["from_no"], ["site.no"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("site_no", "from_no", "hour_ms"),
    )


def downgrade() -> None:

    op.drop_table("told_sky")
