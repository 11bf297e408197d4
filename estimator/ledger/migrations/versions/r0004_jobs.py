"""Version 4: jobs, their work items, and what is booked to them."""

import sqlalchemy as sa
from alembic import op

from estimator.ledger.migrations.guards import never_changed

revision = "0004"
down_revision = "0003"

ENTRIES = ("time_entries", "purchases", "outwork", "sales")


def upgrade() -> None:
    """Make the tables of jobs and items, of the four kinds of entries, and of running clocks."""
    op.create_table(
        "jobs",
        sa.Column("number", sa.String(40), sa.ForeignKey("sent.number"), primary_key=True),
        sa.Column("name", sa.String, nullable=False),
        sa.Column("accepted", sa.String(10), nullable=False),
        sa.Column("promised", sa.String(10)),
        sa.Column("state", sa.String(20), nullable=False),
        sa.Column("closed", sa.String(10)),
    )
    op.create_table(
        "items",
        sa.Column("job", sa.String(40), sa.ForeignKey("jobs.number"), primary_key=True),
        sa.Column("item", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("quote", sa.String(40), sa.ForeignKey("sent.number"), nullable=False),
        sa.Column("line", sa.Integer, nullable=False),
        sa.Column("title", sa.String, nullable=False),
        sa.Column("assembly", sa.String(60), nullable=False),
        sa.Column("operation", sa.String(60), nullable=False),
        sa.Column("name", sa.String, nullable=False),
        sa.Column("kind", sa.String(20), nullable=False),
        sa.Column("skill", sa.String(20), nullable=False),
        *(sa.Column(name, sa.Float, nullable=False)
          for name in ("low", "typical", "high", "setup", "expected")),
    )
    op.create_table(
        "time_entries", *_entry("time_entries"),
        sa.Column("person", sa.String(80), nullable=False),
        sa.Column("hours", sa.Float, nullable=False),
        sa.Column("item", sa.Integer),
        sa.Column("unbilled", sa.String(60)),
        sa.Column("started", sa.String(32)),
        sa.Column("stopped", sa.String(32)),
        sa.ForeignKeyConstraint(["job", "item"], ["items.job", "items.item"]),
        sa.CheckConstraint("(item IS NULL) <> (unbilled IS NULL)", "ck_time_entries_one_place"),
        sa.CheckConstraint("item IS NULL OR job IS NOT NULL", "ck_time_entries_item_of_job"),
        sa.CheckConstraint("hours BETWEEN -24 AND 24 AND hours <> 0", "ck_time_entries_a_day"),
        sa.CheckConstraint("(hours < 0) = (reverses IS NOT NULL)", "ck_time_entries_sign"),
    )
    op.create_index("ix_time_entries_person_day", "time_entries", ["person", "day"])
    op.create_table(
        "purchases", *_entry("purchases"),
        sa.Column("supplier", sa.String, nullable=False),
        sa.Column("what", sa.String, nullable=False),
        sa.Column("part", sa.String(60)),
        sa.Column("quantity", sa.Float, nullable=False),
        sa.Column("unit", sa.String(40), nullable=False),
        sa.Column("amount", sa.String(40), nullable=False),
        sa.Column("currency", sa.String(3), nullable=False),
    )
    op.create_table(
        "outwork", *_entry("outwork"),
        sa.Column("service", sa.String, nullable=False),
        sa.Column("what", sa.String, nullable=False),
        sa.Column("event", sa.String(4), nullable=False),
        sa.Column("quantity", sa.Float, nullable=False),
        sa.Column("unit", sa.String(40), nullable=False),
        sa.Column("of", sa.Integer, sa.ForeignKey("outwork.id")),
        sa.Column("amount", sa.String(40), nullable=False),
        sa.Column("currency", sa.String(3), nullable=False),
        sa.CheckConstraint("event IN ('sent', 'back')", "ck_outwork_event"),
        sa.CheckConstraint("(event = 'back') = (of IS NOT NULL)", "ck_outwork_of"),
    )
    op.create_table(
        "sales", *_entry("sales"),
        sa.Column("what", sa.String, nullable=False),
        sa.Column("amount", sa.String(40), nullable=False),
        sa.Column("fees", sa.String(40), nullable=False),
        sa.Column("currency", sa.String(3), nullable=False),
    )
    for table in ENTRIES:
        op.create_index(f"ix_{table}_job", table, ["job"])
        for line in never_changed(table, op.get_bind().dialect.name):
            op.execute(line)
    op.create_table(
        "clocks",
        sa.Column("person", sa.String(80), primary_key=True),
        sa.Column("started", sa.String(32), nullable=False),
        sa.Column("job", sa.String(40), sa.ForeignKey("jobs.number")),
        sa.Column("item", sa.Integer),
        sa.Column("unbilled", sa.String(60)),
        sa.Column("note", sa.String, nullable=False),
        sa.ForeignKeyConstraint(["job", "item"], ["items.job", "items.item"]),
        sa.CheckConstraint("(item IS NULL) <> (unbilled IS NULL)", "ck_clocks_one_place"),
    )


def _entry(table: str) -> list:
    """Columns of every entry; an entry can be taken back once."""
    return [
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("booked", sa.String(32), nullable=False),
        sa.Column("day", sa.String(10), nullable=False),
        sa.Column("job", sa.String(40), sa.ForeignKey("jobs.number")),
        sa.Column("note", sa.String, nullable=False),
        sa.Column("reverses", sa.Integer, sa.ForeignKey(f"{table}.id"), unique=True),
        sa.Column("replaces", sa.Integer, sa.ForeignKey(f"{table}.id"), unique=True),
        sa.Column("why", sa.String, nullable=False),
    ]
