"""Papers for the bench: job cards, labels for bags, lists of lamps, coil labels and waits.

Each comes as PDF and as CSV. They stay in the shop: hours stand on them, prices do not.
"""

from __future__ import annotations

import io
import math
import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import date, timedelta
from pathlib import Path

from estimator.buying import Ordering
from estimator.catalogue import Catalogue
from estimator.documents import orders
from estimator.documents.bench_rows import (
    Counted,
    Label,
    card_rows,
    coil_labels,
    labels,
    lamps,
    said_of,
    since,
    waits,
)
from estimator.documents.files import file_stem
from estimator.documents.pdf import laid_out
from estimator.documents.wording import counted, day, hours, paper, this_year, weekday
from estimator.errors import BadInput, Fault, one_of
from estimator.outside import csv_file
from estimator.outwork import SentLot
from estimator.schedule import BenchPlan, OnBench, wait_word
from estimator.shop import Settings, Shop
from estimator.units import day_at

_OF_ONE_PLAN = re.compile(
    r"(?:(?:order|lot|job-card)-.+|job-card)\.(?:pdf|csv)|(?:lots|parts-waiting)\.csv")
"""Names of papers that not every plan has."""
CARD_COLUMNS = ("job", "item", "start", "end", "assembly", "work", "person", "hours", "waits_for",
                "cautions")
LABEL_COLUMNS = ("job", "item", "assembly", "step", "waits_for", "code")
LAMP_COLUMNS = ("job", "line", "insert_colour", "count", "lamp", "note")
COIL_COLUMNS = ("job", "line", "type", "count", "note")
LOT_COLUMNS = ("service", "leaves", "back", "job", "piece", "count", "quantity", "unit", "note")
WAIT_COLUMNS = ("over", "since", "kind", "what", "job", "holds_up")

# As CSV


def card_csv(plan: BenchPlan, one: OnBench, shop: Shop) -> bytes:
    """A job card as CSV in UTF-8."""
    return csv_file(CARD_COLUMNS, (
        (one.name, row.item, f"{row.step.start:%Y-%m-%dT%H:%M}",
         f"{row.step.end:%Y-%m-%dT%H:%M}", row.assembly, row.work,
         row.step.person, f"{row.hours:.2f}", row.waits_for,
         " ".join(row.cautions)) for row in card_rows(plan, one, shop)))


def _labels_csv(rows: Iterable[Label]) -> bytes:
    """Labels as CSV in UTF-8."""
    return csv_file(LABEL_COLUMNS, (
        (row.job, row.item, row.assembly, row.step, row.waits_for, row.code)
        for row in rows))


def lamps_csv(rows: Iterable[Counted], catalogue: Catalogue) -> bytes:
    """Lamps by colour of the insert, as CSV in UTF-8."""
    colours = catalogue.insert_colours
    return csv_file(LAMP_COLUMNS, (
        (row.job, row.line, row.kind, row.count,
         colours[row.kind].lamp if row.kind else "", row.note) for row in rows))


def _coil_labels_csv(rows: Iterable[Counted]) -> bytes:
    """Coil labels by type, as CSV in UTF-8."""
    return csv_file(COIL_COLUMNS, (
        (row.job, row.line, row.kind, row.count, row.note)
        for row in rows))


def waits_csv(plan: BenchPlan, catalogue: Catalogue) -> bytes:
    """The waiting list by day, as CSV in UTF-8."""
    return csv_file(WAIT_COLUMNS, (
        (f"{step.end:%Y-%m-%dT%H:%M}", f"{since(plan, step):%Y-%m-%dT%H:%M}",
         wait_word(step, catalogue), said_of(plan, step), step.job,
         "; ".join(held))
        for step, held in waits(plan)))


# As PDF


