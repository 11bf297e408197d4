"""Version 1: drafts of the page."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the table of drafts."""
    op.create_table(
        "drafts",
        sa.Column("key", sa.String(40), primary_key=True),
        sa.Column("title", sa.String, nullable=False),
        sa.Column("content", sa.JSON, nullable=False),
        sa.Column("revision", sa.Integer, nullable=False),
        sa.Column("saved", sa.String(32), nullable=False),
    )
    op.create_index("ix_drafts_saved", "drafts", ["saved"])
