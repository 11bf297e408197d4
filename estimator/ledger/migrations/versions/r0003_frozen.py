"""Version 3: all that a quote sent was computed from, so that it can be computed again."""

import sqlalchemy as sa
from alembic import op

from estimator.ledger.migrations.guards import never_changed

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """Make the tables of frozen quotes and of the shop's tables as they were."""
    op.create_table(
        "shop_tables",
        sa.Column("hash", sa.String(64), primary_key=True),
        sa.Column("content", sa.LargeBinary, nullable=False),
    )
    op.create_table(
        "frozen",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("number", sa.String(40), sa.ForeignKey("sent.number"), nullable=False),
        sa.Column("kept", sa.String(32), nullable=False),
        sa.Column("version", sa.String(40), nullable=False),
        sa.Column("survey", sa.JSON, nullable=False),
        sa.Column("choices", sa.JSON, nullable=False),
        sa.Column("settings", sa.JSON, nullable=False),
        sa.Column("tables", sa.String(64), sa.ForeignKey("shop_tables.hash"), nullable=False),
        sa.Column("answer", sa.JSON, nullable=False),
        sa.Column("revision_of", sa.String(40), sa.ForeignKey("sent.number")),
    )
    op.create_index("ix_frozen_number", "frozen", ["number"])
    for table in ("shop_tables", "frozen"):
        for line in never_changed(table, op.get_bind().dialect.name):
            op.execute(line)
