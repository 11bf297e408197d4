"""What was bought, sent out, came back and came in, booked on the page."""

from __future__ import annotations

import html
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from decimal import Decimal

import ipywidgets as widgets

from estimator.documents.wording import money
from estimator.errors import BadInput, Fault
from estimator.ledger import Outwork, Purchase, Sale
from estimator.pages import typed
from estimator.pages.boxes import box, heading
from estimator.pages.entering import Button, Field, Form, Listing, Parts, PlainAlert, Row
from estimator.pages.guard import guarded
from estimator.pages.workshop import Workshop

LATEST = 30
_KINDS = {"bought": "Bought", "sent-out": "Sent out", "came-back": "Came back", "sold": "Came in"}
_TYPES = {"purchase": Purchase, "outwork": Outwork, "sale": Sale}
_BUTTON = {"bought": "Book what was bought", "sent-out": "Book what was sent out",
           "came-back": "Book what came back", "sold": "Book what came in"}


class BookAmounts:
    """The part of the page where purchases, outwork and sales are booked."""

    def __init__(self, workshop: Workshop):
        self.workshop, self.log_path = workshop, workshop.log_path
        self.alerts = {"amounts": PlainAlert()}
        self._taking: tuple[str, int] | None = None
        self.kinds = Parts("What to book", tuple(_KINDS.items()), self._kind)
        self.forms = {kind: Form(kind, words, (), [Button(kind, _BUTTON[kind])], self._booked,
                                 lambda values, kind=kind: workshop.keep_typed(kind, values),
                                 log_path=self.log_path)
                      for kind, words in _KINDS.items()}
        self.form_box = box("est-block", self.forms["bought"])
        self.hint = widgets.HTML()
        self.back = Form("amount-back", "Take an amount back", [
            Field("why", "Why", help="In a few words; both entries stay in the books.")],
            [Button("take-back", "Take it back"), Button("leave", "Leave it as it is", False)],
            self._taken, log_path=self.log_path)
        self.back_head = widgets.HTML()
        self.back_box = box("est-block", self.back_head, self.back)
        self.back_box.layout.display = "none"
        self.list = Listing("amounts", "Latest amounts",
                            ("Day", "Kind", "What", "Job", ">Quantity", ">Amount", "Remark"),
                            "Nothing is booked so far.", self._asked)
        self.widget = box("est-block", self.alerts["amounts"].widget,
                          heading("What came and went"), self.hint, self.kinds, self.form_box,
                          heading("Latest amounts"), self.back_box, self.list)

    def failed(self, _area: str) -> None:
        """What could not be read is said; what stands there is of before."""

    @guarded("amounts")
    def show(self) -> None:
        """Show what the ledger holds, and the form with what was typed last."""
        job = self.workshop.job
        self.hint.value = "" if job else \
            "<p>Choose a job above; without one, amounts are of the shop as a whole.</p>"
        self._lay_out(self.kinds.current)
        self._list()

    @guarded("amounts")
    def _kind(self, kind: str) -> None:
        self.kinds.current = kind
        self._lay_out(kind)
        self.form_box.children = [self.forms[kind]]

    def _lay_out(self, kind: str) -> None:
        shop, form = self.workshop, self.forms[kind]
        held = form.values or shop.typed(kind)
        words = [name for name in held if name not in ("day", "unit", "quantity", "whose", "fees")]
        if not any(held[name] for name in words):
            held = {}
        fields = []
        for field in self._fields(kind):
            value = held.get(field.name, field.value)
            if field.kind == "choice" and value not in {str(one[0]) for one in field.options}:
                value = field.value
            fields.append(replace(field, value=value))
        form.offer(fields)

    def _fields(self, kind: str) -> list[Field]:
        shop = self.workshop
        day = Field("day", "Day", "date", date.today().isoformat())
        whose = Field("whose", "For", "choice", shop.whose(shop.number)[0][0],
                      shop.whose(shop.number))
        note = Field("note", "Remark", "long")
        quantity = Field("quantity", "Quantity", "number", "1")
        unit = Field("unit", "Unit", value="piece")
        currency = shop.shop.settings.currency
        if kind == "bought":
            parts = tuple(row.name for row in shop.shop.catalogue.parts.values())
            return [Field("part", "Part in the table", options=parts,
                          help="Where the quote has it, so that it is held against it."),
                    Field("what", "What", help="Blank where the part says it."),
                    Field("supplier", "Supplier"), quantity, unit,
                    Field("amount", f"Paid for all of it, {currency}", "number",
                          help="Before tax."), whose, day, note]
        if kind == "sent-out":
            services = (["", "Choose …"], *([name, row.name] for name, row in
                                            shop.shop.catalogue.services.items()))
            return [Field("service", "Service", "choice", options=services),
                    Field("what", "Pieces"), quantity, unit, whose, day, note]
        if kind == "came-back":
            out = [[str(lot.id), f"{lot.what}: {left:g} {lot.unit} out since {lot.day}, "
                    f"{shop.job_named(lot.job) or 'the shop'}"] for lot, left in self._out()]
            return [Field("lot", "Of what is still out", "choice",
                          options=(["", "Choose …"] if out else ["", "Nothing is out"], *out)),
                    quantity, Field("amount", f"Charged, {currency}", "number",
                                    help="Before tax; 0 if nothing was."), day, note]
        return [Field("what", "What", help="A job paid for, a machine sold."),
                Field("amount", f"Came in, {currency}", "number", help="Before tax."),
                Field("fees", f"Fees, {currency}", "number", "0", help="What selling cost."),
                whose, day, note]

    def _out(self) -> list[tuple[Outwork, float]]:
        return list(self.workshop.ledger.still_out())

    def _booked(self, kind: str, values: Mapping[str, str], sure: Sequence[str]) -> str:
        shop = self.workshop
        job, tables = shop.number, shop.shop.catalogue
        currency = shop.shop.settings.currency
        entry = {"bought": lambda: typed.purchase(values, job, tables, currency),
                 "sent-out": lambda: typed.sent_out(values, job, tables, currency),
                 "came-back": lambda: typed.came_back(values, [lot for lot, _ in self._out()],
                                                      currency),
                 "sold": lambda: typed.sale(values, job, currency)}[kind]()
        kept = shop.ledger.add(entry, sure=sure)
        shop.keep_typed(kind, {})
        self.forms[kind].offer(self._fields(kind))
        shop.changed()
        whose = shop.job_named(kept.job) or "the shop"
        return f"{kept.what}, {self._amount(kept)}: booked for {whose}."

    def _amount(self, one) -> str:
        settings = self.workshop.shop.settings
        if one.currency != settings.currency:
            return f"{one.amount} {one.currency}"
        return money(one.amount, settings)

    # What was booked ------------------------------------------------------------------------

    def _list(self) -> None:
        ledger = self.workshop.ledger
        found = [(name, one) for name, kind in _TYPES.items()
                 for one in ledger.last_booked(kind, LATEST)]
        found.sort(key=lambda pair: pair[1].booked, reverse=True)
        self.list.show([self._row(*pair) for pair in found[:LATEST]])

    def _row(self, name: str, one) -> Row:
        kind = {"sent": "sent out", "back": "came back"}.get(getattr(one, "event", ""), "")
        kind = kind or {"purchase": "bought", "sale": "came in"}[name]
        quantity = f"{one.quantity:g} {one.unit}" if hasattr(one, "quantity") else ""
        amount = "" if kind == "sent out" and not one.amount else self._amount(one)
        if getattr(one, "fees", Decimal(0)):
            amount += f", fees {money(one.fees, self.workshop.shop.settings)}"
        return Row(f"{name}:{one.id}",
                   (one.day.isoformat(), kind, one.what, self.workshop.job_named(one.job)
                    or "the shop", quantity, amount, one.note),
                   (("take-back", "Take back", f"Take back {kind}, {one.what}, {one.day}"),))

    @guarded("amounts")
    def _asked(self, _act: str, key: str) -> None:
        name, _, number = key.partition(":")
        one = self.workshop.ledger.entry(_TYPES[name], int(number))
        if one is None:
            self.workshop.changed()
            raise BadInput(Fault("This entry is not in force any more.", "Look at the list."))
        self._taking = name, one.id
        self.back.clear()
        self.back_head.value = (f"<h3>Take back {html.escape(one.what)}, "
                                f"{html.escape(self._amount(one))}, of {one.day}</h3>")
        self.back.fill({"why": ""})
        self.back_box.layout.display = ""
        self.back.focus()

    def _taken(self, act: str, values: Mapping[str, str], _sure: Sequence[str]) -> str:
        if act == "take-back" and self._taking:
            name, number = self._taking
            self.workshop.ledger.correct(_TYPES[name], number, typed.why_of(values))
            self.workshop.changed()
        self._taking = None
        self.back_box.layout.display = "none"
        return ""
