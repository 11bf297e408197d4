"""Version 7: frozen rows carry a hash of themselves, so that damage to one is found."""

import contextlib

import sqlalchemy as sa
from alembic import op

from estimator.ledger.migrations.guards import never_changed
from estimator.ledger.sealing import hash_of

revision = "0007"
down_revision = "0006"

_AT_ONCE = 500
_TABLES = {
    "frozen": ("id", ("number", "kept", "version", "survey", "choices", "settings", "tables",
                      "answer", "revision_of")),
    "revisions": ("number", ("number", "job", "of", "offered", "ready", "changes")),
}
"""The key of each table, and the columns that its hashes are of."""


def upgrade() -> None:
    """Make the columns of hashes, and fill them from what the rows hold today."""
    for table, (key, columns) in _TABLES.items():
        # SQLite adds no column that may not be null without a default.
        op.add_column(table, sa.Column("hash", sa.String(64), nullable=False, server_default=""))
        with _unguarded(table):
            _fill(table, key, columns)


def _fill(table: str, key: str, columns: tuple[str, ...]) -> None:
    """So many rows at a time, by their key: the quotes of years do not fit into the memory."""
    connection = op.get_bind()
    form = "CAST({} AS BLOB)" if connection.dialect.name == "sqlite" else \
        "convert_to(CAST({} AS text), 'UTF8')"
    cells = ", ".join(form.format(f'"{name}"') for name in columns)
    keys = connection.execute(sa.text(f"SELECT {key} FROM {table} ORDER BY {key}")).scalars().all()
    for start in range(0, len(keys), _AT_ONCE):
        some = keys[start:start + _AT_ONCE]
        rows = connection.execute(
            sa.text(f"SELECT {key}, {cells} FROM {table} WHERE {key} BETWEEN :first AND :last"),
            {"first": some[0], "last": some[-1]})
        connection.execute(sa.text(f"UPDATE {table} SET hash = :made WHERE {key} = :one"),
                           [{"one": one, "made": hash_of(row)} for one, *row in rows])


@contextlib.contextmanager
def _unguarded(table: str):
    """Rows that are never changed get a column in here."""
    if op.get_bind().dialect.name == "sqlite":
        op.execute(f"DROP TRIGGER {table}_no_update")
        yield
        op.execute(never_changed(table, "sqlite")[0])
    else:
        op.execute(f"ALTER TABLE {table} DISABLE TRIGGER USER")
        yield
        op.execute(f"ALTER TABLE {table} ENABLE TRIGGER USER")
