"""Proposals on the page: what finished jobs say is off in the book, decided one by one."""

from __future__ import annotations

import html
from collections.abc import Callable, Mapping, Sequence

import ipywidgets as widgets

from estimator import plots
from estimator.documents.wording import counted
from estimator.errors import BadInput, Fault
from estimator.ledger import Job
from estimator.pages import showing
from estimator.pages.beside import Beside, Work
from estimator.pages.boxes import box, heading
from estimator.pages.entering import Button, Field, Form, Listing, PlainAlert, Row, plain_words
from estimator.pages.guard import guarded
from estimator.pages.later import Later
from estimator.pages.workshop import Workshop
from estimator.review import decided, proposals
from estimator.review.proposals import Proposal
from estimator.survey import cells
from estimator.survey.cells import Reading

LATEST = 30
_ABOUT = ("What finished jobs say is off in your tables. Hours change only when you accept it; how "
          "far hours go together follows closed jobs unless you set it. All of it can be taken "
          "back below. Quotes that were sent stay as they are.")
_DID = {"accepted": "Accepted", "edited": "Accepted with another figure", "refused": "Refused",
        "followed": "Followed a closed job", "undone": "Taken back"}


class Proposing:
    """The part of the page where proposals are decided."""

    def __init__(self, workshop: Workshop):
        self.workshop, self.log_path = workshop, workshop.log_path
        self.alerts = {"proposals": PlainAlert()}
        self.found: dict[str, Proposal] = {}
        self._cards: dict[str, _Card] = {}
        self.status, self.none = widgets.HTML(), widgets.HTML()
        self.look = Beside("Look again", self._work, self._came)
        self.look.widget.add_class("est-long")
        self.cards = box("est-block")
        self.past = Listing("decisions", "Decisions",
                            ("When", "Decision", "Proposal", ">In the table", "Why"),
                            "Nothing was decided so far.", self._undone)
        self.widget = box(
            "est-block", self.alerts["proposals"].widget, heading("Proposals"),
            widgets.HTML(f"<p>{_ABOUT}</p>"), self.status, self.look.widget, self.none, self.cards,
            heading("What was decided"), self.past)
        self.steps = Later(0, ())

    def failed(self, _area: str) -> None:
        """A decision that could not be kept is not shown as if it were."""
        self.status.value = ""

    def show(self) -> None:
        """Look through the closed jobs beside the page, then draw; what was decided at once."""
        self.steps.stop()
        self._list()
        self.look.stop("")
        self.look.start()

    def _work(self) -> Work:
        return self.workshop.aside(proposals.proposals)

    def _came(self, found: Sequence[Proposal]) -> None:
        # Steps say for themselves what goes wrong in them.
        if self._laid_out(found):
            self.steps.start()

    @guarded("proposals")
    def _laid_out(self, found: Sequence[Proposal]) -> bool:
        self.found = {one.key: one for one in found}
        for key, one in self.found.items():
            if key not in self._cards:
                self._cards[key] = _Card(self.workshop, key, self._decided)
            self._cards[key].say(one)
        self.none.value = "" if found else showing.said(
            "Finished jobs say nothing against the book so far.", test="no-proposals")
        shown = tuple(self._cards[key].widget for key in self.found)
        if self.cards.children != shown:
            self.cards.children = shown
        names = {job.number: job for job in self.workshop.jobs}
        self.steps = Later(0, [lambda one=one: self._drawn(one, names) for one in found])
        return True

    @guarded("proposals")
    def _drawn(self, one: Proposal, names: Mapping[str, Job]) -> None:
        self._cards[one.key].draw(one, names)

    # What is done ---------------------------------------------------------------------------

    def _decided(self, key: str, act: str, values: Mapping[str, str]) -> str:
        shop = self.workshop
        one = self.found.get(key)
        if one is None:
            raise BadInput(Fault("This is not proposed any more.", "Look again."))
        read = Reading(values)
        why = read.take("why")
        figure = read.take("figure", cells.number,
                           "Write the figure that is to stand." if act == "edit" else "") \
            if act == "edit" else None
        if act != "edit" and values.get("figure", "").strip():
            read.faults.append(Fault("A figure stands here.", "Take it with its own button, or "
                                     "clear the field.", column="figure"))
        read.done()
        after = self._after(key)
        if act == "accept":
            where = proposals.accept(shop.shop, one, why=why)
            said = f"Accepted: {one.name}. It stands in {where} now."
        elif act == "edit":
            where = proposals.edit(shop.shop, one, figure, why)
            said = f"Accepted with {figure:g}: {one.name}. It stands in {where} now."
        else:
            proposals.refuse(shop.shop, one, why)
            said = f"Refused: {one.name}. The table stays as it is."
        self._cards.pop(key)
        self.workshop.keep_typed(_name(key), {})
        self._settled(said)
        if after in self._cards:
            self._cards[after].form.focus()
        return ""

    def _after(self, key: str) -> str:
        """The proposal that comes next, to go on with."""
        keys = list(self.found)
        place = keys.index(key)
        return next(iter([*keys[place + 1:], *reversed(keys[:place])]), "")

    @guarded("proposals")
    def _undone(self, _act: str, key: str) -> None:
        where = proposals.undo(self.workshop.shop, key)
        self._settled(f"Taken back: {where or key} is as it was." if where else
                      f"Taken back: {key} may be proposed again.")

    def _settled(self, said: str) -> None:
        self.workshop.reopen()
        self.status.value = (f'<p data-say class="est-form-status" data-testid="decided">'
                             f"{html.escape(said)}</p>")

    @guarded("proposals")
    def _list(self) -> None:
        log = proposals.decisions(self.workshop.shop)
        stands = {id(rows[-1]) for rows in decided.standing(log).values()}
        self.past.show([
            Row(one.key, (one.when[:16].replace("T", " "), _DID[one.did], one.words,
                          "" if one.chosen is None else f"{one.chosen:g}", one.why),
                (("undo", "Undo", f"Undo: {one.words}"),) if id(one) in stands else ())
            for one in reversed(log[-LATEST:])])