def card_pdf(plan: BenchPlan, one: OnBench, shop: Shop, *, today: date, number: str = "") -> bytes:
    """The card that stays with the machine: work in order, boxes for hours and done, cautions.

    Parameters
    ----------
    number
        Of the job; may be blank.
    """
    rows, settings = card_rows(plan, one, shop), shop.settings
    named = dict.fromkeys(name for row in rows for name in row.cautions)
    hazards = [shop.catalogue.cautions[name] for name in named]
    days: dict[date, list[dict]] = {}
    for row in rows:
        days.setdefault(row.step.start.date(), []).append({
            "item": str(row.item), "title": row.assembly, "work": row.work,
            "person": row.step.person, "time": f"{row.step.start:%H:%M}",
            "hours": hours(row.hours), "waits": row.waits_for,
            "cautions": ", ".join(shop.catalogue.cautions[name].hazard.rstrip(".").lower()
                                  for name in row.cautions)})
    finish, due = plan.finishes[one.name], plan.due.get(one.name)
    dates = [["Ready, if all goes as planned", day(finish.date(), settings)]]
    if due is not None:
        dates.append(["Promised for", day(due, settings)])
    return laid_out("job-card.typ", {
        **paper(f"Job card: {one.name}", number, settings, today),
        "to": [["Job", one.name],
               ["To do", f"{counted(len({row.item for row in rows}), 'work item')}, "
                f"{math.fsum(row.hours for row in rows):.1f} h"]],
        "dates": dates,
        "days": [{"day": weekday(when, settings), "rows": found}
                 for when, found in days.items()],
        "cautions": [{"hazard": row.hazard.rstrip("."), "text": row.text} for row in hazards],
    })


def sheet_named(name: str | None, shop: Shop) -> str:
    """The sheet of labels of that name; None takes the first for the shop's paper.

    Raises
    ------
    BadInput
        If there is none.

    Examples
    --------
    >>> from estimator.shop import open_shop
    >>> sheet_named("a4-24", open_shop())
    'a4-24'
    """
    sheets = shop.catalogue.label_sheets
    if name is None:
        name = next((key for key, row in sheets.items() if row.paper == shop.settings.paper), "")
    if name not in sheets:
        raise BadInput(Fault(f'There is no sheet of labels "{name}".', one_of(name, sheets),
                             column="labels"))
    return name


def labels_pdf(rows: Sequence[Label], shop: Shop, *, today: date, sheet: str | None = None
               ) -> bytes:
    """Labels for bags, to be printed at full size on a sheet of `label_sheets.csv`."""
    size = shop.catalogue.label_sheets[sheet_named(sheet, shop)]
    return laid_out("labels.typ", {
        **paper("Labels for bags", "", shop.settings, today),
        "paper": size.paper, "columns": size.columns, "many": size.rows,
        **{name: getattr(size, f"{name}_mm")
           for name in ("width", "height", "left", "top", "across", "down")},
        "labels": [{"job": row.job, "item": f"item\u00a0{row.item}", "assembly": row.assembly,
                    "step": row.step, "waits": row.waits_for, "code": row.code,
                    "qr": _qr(row.code)} for row in rows],
    })


def _qr(said: str) -> str:
    """A QR code as SVG, with its quiet zone; a seventh of it may be lost (level M).

    ISO/IEC 18004: four modules of white around it.
    """
    import segno

    out = io.BytesIO()
    segno.make(said, error="m", micro=False).save(out, kind="svg", border=4, xmldecl=False)
    return out.getvalue().decode()


def lamps_pdf(rows: Iterable[Counted], shop: Shop, *, today: date) -> bytes:
    """The lamp list: how many behind which colour of insert, and which lamp goes there."""
    colours = shop.catalogue.insert_colours
    return _list("Lamp list", shop.settings, today, ("Insert", "Lamp behind it"), rows, [
        [colours[row.kind].name if row.kind else "Colour not said yet",
         "\n".join(filter(None, (colours[row.kind].lamp if row.kind else
                                 "look at it before lamps are ordered", row.note)))]
        for row in rows], "lamp",
        'The survey\'s note says the colours, such as "12 red, 6 amber".')


def coil_labels_pdf(rows: Iterable[Counted], shop: Shop, *, today: date) -> bytes:
    """The list of coil labels by type and count."""
    return _list("Coil labels", shop.settings, today, ("Type", ""), rows, [
        [row.kind or "Type not said yet",
         "\n".join(filter(None, ("" if row.kind else
                                 "read it off the wrapper before the old label comes off",
                                 row.note)))]
        for row in rows], "label",
        'The survey\'s note says the types, such as "3 flipper, 4 pop bumper".')


