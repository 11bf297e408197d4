"""A job that changes, on the page: what is different, what that does to price and day, the answer.

The survey of the quote that holds is laid out as on the page "Quote a machine" and edited there;
nothing is kept until the change is offered, and the job stays as it is until the customer agrees.
"""

from __future__ import annotations

import html
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date

import ipywidgets as widgets

from estimator import documents, jobs
from estimator.documents.wording import counted, money
from estimator.errors import BadInput, Fault
from estimator.ledger import Revision
from estimator.pages import desk as desks
from estimator.pages import showing
from estimator.pages.boxes import box, heading
from estimator.pages.desk import Desk
from estimator.pages.devices import FileButton, SurveyTable
from estimator.pages.entering import Button, Field, Form, Listing, PlainAlert, Row, plain_words
from estimator.pages.figures import day as day_said
from estimator.pages.guard import guarded
from estimator.pages.workshop import Workshop
from estimator.quote import Revised
from estimator.shop import Shop
from estimator.survey.cells import Reading

_ABOUT = ("Put into the table what is different now: a worse condition that came to light, a line "
          "more, a line that the customer does without. Then work out what that comes to. Nothing "
          "is kept before you offer it, and the job stays as it is until the customer agrees.")


class Changing:
    """Changes of the chosen job; `widget` is all of it."""

    def __init__(self, workshop: Workshop):
        self.workshop, self.log_path = workshop, workshop.log_path
        self.alerts = {"change": PlainAlert()}
        self.base: Desk | None = None
        self.desk: Desk | None = None
        self.worked_out: tuple[Revised, Shop] | None = None
        self._of = ""
        self._answering = ""
        self.open = widgets.Button(description="Change the job")
        self.open.on_click(lambda _button: self._open())
        self.table = SurveyTable(workshop.shop.catalogue, self._edited, self._added, self._removed)
        self.form = Form("change", "What the change is", (), [
            Button("work", "Work out the change"), Button("offer", "Offer it", False),
            Button("leave", "Leave the job as it is", False)], self._asked, self._typed,
            yes="Yes, offer it", log_path=self.log_path)
        self.result = widgets.HTML()
        self.paper = FileButton("Addendum to sign (PDF)", on_want=self._handed)
        self.paper.layout.display = "none"
        self.desk_box = box("est-block", widgets.HTML(f"<p>{_ABOUT}</p>"), self.table, self.form,
                            self.result, box("est-buttons", self.paper))
        self.desk_box.layout.display = "none"
        self.answer_head = widgets.HTML()
        self.answer = Form("answer", "The customer's answer", (), (), self._answered,
                           log_path=self.log_path)
        self.answer_box = box("est-block", self.answer_head, self.answer)
        self.answer_box.layout.display = "none"
        self.revisions = Listing("revisions", "Changes offered", (
            "Number", "Offered", "What", "Ready", ">Price before tax", "Answer"),
            "No change was offered so far.", self._act)
        self.status = widgets.HTML()
        self.widget = box("est-block", heading("Changes during the job"),
                          self.alerts["change"].widget, self.status, self.answer_box,
                          self.revisions, box("est-buttons", self.open), self.desk_box)

    def failed(self, _area: str) -> None:
        """What went wrong is said; nothing was kept."""
        self.status.value = ""

    @guarded("change")
    def show(self) -> None:
        """Show what was offered; the table stays as it is while the job does."""
        shop = self.workshop
        job = shop.job
        self.widget.layout.display = "" if job else "none"
        if job is None:
            return
        self._list()
        stands = shop.ledger.holds(job.number)
        self.open.layout.display = "none" if job.state == "closed" else ""
        if stands != self._of or job.state == "closed":
            self._of = stands
            self.base = None
            self.desk_box.layout.display = "none"
            self.status.value = ""

    def _list(self) -> None:
        shop, settings = self.workshop, self.workshop.shop.settings
        revisions = shop.ledger.revisions(shop.number)
        sent = shop.ledger.sent_of([one.number for one in revisions])
        rows = []
        for one in reversed(revisions):
            said = "; ".join(f"{change.get('title', '')}: {change.get('said', '')}"
                             for change in one.changes)
            answer = "waits for an answer" if one.answer == "open" else \
                f"{one.answer} {one.answered}" + (f", {one.note}" if one.note else "")
            buttons = (("agree", "Agreed", f"The customer agreed to {one.number}"),
                       ("refuse", "Refused", f"The customer refused {one.number}")) \
                if one.answer == "open" else ()
            if self._paper(one).is_file():
                buttons += (("paper", "Addendum", f"Addendum {one.number} as PDF"),)
            rows.append(Row(one.number, (
                one.number, str(one.offered), said, str(one.ready or ""),
                money(sent[one.number].price, settings) if one.number in sent else "", answer),
                buttons))
        self.revisions.show(rows)

    # The survey, and what is different --------------------------------------------------------

    @guarded("change")
    def _open(self) -> None:
        """Lay out the survey of the quote that holds."""
        survey, choices, _ = jobs.reopen(self.workshop.ledger, self._of)
        base = desks.of_survey(survey)
        self.base = replace(base, level=choices.level, entries=tuple(
            replace(entry, keep=index not in choices.dropped)
            for index, entry in enumerate(base.entries)),
            extras=tuple(name for name, count in choices.added if count))
        self.desk = self._kept_desk() or self.base
        self.table.show(self.desk)
        self._forget()
        self.desk_box.layout.display = ""
        held = self.workshop.typed(f"change {self._of}")
        self.form.clear()
        self.form.offer([replace(field, value=held.get(field.name, field.value))
                         for field in self._fields()])

    def _fields(self) -> list[Field]:
        extras = [["", "As it is"]]
        for name, row in self.workshop.shop.catalogue.assemblies.items():
            if row.extra:
                taken = name in self.base.extras
                extras.append([f"{name}={0 if taken else 1}",
                               f"{'Without' if taken else 'With'}: {row.name}"])
        return [
            Field("reason", "Why", "choice", "find", (["find", "A find: it came to light"],
                                                      ["wish", "A wish of the customer's"])),
            Field("words", "In your words", "long",
                  help="The customer reads it on the addendum."),
            Field("others", "Other reasons of single lines", "long",
                  help="Such as 12=wish: wants it black; several are parted by a semicolon."),
            Field("extra", "An extra", "choice", options=tuple(extras)),
            Field("prices", "Prices and rates", "choice", "quote",
                  (["quote", "As in the quote"], ["today", "Of today"])),
            Field("date", "Offered on", "date", date.today().isoformat()),
            Field("ready", "Ready on", "date", help="Blank works it out.")]

    def _kept_desk(self) -> Desk | None:
        """What the table held when the page was left."""
        held = self.workshop.typed(f"change desk {self._of}").get("desk")
        if not held:
            return None
        desk, lost = desks.from_json(json.loads(held), self.workshop.shop.catalogue)
        return None if lost else desk

    def _changed(self) -> None:
        self._forget()
        self.workshop.keep_typed(f"change desk {self._of}",
                                 {"desk": json.dumps(desks.as_json(self.desk))})

    def _forget(self) -> None:
        """What was worked out is not of what stands there now."""
        self.worked_out = None
        self.result.value = ""
        self.paper.layout.display = "none"

    @guarded("change")
    def _edited(self, edits: list) -> None:
        self.desk, wrong = desks.edited(self.desk, edits, self.workshop.shop.catalogue)
        self.table.mark(wrong)
        self._changed()

    @guarded("change")
    def _added(self, assembly: str) -> None:
        self.desk, key = desks.with_line(self.desk, assembly, self.workshop.shop.catalogue)
        self.table.show(self.desk, focus=key)
        self._changed()

    @guarded("change")
    def _removed(self, key: int) -> None:
        self.desk = desks.without_line(self.desk, key)
        self.table.show(self.desk)
        self._changed()

    def _typed(self, values: Mapping[str, str]) -> None:
        self._forget()
        self.workshop.keep_typed(f"change {self._of}", values)

    # Working out and offering -----------------------------------------------------------------

    def _asked(self, act: str, values: Mapping[str, str], _sure: Sequence[str]) -> str:
        if act == "leave":
            self._done_with()
            return ""
        found, used = self._revised(values)
        self.worked_out = found, used
        self.result.value = _result(found)
        self.paper.layout.display = ""
        if act == "work":
            return "Worked out; nothing is kept yet."
        papers = documents.addendum(found)
        folder = self._paper_folder(found.offer.number)
        kept = jobs.offer(self.workshop.ledger, found, used,
                          lambda: documents.put(papers, folder))
        said = (f"{kept.number} is offered; its addendum to sign is in {folder}. The job stays as "
                "it is until the customer agrees.")
        self._done_with(said)
        return ""

    def _revised(self, values: Mapping[str, str]) -> tuple[Revised, Shop]:
        read = Reading(values)
        on = read.take("date", jobs.day_of, "Say when it is offered.")
        ready = read.take("ready", jobs.day_of)
        words = read.take("words")
        read.done()
        gaps = [(index, column) for index, column in self.desk.survey().gaps]
        if gaps:
            names = self.workshop.shop.catalogue.assemblies
            raise BadInput(Fault(
                f"Row {index + 1}, {names[self.desk.entries[index].line.assembly].name}, has no "
                f"{column}.", "Fill it in.") for index, column in gaps)
        reason = values["reason"] + (f": {words}" if words else "")
        reasons = [reason, *(one.strip() for one in values["others"].split(";") if one.strip())]
        if values["prices"] == "today":
            reasons.append("price" + (f": {words}" if words else ""))
        was = {entry.id: entry.keep for entry in self.base.entries}
        lines = replace(self.desk, entries=tuple(
            entry for entry in self.desk.entries if entry.keep or entry.id in was))
        wish = jobs.Wish(
            tuple(entry.id for entry in lines.entries if was.get(entry.id) and not entry.keep),
            tuple(entry.id for entry in lines.entries
                  if entry.keep and was.get(entry.id) is False),
            tuple((name, int(count)) for name, _, count in [values["extra"].partition("=")]
                  if name))
        changed = [entry.line for entry in lines.entries] != \
            [entry.line for entry in self.base.entries]
        return jobs.revise(
            self.workshop.ledger, self.workshop.number, lines.survey() if changed else None,
            reasons=reasons, wish=wish, on=on, ready=ready,
            today=self.workshop.shop if values["prices"] == "today" else None)

    def _done_with(self, said: str = "") -> None:
        for form in (f"change {self._of}", f"change desk {self._of}"):
            self.workshop.keep_typed(form, {})
        self._forget()
        self.base = self.desk = None
        self.desk_box.layout.display = "none"
        self._list()
        self._say(said)

    def _say(self, said: str) -> None:
        self.status.value = "" if not said else (
            f'<p data-say class="est-form-status" data-testid="change-said">'
            f"{html.escape(said)}</p>")

    # Papers and the answer --------------------------------------------------------------------

    def _paper_folder(self, number: str):
        return self.workshop.folder / "documents" / f"addendum-{number}"

    def _paper(self, one: Revision):
        return self._paper_folder(one.number) / "addendum.pdf"

    @guarded("change")
    def _handed(self) -> None:
        found, _ = self.worked_out
        self.paper.hand_out(f"addendum-{found.offer.number}.pdf", "application/pdf",
                            documents.addendum(found)["addendum.pdf"])

    @guarded("change")
    def _act(self, act: str, number: str) -> None:
        one = self.workshop.ledger.revision(number)
        if act == "paper":
            self.paper.hand_out(f"addendum-{number}.pdf", "application/pdf",
                                self._paper(one).read_bytes())
            return
        self._answering = number
        self.answer.clear()
        agreed = act == "agree"
        self.answer_head.value = (f"<h3>{'Agreed to' if agreed else 'Refused'}: "
                                  f"{html.escape(number)}</h3>")
        fields = [Field("date", "Answered on", "date", date.today().isoformat()),
                  Field("note", "Remark", "long")]
        if agreed:
            fields.insert(1, Field("promised", "Promised for", "date", str(one.ready or ""),
                                   help="Blank takes the day that was offered."))
        self.answer.offer(fields)
        self.answer.buttons = [
            {"act": act, "label": "The customer agreed" if agreed else "The customer refused",
             "first": True}, {"act": "leave", "label": "Not yet", "first": False}]
        self.answer_box.layout.display = ""
        self.answer.focus()

    def _answered(self, act: str, values: Mapping[str, str], _sure: Sequence[str]) -> str:
        if act == "leave":
            self.answer_box.layout.display = "none"
            return ""
        shop = self.workshop
        read = Reading(values)
        on = read.take("date", jobs.day_of, "Say when it was answered.")
        promised, note = read.take("promised", jobs.day_of), read.take("note")
        read.done()
        if act == "agree":
            kept, came, went, others = jobs.agree(shop.ledger, self._answering, on=on,
                                                  promised=promised, note=note)
            said = (f"{kept.number} is agreed: {counted(len(came), 'work item')} came, "
                    f"{len(went)} went."
                    + (f" Refused with it: {', '.join(others)}." if others else ""))
        else:
            kept = shop.ledger.refuse(self._answering, on, note)
            said = f"{kept.number} is refused; the job stays as it was."
        self.answer_box.layout.display = "none"
        shop.changed()
        self._say(said)
        return ""


