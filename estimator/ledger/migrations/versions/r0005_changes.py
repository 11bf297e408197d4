"""Version 5: revisions of jobs, their answers, items they drop, and items that are done."""

import sqlalchemy as sa
from alembic import op

from estimator.ledger.migrations.guards import never_changed

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    """Make the tables of done marks, revisions, answers and dropped items."""
    op.create_table(
        "done_marks",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("booked", sa.String(32), nullable=False),
        sa.Column("day", sa.String(10), nullable=False),
        sa.Column("job", sa.String(40), sa.ForeignKey("jobs.number")),
        sa.Column("note", sa.String, nullable=False),
        sa.Column("reverses", sa.Integer, sa.ForeignKey("done_marks.id"), unique=True),
        sa.Column("replaces", sa.Integer, sa.ForeignKey("done_marks.id"), unique=True),
        sa.Column("why", sa.String, nullable=False),
        sa.Column("item", sa.Integer, nullable=False),
        sa.ForeignKeyConstraint(["job", "item"], ["items.job", "items.item"]),
        sa.CheckConstraint("job IS NOT NULL", "ck_done_marks_of_job"),
    )
    op.create_index("ix_done_marks_job", "done_marks", ["job"])
    op.create_table(
        "revisions",
        sa.Column("number", sa.String(40), sa.ForeignKey("sent.number"), primary_key=True),
        sa.Column("job", sa.String(40), sa.ForeignKey("jobs.number"), nullable=False),
        sa.Column("of", sa.String(40), sa.ForeignKey("sent.number"), nullable=False),
        sa.Column("offered", sa.String(10), nullable=False),
        sa.Column("ready", sa.String(10)),
        sa.Column("changes", sa.JSON, nullable=False),
        sa.CheckConstraint('"of" <> number', "ck_revisions_of_another"),
    )
    op.create_index("ix_revisions_job", "revisions", ["job"])
    op.create_table(
        "answers",
        sa.Column("number", sa.String(40), sa.ForeignKey("revisions.number"), primary_key=True),
        sa.Column("answer", sa.String(7), nullable=False),
        sa.Column("answered", sa.String(10), nullable=False),
        sa.Column("kept", sa.String(32), nullable=False),
        sa.Column("note", sa.String, nullable=False),
        sa.CheckConstraint("answer IN ('agreed', 'refused')", "ck_answers_answer"),
    )
    op.create_table(
        "dropped_items",
        sa.Column("job", sa.String(40), primary_key=True),
        sa.Column("item", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("revision", sa.String(40), sa.ForeignKey("revisions.number"), nullable=False),
        sa.ForeignKeyConstraint(["job", "item"], ["items.job", "items.item"]),
    )
    for table in ("done_marks", "revisions", "answers", "dropped_items"):
        for line in never_changed(table, op.get_bind().dialect.name):
            op.execute(line)