def _list(title: str, settings: Settings, today: date, heads: Sequence[str],
          rows: Iterable[Counted], cells: Sequence[Sequence[str]], noun: str, note: str) -> bytes:
    sections: dict[str, list] = {}
    total = 0
    for row, said in zip(rows, cells, strict=True):
        total += row.count
        sections.setdefault(row.job, []).append([*said, f"{row.count:,}"])
    return _listed(title, settings, today, [
        {"name": job, "rows": found} for job, found in sections.items()],
        [*heads, "Count"], (False, False, True), f"{counted(total, noun)} in all. {note}")


def waits_pdf(plan: BenchPlan, shop: Shop, *, today: date, ordering: Ordering | None = None
              ) -> bytes:
    """The waiting list by the day that each wait is over, then parts by the day they come.

    Parameters
    ----------
    ordering
        Parts that are to be ordered, days counted from the plan's first; None lists none.
    """
    rows, last = [], None
    several = len(plan.finishes) > 1
    for step, held in waits(plan):
        over = weekday(step.end.date(), shop.settings, short=True)
        holds = "; ".join(held[:2]) + (f"; and {len(held) - 2} more" if len(held) > 2 else "")
        what, began = said_of(plan, step), since(plan, step)
        rows.append(["" if over == last else over,
                     f"{step.job}: {what}" if several else what,
                     wait_word(step, shop.catalogue), this_year(began, shop.settings),
                     holds or "nothing after it"])
        last = over
    sections = [{"name": "By the day that the wait is over", "rows": rows}] if rows else []
    if ordering is not None and ordering.waiting:
        sections.append({
            "name": "Parts by the day they come", "rows": _parts_rows(ordering, plan.start, shop),
            "heads": ["Comes", "Part", "Pieces", "Needed", "From"]})
    return _listed("Waiting list", shop.settings, today, sections,
                   ["Over", "What", "Kind", "Since", "Holds up"], (False,) * 5,
                   "Days are those of the plan; parcels and lots come earlier or later.",
                   ("9em", "1.2fr", "4.2em", "3.6em", "1fr"), 2)


def _parts_rows(ordering: Ordering, first: date, shop: Shop) -> list[list[str]]:
    parts, suppliers, rows, last = shop.catalogue.parts, shop.catalogue.suppliers, [], None
    for row in ordering.waiting:
        comes = "cannot be had"
        if row.expected is not None:
            comes = weekday(day_at(first, row.expected), shop.settings, short=True)
        needed = "" if row.needed is None else this_year(day_at(first, row.needed), shop.settings)
        rows.append(["" if comes == last else comes,
                     parts[row.part].name if row.part in parts else row.part, f"{row.units:,}",
                     needed,
                     (suppliers[row.supplier].name if row.supplier in suppliers
                      else "nobody offers it") + (f", {counted(round(row.late), 'day')} late"
                                                  if row.late >= 1 else "")])
        last = comes
    return rows


def lots_csv(lots: Sequence[SentLot], catalogue: Catalogue, today: date) -> bytes:
    """Lots that go out, piece by piece, as CSV in UTF-8; days count from `today`."""
    return csv_file(LOT_COLUMNS, (
        (lot.service, day_at(today, lot.leaves), day_at(today, lot.expected), piece.job, piece.name,
         piece.count, f"{piece.quantity:g}", catalogue.services[lot.service].unit,
         piece.note) for lot in lots for piece in lot.pieces))


def _listed(title: str, settings: Settings, today: date, sections: Sequence[dict],
            heads: Sequence[str], right: Sequence[bool], note: str,
            widths: Sequence[str] = ("1fr", "1fr", "auto"), plain: int = 1) -> bytes:
    return laid_out("list.typ", {
        **paper(title, day(today, settings), settings, today), "name": title,
        "heads": list(heads), "right": list(right), "sections": list(sections),
        "widths": list(widths), "plain": plain,
        "note": note if sections else "There is nothing on this list."})


# All of them


