"""What keeps a table's rows as they were written: the database itself refuses to change them."""

from __future__ import annotations


def never_changed(table: str, dialect: str) -> tuple[str, ...]:
    """Statements after which rows of `table` can be added and neither changed nor deleted.

    Examples
    --------
    >>> len(never_changed("sales", "sqlite")), len(never_changed("sales", "postgresql"))
    (2, 2)
    """
    said = f"rows of {table} are never changed; add a counter-entry"
    if dialect == "sqlite":
        return tuple(
            f"CREATE TRIGGER {table}_no_{event.lower()} BEFORE {event} ON {table} "
            f"BEGIN SELECT RAISE(ABORT, '{said}'); END"
            for event in ("UPDATE", "DELETE"))
    return (
        f"CREATE FUNCTION {table}_kept() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN RAISE EXCEPTION '{said}'; END $$",
        f"CREATE TRIGGER {table}_no_change BEFORE UPDATE OR DELETE OR TRUNCATE ON {table} "
        f"FOR EACH STATEMENT EXECUTE FUNCTION {table}_kept()",
    )
