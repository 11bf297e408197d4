"""A table that a person puts in order by its headings."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass

import anywidget
import traitlets

from estimator.pages.boxes import asset


@dataclass(frozen=True)
class Head:
    """A heading. `first` is the order that its first click gives: "down" or "up"; the leftmost
    names the rows and has none."""

    label: str
    first: str = "down"


class Ranked(anywidget.AnyWidget):
    """Rows of words, put in order by the numbers behind them."""

    _esm = asset("ranked.js")
    _css = asset("ranked.css")
    name = traitlets.Unicode().tag(sync=True)
    title = traitlets.Unicode().tag(sync=True)
    heads = traitlets.List().tag(sync=True)
    rows = traitlets.List().tag(sync=True)

    def __init__(self, name: str, title: str, heads: Sequence[Head]):
        super().__init__(name=name, title=title)
        self.head(heads)

    def head(self, heads: Sequence[Head]) -> None:
        """Show these headings; all but the first have figures under them."""
        self.heads = [{**asdict(one), "right": place > 0, "sorts": place > 0}
                      for place, one in enumerate(heads)]

    def show(self, rows: Iterable[tuple[str, Sequence[str], Sequence[float | None], bool]]) -> None:
        """Show rows: key, words, the numbers behind them, and whether it is the advised one."""
        self.rows = [{"key": key, "cells": list(cells), "values": list(values), "chosen": chosen}
                     for key, cells, values, chosen in rows]