def papers(plan: BenchPlan, jobs: Sequence[OnBench], shop: Shop, *,
           numbers: Mapping[str, str] | None = None, ordering: Ordering | None = None,
           lots: Sequence[SentLot] = (), sheet: str | None = None) -> dict[str, bytes]:
    """Every paper of a plan by file name, as PDF and CSV.

    Parameters
    ----------
    numbers
        Numbers of jobs by name.
    ordering, lots
        What is ordered and what goes out, days counted from the plan's first.
    sheet
        Row of `label_sheets.csv`; None takes one for the shop's paper.

    Examples
    --------
    >>> from estimator.demo import small_quote
    >>> from estimator.schedule import plan
    >>> from estimator.shop import open_shop
    >>> jobs, shop = [OnBench("Harbour Lights", small_quote().job)], open_shop()
    >>> found = papers(plan(jobs, shop, start=date(2026, 11, 26), seconds=0), jobs, shop)
    >>> sorted(found)[:4], found["job-card.pdf"][:5]
    (['coil-labels.csv', 'coil-labels.pdf', 'job-card.csv', 'job-card.pdf'], b'%PDF-')
    """
    today, catalogue, settings = plan.start, shop.catalogue, shop.settings
    found: dict[str, bytes] = {}
    for one, stem in zip(jobs, _stems(jobs), strict=True):
        found[f"{stem}.pdf"] = card_pdf(plan, one, shop, today=today,
                                        number=(numbers or {}).get(one.name, ""))
        found[f"{stem}.csv"] = card_csv(plan, one, shop)
    bags, lit, coils = labels(plan, jobs, shop, numbers), lamps(jobs, catalogue), coil_labels(jobs)
    found |= {
        "labels.pdf": labels_pdf(bags, shop, today=today, sheet=sheet),
        "labels.csv": _labels_csv(bags),
        "lamps.pdf": lamps_pdf(lit, shop, today=today),
        "lamps.csv": lamps_csv(lit, catalogue),
        "coil-labels.pdf": coil_labels_pdf(coils, shop, today=today),
        "coil-labels.csv": _coil_labels_csv(coils),
        "waiting.pdf": waits_pdf(plan, shop, today=today, ordering=ordering),
        "waiting.csv": waits_csv(plan, catalogue),
    }
    if ordering is not None:
        for dated in ordering.orders:
            name = f"order-{dated.order.supplier}"
            number = f"{today + timedelta(dated.place_on):%Y%m%d}-{dated.order.supplier}"
            found[f"{name}.pdf"] = orders.order_pdf(dated, settings, number=number, today=today)
            found[f"{name}.csv"] = orders.order_csv(dated, settings, today)
        found["parts-waiting.csv"] = orders.waiting_csv(
            ordering, {name: row.name for name, row in catalogue.parts.items()},
            {name: row.name for name, row in catalogue.suppliers.items()}, today)
    if lots:
        found["lots.csv"] = lots_csv(lots, catalogue, today)
    for at, lot in enumerate(lots, 1):
        row = catalogue.services[lot.service]
        found[f"lot-{at}-{lot.service}.pdf"] = orders.lot_pdf(
            lot, settings, number=f"{today:%Y%m%d}-{at}", today=today, unit=row.unit,
            cautions=[catalogue.cautions[name] for name in row.cautions])
    return found


def _stems(jobs: Sequence[OnBench]) -> list[str]:
    """A file name for each job's card, of plain letters."""
    if len(jobs) == 1:
        return ["job-card"]
    found: list[str] = []
    for at, one in enumerate(jobs, 1):
        word = file_stem(one.name, "")
        found.append(f"job-card-{at}-{word}" if word else f"job-card-{at}")
    return found


def left_over(folder: Path | str, made: Collection[str]) -> list[str]:
    """Papers in a folder that are named as ours and are not of those that were `made` now.

    Another plan may need other suppliers and other lots, and an old order must not go out.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     for name in ("order-oakbench-parts.csv", "lot-1-blasting.pdf"):
    ...         Path(folder, name).touch()
    ...     left_over(folder, ["lot-1-blasting.pdf"])
    ['order-oakbench-parts.csv']
    """
    return sorted(path.name for path in Path(folder).iterdir()
                  if _OF_ONE_PLAN.fullmatch(path.name) and path.name not in made)


__all__ = ["left_over", "papers", "sheet_named"]
