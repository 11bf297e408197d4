"""How fast a survey of 400 lines is read, against the csv and openpyxl readers alone.

Run it with `python tests/benchmarks/survey_speed.py`. The ratios say what the checks cost.
"""

from __future__ import annotations

import csv
import tempfile
from pathlib import Path

import openpyxl
from quote_speed import large_survey, median_ms

from estimator import survey
from estimator.shop import open_shop


def bare_csv(path: Path) -> list[list[str]]:
    """Every cell, unchecked."""
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.reader(file))


def bare_xlsx(path: Path) -> list[tuple]:
    """Every cell of the first sheet, unchecked."""
    book = openpyxl.load_workbook(path, read_only=True)
    rows = list(book.worksheets[0].iter_rows(values_only=True))
    book.close()
    return rows


def main() -> None:
    """Print the table."""
    catalogue = open_shop().catalogue
    found = large_survey(400)
    with tempfile.TemporaryDirectory() as folder:
        for suffix, bare in ((".csv", bare_csv), (".xlsx", bare_xlsx)):
            path = Path(folder) / f"survey{suffix}"
            survey.write(found, path, catalogue)
            assert survey.read(path, catalogue).lines == found.lines, "fast and wrong is no use"
            ours = median_ms(lambda path=path: survey.read(path, catalogue))
            alone = median_ms(lambda path=path, bare=bare: bare(path))
            print(f"{suffix:<6} {ours:6.1f} ms, reader alone {alone:6.1f} ms: {ours / alone:.1f}")


if __name__ == "__main__":
    main()
