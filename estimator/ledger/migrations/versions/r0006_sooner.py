"""Version 6: sums of hours, bookings of a day, and pieces that came back are found by an index."""

from alembic import op

revision = "0006"
down_revision = "0005"


def upgrade() -> None:
    """Make the indexes; the one of hours by job is within the one of their sums."""
    op.drop_index("ix_time_entries_job", "time_entries")
    op.create_index("ix_time_entries_sums", "time_entries",
                    ["job", "item", "person", "unbilled", "hours", "day", "reverses"])
    op.create_index("ix_time_entries_day", "time_entries", ["day"])
    op.create_index("ix_outwork_of", "outwork", ["of"])
