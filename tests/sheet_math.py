"""A spreadsheet small enough to trust: works out the formulas of a workbook from its values.

It knows references, ranges, names, + - * / =, SUM, SUMIF, SUMIFS, ROUND and IF, and refuses the
rest. Values that the workbook carries for its formulas are not looked at.
"""

import ast
import re
from decimal import ROUND_HALF_UP, Decimal

from openpyxl import Workbook
from openpyxl.utils import range_boundaries

_TOKEN = re.compile(
    r"""(?P<text>"[^"]*")
      | (?P<place>(?:(?:'[^']+'|\w+)!)?\$?[A-Z]{1,3}\$?\d+(?::\$?[A-Z]{1,3}\$?\d+)?)(?![\w(])
      | (?P<number>\d+(?:\.\d+)?)
      | (?P<call>[A-Z]+)\(
      | (?P<name>[a-z_]\w*)
      | (?P<sign>[-+*/=(),])""",
    re.VERBOSE,
)


def recomputed(book: Workbook) -> dict[tuple[str, str], float]:
    """Value of every formula cell, by (sheet, cell)."""
    sheet = _Sheets(book)
    return {
        (page.title, cell.coordinate): sheet.value(page.title, cell.coordinate)
        for page in book
        for row in page.iter_rows()
        for cell in row
        if cell.data_type == "f"
    }


class _Sheets:
    def __init__(self, book: Workbook):
        self.book = book
        self.known: dict[tuple[str, str], object] = {}

    def value(self, sheet: str, place: str):
        key = (sheet, place.replace("$", ""))
        if key not in self.known:
            cell = self.book[sheet][key[1]]
            said = cell.value
            self.known[key] = self.work_out(sheet, said[1:]) if cell.data_type == "f" else said
        return self.known[key]

    def work_out(self, sheet: str, formula: str):
        said, at = [], 0
        while at < len(formula):
            token = _TOKEN.match(formula, at)
            if not token:
                raise ValueError(f"{formula[at:]!r} of {formula!r} is not understood")
            said.append(self.translated(sheet, token))
            at = token.end()
        tree = _Choice().visit(ast.parse("".join(said), mode="eval"))
        code = compile(ast.fix_missing_locations(tree), formula, "eval")
        return eval(code, {"__builtins__": {}}, _CALLS | {"self": self})

    def translated(self, sheet: str, token: re.Match) -> str:
        word = token[0]
        if token["place"]:
            return f"self.at({sheet!r}, {word!r})"
        if token["name"]:
            (place,) = self.book.defined_names[word].destinations
            return f"self.value({place[0]!r}, {place[1]!r})"
        if token["call"]:
            return word
        return "==" if word == "=" else word

    def at(self, sheet: str, place: str):
        page, _, cells = place.rpartition("!")
        page, cells = page.strip("'") or sheet, cells.replace("$", "")
        if ":" not in cells:
            found = self.value(page, cells)
            return 0 if found is None else found
        left, top, right, bottom = range_boundaries(cells)
        return [
            self.value(page, self.book[page].cell(row, column).coordinate)
            for row in range(top, bottom + 1)
            for column in range(left, right + 1)
        ]


class _Choice(ast.NodeTransformer):
    """IF works out only the side that is taken."""

    def visit_Call(self, node: ast.Call):
        self.generic_visit(node)
        return ast.IfExp(*node.args) if getattr(node.func, "id", "") == "IF" else node


def _sum(*parts):
    flat = [v for part in parts for v in (part if isinstance(part, list) else [part])]
    return sum(v for v in flat if isinstance(v, int | float))


def _sumifs(values, *conditions):
    pairs = list(zip(conditions[::2], conditions[1::2], strict=True))
    return _sum([v for i, v in enumerate(values) if all(held[i] == want for held, want in pairs)])


def _round(value, digits):
    step = Decimal(1).scaleb(-digits)
    # Spreadsheets keep 15 digits.
    return float(Decimal(f"{value:.15g}").quantize(step, ROUND_HALF_UP))


_CALLS = {
    "SUM": _sum,
    "SUMIF": lambda held, want, values: _sumifs(values, held, want),
    "SUMIFS": _sumifs,
    "ROUND": _round,
}