class _Card:
    """One proposal: its sentence, its evidence, and what can be done with it."""

    def __init__(self, workshop: Workshop, key: str,
                 on_decide: Callable[[str, str, Mapping[str, str]], str]):
        name = _name(key)
        self.head, self.chart, self.jobs = (widgets.HTML() for _ in range(3))
        self.form = Form(
            name, "Decide", [Field("figure", "Another figure instead", "number"),
                             Field("why", "Why", "long")],
            [Button("accept", "Accept"), Button("edit", "Accept this figure instead", False),
             Button("refuse", "Refuse", False)],
            lambda act, values, _sure: on_decide(key, act, values),
            lambda values: workshop.keep_typed(name, values), enter=False,
            log_path=workshop.log_path)
        self.form.fill(workshop.typed(name))
        self.widget = box("est-proposal", self.head, box(
            "est-beside", self.chart, box("est-block", self.jobs, self.form)))

    def say(self, one: Proposal) -> None:
        """The proposal as its sentence."""
        self.head.value = (f'<h3 data-testid="proposal">{html.escape(one.words)}</h3>'
                           f"<p>{html.escape(_unit(one))}</p>")
        field = self.form.fields[0]
        help_ = f"{one.unit}; with a reason."
        if field["help"] != help_ or self.form.title != f"Decide: {one.name}":
            self.form.title = f"Decide: {one.name}"
            self.form.offer([Field("figure", "Another figure instead", "number", field["value"],
                                   help=help_),
                             Field("why", "Why", "long", self.form.values["why"])])

    def draw(self, one: Proposal, names: Mapping[str, Job]) -> None:
        """What the jobs say, as dots and as a table that is folded."""
        last = one.evidence[-showing.LATEST:]
        values = [record.booked / record.expected for record in last]
        if one.is_setting:
            ax = plots.evidence(values, 1.0, said="{:.2f} ×".format,
                                of="Booked over expected", book_said="As expected")
            words = (f"Booked over expected of {counted(len(values), 'job')}: "
                     f"{min(values):.2f} to {max(values):.2f}.")
        else:
            unit = one.unit.split(" per ")[0]
            ax = plots.evidence([one.book * value for value in values], one.book,
                                says=(one.says, one.low, one.high), said=f"{{:.3g}} {unit}".format,
                                of=f"{unit} {one.unit.removeprefix(unit).strip()}".strip())
            words = one.words
        self.chart.value = f"<div>{plots.svg(ax, words)}</div>"
        rows = [[names[record.job].name if record.job in names else record.job,
                 f"{record.expected:.2f}", f"{record.booked:.2f}", f"{value:.2f} ×"]
                for record, value in zip(last, values, strict=True)]
        among = f"last {len(rows)} of the " if len(rows) < len(one.evidence) else ""
        self.jobs.value = (f"<details><summary>The {among}{counted(len(one.evidence), 'job')} "
                           "it rests on"
                           "</summary>" + showing.table(
                               "evidence", f"Evidence of {one.name}",
                               ("Job", ">Expected h", ">Booked h", ">Booked / expected"), rows)
                           + "</details>")


def _name(key: str) -> str:
    """Of the form of a proposal."""
    return f"proposal-{key.replace('/', '-')}"


def _unit(one: Proposal) -> str:
    if one.is_setting:
        return (f"A setting in rates.csv, set to {one.book:g}; accepting it sets "
                f"{one.says:g}. {plain_words(one.caveat)}").strip()
    return (f"Typical {one.unit}: accepting it multiplies low, typical and high hours and the "
            f"set-up of the row by {one.ratio:.2f}.")
