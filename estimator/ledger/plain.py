"""The rows of a whole ledger as plain CSV and JSON, whatever its version."""

from __future__ import annotations

import base64
import json
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from estimator import __version__
from estimator.outside import private_file, spreadsheet

ABOUT = "ledger.json"


@dataclass(frozen=True)
class Held:
    """One table as it was held: its columns, and its rows in their order."""

    name: str
    columns: tuple[str, ...]
    rows: list[list]


def pack(connection, file: Path) -> None:
    """Write every table as JSON into a zip archive for this user alone, whole or not at all."""
    part = file.with_name(file.name + ".part")
    with private_file(part) as out, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in files(connection):
            archive.writestr(name, text)
    part.replace(file)


def files(connection, spreadsheets: bool = False) -> Iterator[tuple[str, str]]:
    """Name and text of each file of an export; the last one is `ledger.json`."""
    counts = {}
    for held in held_in(connection):
        counts[held.name] = len(held.rows)
        yield f"{held.name}.json", _json({"schema": 1, "table": held.name,
                                          "columns": held.columns, "rows": held.rows})
        if spreadsheets:
            yield f"{held.name}.csv", _csv(held)
    yield ABOUT, _json({"schema": 1, "ledger": version_in(connection), "program": __version__,
                        "saved": datetime.now(UTC).isoformat(timespec="seconds"),
                        "rows": counts})


def version_in(connection) -> int:
    """Version of the ledger in a database, as it says itself; 0 if it says none."""
    from sqlalchemy import inspect

    if inspect(connection).has_table("alembic_version"):
        return int(connection.exec_driver_sql(
            "SELECT version_num FROM alembic_version").scalar_one())
    return connection.exec_driver_sql("PRAGMA user_version").scalar_one()


def reflected(connection):
    """Tables as the database has them, whatever its version; those others need come first."""
    from sqlalchemy import MetaData

    about = MetaData()
    about.reflect(connection)
    return [table for table in about.sorted_tables if table.name != "alembic_version"]


def held_in(connection) -> Iterator[Held]:
    """Every table, those that others point to first; bytes as base 64."""
    from sqlalchemy import LargeBinary, select

    for table in reflected(connection):
        packed = [isinstance(column.type, LargeBinary) for column in table.columns]
        rows = [
            [base64.b64encode(cell).decode() if is_bytes else cell
             for cell, is_bytes in zip(row, packed, strict=True)]
            for row in connection.execute(select(table).order_by(*table.primary_key))
        ]
        yield Held(table.name, tuple(table.columns.keys()), rows)


def _json(said) -> str:
    return json.dumps(said, ensure_ascii=False, indent=None, separators=(",", ":")) + "\n"


def _csv(held: Held) -> str:
    return spreadsheet(held.columns, ([_cell(cell) for cell in row] for row in held.rows))


def _cell(cell):
    return json.dumps(cell, ensure_ascii=False) if isinstance(cell, dict | list) else cell
