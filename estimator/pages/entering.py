"""Native forms, tables with buttons, and the bar that leads to the parts of a page.

A form reports what a person typed, so that it can be kept, and what they asked for; faults come
back to the field they belong to, and what seldom is right is asked and answered with a yes.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import anywidget
import traitlets

from estimator.errors import BadInput, Fault
from estimator.ledger import Unsure
from estimator.pages.boxes import asset
from estimator.pages.guard import Alert, log, unexpected

# What only a terminal can do: "…: estimator time stop." and "(--at)".
_COMMAND = re.compile(r"(?::| with:)? ?\bestimator [a-z][^.;]*(?=[.;]|$)", re.IGNORECASE)
_OPTION = re.compile(r" ?\(--[^)]*\)|(?: with)? ?--[a-z-]+(?: [A-Z]+)?")


@dataclass(frozen=True)
class Field:
    """One field of a form.

    Parameters
    ----------
    kind
        "text", "number" (as text, for a comma is a decimal mark too), "date", "time", "long" for
        several lines, or "choice".
    options
        Of a choice: pairs of value and words, or of a heading and such pairs; of a text: words
        that are offered.

    Examples
    --------
    >>> Field("reason", "Why", "choice", "find", (["find", "A find"], ["wish", "A wish"])).value
    'find'
    """

    name: str
    label: str
    kind: str = "text"
    value: str = ""
    options: tuple = ()
    help: str = ""


@dataclass(frozen=True)
class Button:
    """A button of a form: what it asks for, its words, and whether it is the one to take first."""

    act: str
    label: str
    first: bool = True


def plain_words(said: str) -> str:
    """A message without what only a terminal can do.

    Examples
    --------
    >>> plain_words("Stop it first: estimator time stop.")
    'Stop it first.'
    >>> plain_words("Say when the work ended (--at), or let it go (--drop).")
    'Say when the work ended, or let it go.'
    """
    left = _OPTION.sub("", _COMMAND.sub("", said)).strip()
    return f"{left}." if left != said.strip() and left[-1:].isalnum() else left


class PlainAlert(Alert):
    """An alert of a page on which nothing is done by commands."""

    def show(self, faults: Iterable[Fault], title: str | None = None) -> None:
        """Show faults instead of what was there."""
        super().show([replace(fault, what=plain_words(fault.what), fix=plain_words(fault.fix))
                      for fault in faults], title)


class Form(anywidget.AnyWidget):
    """Fields and buttons.

    Parameters
    ----------
    name
        Of the form; no two on a page have the same.
    on_act
        Called with the button's `act`, all values as they were typed, and the keys of questions
        answered with yes; returns what to say when it is done. What it raises is shown.
    on_typed
        Called with all values whenever some have changed.
    enter
        Whether Enter in a field takes the first button.
    """

    _esm, _css = asset("form.js"), asset("form.css")
    name = traitlets.Unicode().tag(sync=True)
    title = traitlets.Unicode().tag(sync=True)
    yes = traitlets.Unicode("Yes, book it").tag(sync=True)
    enter = traitlets.Bool(True).tag(sync=True)
    fields = traitlets.List().tag(sync=True)
    turn = traitlets.Int(0).tag(sync=True)
    seen = traitlets.Int(0).tag(sync=True)
    buttons = traitlets.List().tag(sync=True)
    faults = traitlets.Dict().tag(sync=True)
    general = traitlets.List().tag(sync=True)
    questions = traitlets.List().tag(sync=True)
    status = traitlets.Unicode().tag(sync=True)

    def __init__(self, name: str, title: str, fields: Sequence[Field], buttons: Sequence[Button],
                 on_act: Callable[[str, Mapping[str, str], Sequence[str]], str | None],
                 on_typed: Callable[[Mapping[str, str]], None] | None = None, *,
                 yes: str = "Yes, book it", enter: bool = True, log_path: Path | None = None):
        super().__init__(name=name, title=title, yes=yes, enter=enter, fields=_plain(fields),
                         buttons=[asdict(button) for button in buttons])
        self._on_act, self._on_typed, self._log_path = on_act, on_typed, log_path
        self.on_msg(self._heard)

    @property
    def values(self) -> dict[str, str]:
        """What stands in the fields, as far as it is known here."""
        return {field["name"]: field["value"] for field in self.fields}

    def offer(self, fields: Sequence[Field]) -> None:
        """Show these fields instead."""
        self._lay_out(_plain(fields))

    def fill(self, values: Mapping[str, str]) -> None:
        """Put values into fields."""
        self._lay_out([{**field, "value": values.get(field["name"], field["value"])}
                       for field in self.fields])

    def clear(self) -> None:
        """Say nothing any more."""
        with self.hold_sync():
            self.faults, self.general, self.questions, self.status = {}, [], [], ""

    def focus(self, field: str = "") -> None:
        """Lead the person to a field; to the first one if none is named."""
        self.send({"focus": field})

    def act(self, what: str, values: Mapping[str, str], sure: Sequence[str] = ()) -> None:
        """Do what a button asks for, and say what came of it."""
        self._heard(None, {"act": what, "values": dict(values), "sure": list(sure)}, [])

    def show_faults(self, faults: Sequence[Fault]) -> None:
        """Show what is wrong: at its field where it has one."""
        by_field: dict[str, str] = {}
        general = []
        names = {field["name"] for field in self.fields}
        for fault in faults:
            said = plain_words(f"{fault.what} {fault.fix}")
            if fault.column in names and not fault.file:
                by_field[fault.column] = f"{by_field.get(fault.column, '')} {said}".strip()
            else:
                place = f"{fault.place}: " if fault.file else ""
                general.append(f"{place}{said}")
        with self.hold_sync():
            self.questions, self.status = [], ""
            self.faults, self.general = by_field, general
        self.send({"wrong": 1})

    def ask(self, questions: Sequence) -> None:
        """Ask what is seldom right."""
        with self.hold_sync():
            self.faults, self.general, self.status, self.questions = {}, [], "", []
        self.questions = [{"key": one.key, "text": (f"Row {one.row}: " if one.row else "")
                           + plain_words(one.text)} for one in questions]

    def _heard(self, _widget, message, _buffers) -> None:
        if not isinstance(message, dict):
            return
        if "no" in message:
            self.questions = []
        if "typed" in message:
            self._took(message["typed"], message.get("at"))
            if self._on_typed:
                self._guarded(self._on_typed, self.values)
        if "act" in message:
            self._took(message["values"], message.get("at"))
            self._acted(str(message["act"]), [str(key) for key in message["sure"]])

    def _took(self, values: Mapping, edit: int | None) -> None:
        """Remember what stands in the browser and up to which edit, without sending it back."""
        self._trait_values["seen"] = self.seen if edit is None else int(edit)
        self._trait_values["fields"] = [
            {**field, "value": str(values.get(field["name"], field["value"]))}
            for field in self.fields]

    def _lay_out(self, fields: list[dict]) -> None:
        """Send fields down though they be as they were: the browser has what was typed since."""
        self._trait_values["fields"] = fields
        self._trait_values["turn"] += 1
        self.send_state(["fields", "turn", "seen"])

    def _acted(self, what: str, sure: Sequence[str]) -> None:
        said = self._guarded(self._on_act, what, self.values, sure)
        if said is not None:
            with self.hold_sync():
                self.faults, self.general, self.questions = {}, [], []
                self.status = said

    def _guarded(self, do: Callable, *given) -> str | None:
        try:
            return do(*given) or ""
        except Unsure as unsure:
            self.ask(unsure.questions)
        except BadInput as error:
            self.show_faults(error.faults)
        except Exception:
            log.exception("%s", self.name)
            self.show_faults([unexpected(self._log_path)])
        return None


def _plain(fields: Sequence[Field]) -> list[dict]:
    return [{**asdict(field), "options": list(field.options)} for field in fields]


@dataclass(frozen=True)
class Row:
    """A row of a listing: which, its cells, its buttons as act, label and full name."""

    key: str
    cells: tuple[str, ...]
    buttons: tuple[tuple[str, str, str], ...] = ()
    chosen: bool = False


class Listing(anywidget.AnyWidget):
    """A table with buttons in its rows.

    Parameters
    ----------
    heads
        Headings; one that begins with ">" has its figures to the right.
    on_act
        Called with what was asked for and the key of the row.
    """

    _esm = asset("listing.js")
    name = traitlets.Unicode().tag(sync=True)
    title = traitlets.Unicode().tag(sync=True)
    empty = traitlets.Unicode().tag(sync=True)
    heads = traitlets.List().tag(sync=True)
    rows = traitlets.List().tag(sync=True)

    def __init__(self, name: str, title: str, heads: Sequence[str], empty: str = "",
                 on_act: Callable[[str, str], None] | None = None):
        super().__init__(name=name, title=title, empty=empty, heads=[
            {"label": head.removeprefix(">"), "right": head.startswith(">")} for head in heads])
        self._on_act = on_act
        self.on_msg(self._heard)

    def show(self, rows: Sequence[Row]) -> None:
        """Draw these rows."""
        self.rows = [{"key": row.key, "cells": list(row.cells), "chosen": row.chosen,
                      "buttons": [{"act": act, "label": label, "said": said}
                                  for act, label, said in row.buttons]} for row in rows]

    def _heard(self, _widget, message, _buffers) -> None:
        if isinstance(message, dict) and "act" in message and self._on_act:
            self._on_act(*map(str, message["act"]))


class Parts(anywidget.AnyWidget):
    """Buttons that lead to parts of a page; `on_go` gets the key of the one that was clicked."""

    _esm = asset("parts.js")
    title = traitlets.Unicode().tag(sync=True)
    main = traitlets.Bool(False).tag(sync=True)
    parts = traitlets.List().tag(sync=True)
    current = traitlets.Unicode().tag(sync=True)

    def __init__(self, title: str, parts: Sequence[tuple[str, str]], on_go: Callable[[str], None],
                 *, main: bool = False):
        super().__init__(title=title, main=main, parts=[list(part) for part in parts],
                         current=parts[0][0])
        self._on_go = on_go
        self.on_msg(self._heard)

    def _heard(self, _widget, message, _buffers) -> None:
        if isinstance(message, dict) and "go" in message:
            self._on_go(str(message["go"]))