def _result(found: Revised) -> str:
    """What a change comes to: what is different, and price, hours and day before and after."""
    settings, before, after = found.settings, found.before, found.after

    def more(amount) -> str:
        return showing.signed(float(amount), settings) if amount else "–"

    rows = [[f"{'' if one.line is None else f'{one.line + 1} '}{one.title}: {one.said}",
             f"a {one.reason}" + (f", {one.words}" if one.words else ""), f"{one.hours:+.1f}",
             more(one.amount)] for one in found.changes]
    rows += [[one.title, "follows", f"{one.hours:+.1f}", more(one.amount)] for one in found.rest]
    told = (*found.changes, *found.rest)
    days = (after.ready - before.ready).days if after.ready and before.ready else 0
    sides = [["Price before tax" if before.cap is None else "Expected bill before tax",
              money(before.price, settings), money(after.price, settings),
              more(after.price - before.price)],
             ["With tax", money(before.total, settings), money(after.total, settings),
              more(after.total - before.total)]]
    if before.cap is not None and after.cap is not None:
        sides.append(["Cap before tax", money(before.cap, settings), money(after.cap, settings),
                      more(after.cap - before.cap)])
    sides += [[f"Hours, {words}", f"{was:.1f}", f"{now:.1f}", f"{now - was:+.1f}"]
              for words, was, now in (("as often as not", before.hours_p50, after.hours_p50),
                                      ("4 jobs in 5", before.hours_p80, after.hours_p80))]
    sides.append(["Ready", *("" if one.ready is None else day_said(one.ready, settings)
                             for one in (before, after)),
                  f"{days:+d} day{'' if abs(days) == 1 else 's'}" if days else "–"])
    buy = [f"{one.name}: {one.after - one.before:+g} {one.unit}" for one in found.supplies]
    heed = [row.text for row in found.cautions]
    lists = "".join(
        f"<h3>{name}</h3><ul>" + "".join(f"<li>{html.escape(one)}</li>" for one in said) + "</ul>"
        for name, said in (("To buy or send out, more or less", buy), ("To heed", heed)) if said)
    hours = math.fsum(one.hours for one in told)
    return ('<div data-testid="change-result">'
            + showing.table("change-sides", "Before and after",
                            ("", ">Before", ">After", ">Difference"), sides)
            + showing.table("changes", "What changes", ("What", "Why", ">Hours", ">Before tax"),
                            rows, total=["Together", "", f"{hours:+.1f}",
                                         more(after.price - before.price)])
            + showing.said(*map(plain_words, found.notes)) + lists + "</div>")
