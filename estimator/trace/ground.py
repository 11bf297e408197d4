"""The leaves of every tree: cells of tables, settings, survey lines, choices, units."""

from __future__ import annotations

import functools
from collections.abc import Callable

from estimator.catalogue import Catalogue, Row
from estimator.quote import Quote
from estimator.trace.places import choice, definition, of_line, of_row, of_setting
from estimator.trace.steps import Step, Value, step

_UNITS = {
    "pay_per_hour": "{currency}/h",
    "paid_hours_per_year": "h",
    "overhead_per_year": "{currency}",
    "round_price_to": "{currency}",
    "validity_days": "d",
    "bench_hours_per_week": "h",
}


def kept(build: Callable[..., Step]) -> Callable[..., Step]:
    """Build a step once for each set of arguments, so that what comes up twice is one object."""

    @functools.wraps(build)
    def get(self, *args) -> Step:
        name = (build.__qualname__, *args)
        if name not in self.ground.done:
            self.ground.done[name] = build(self, *args)
        return self.ground.done[name]

    return get


class Ground:
    """What all trees of one quote stand on; every step is built once and then shared."""

    def __init__(self, offer: Quote, catalogue: Catalogue):
        self.offer, self.catalogue = offer, catalogue
        self.job, self.scope, self.settings = offer.job, offer.job.scope, offer.settings
        self.currency = offer.settings.currency
        self.done: dict[tuple, Step] = {}
        self.ground = self

    @kept
    def setting(self, name: str) -> Step:
        """A figure of `shop.toml`."""
        row = self.catalogue.rates.get(name)
        place = of_setting(name, self.offer, self.catalogue)
        return step(
            "row", f"setting.{name}", name.replace("_", " ").capitalize(),
            float(place.cells[name]), _UNITS.get(name, "").format(currency=self.currency),
            said=row.meaning if row else "", row=place,
        )

    def cell(self, key: str, name: str, row: Row, column: str, unit: str = "") -> Step:
        """A number in a row of a table."""
        return self._leaf(key, name, float(getattr(row, column)), unit, row, (column,))

    def cells(
        self, key: str, name: str, row: Row, unit: str = "",
        columns: tuple[str, str, str] = ("low", "typical", "high"),
    ) -> Step:
        """A range in a row of a table."""
        value = tuple(float(getattr(row, column)) for column in columns)
        return self._leaf(key, name, value, unit, row, columns)

    def _leaf(
        self, key: str, name: str, value: Value, unit: str, row: Row, columns: tuple[str, ...]
    ) -> Step:
        place = of_row(row, self.catalogue, *columns)
        return step("row", key, name, value, unit, row=place)

    def chosen(self, key: str, name: str, value: Value, unit: str = "") -> Step:
        """What was asked for with the quote."""
        place = choice(key, value, self.offer)
        return step("row", key, name, value, unit, row=place)

    def noted(self, index: int, column: str, name: str, unit: str = "") -> Step:
        """A number on a survey line."""
        place = of_line(index, self.offer)
        value = float(getattr(self.scope.lines[index], column))
        return step("row", f"survey-{index + 1}.{column}", name, value, unit,
                    said=f"{place}: {column}", row=place)

    def defined(self, name: str, value: float, unit: str = "") -> Step:
        """A number that holds by definition, such as hours in a day."""
        return step("definition", f"defined.{name}", name, value, unit,
                    said="by definition", row=definition(name))
