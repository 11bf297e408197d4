"""Version 2: quotes sent and what came of them."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Make the table of quotes sent."""
    op.create_table(
        "sent",
        sa.Column("number", sa.String(40), primary_key=True),
        sa.Column("title", sa.String, nullable=False),
        sa.Column("level", sa.String(40), nullable=False),
        sa.Column("sent", sa.String(10), nullable=False),
        sa.Column("price", sa.String(40), nullable=False),
        sa.Column("cost_mean", sa.Float, nullable=False),
        sa.Column("currency", sa.String(3), nullable=False),
        sa.Column("outcome", sa.String(4), nullable=False),
    )
    op.create_index("ix_sent_sent", "sent", ["sent"])
