"""What the page "Quote a machine" says about a quote: figures, tables and lists as HTML.

Every word that a person typed is escaped. Figures that follow an edit stand in named `output`
elements.
"""

from __future__ import annotations

import html
import math
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from decimal import Decimal

from estimator.catalogue import Catalogue
from estimator.documents.wording import counted, money, percent, weeks
from estimator.pages.desk import Desk
from estimator.quote import TIME, LevelPrice, Quote
from estimator.shop import Settings
from estimator.units import in_a_hundred

MOST_PARTS = 15
OPENS: Mapping[str, tuple[str, str]] = {
    "price": ("price", "Price before tax"),
    "total": ("total", "Price with tax"),
    "hours-p50": ("hours_p50", "Hours, as often as not"),
    "hours-p80": ("hours_p80", "Hours, 4 jobs in 5"),
    "hours-p90": ("hours_p90", "Hours, 9 jobs in 10"),
    "ready": ("finish_p80", "Ready by"),
    "loss": ("chance_of_loss", "Loss"),
    "margin": ("margin_mean", "Left over"),
    "finds": ("find_allowance", "For finds"),
    "cap": ("cap", "Cap"),
    "cover": ("cover", "Cover"),
    "parts-total": ("parts_budget", "Parts and freight"),
}
"""Key of the figure that a named output opens (`estimator.trace.figures`), and what it is."""


def breakdown(offer: Quote) -> dict[str, float]:
    """What the price before tax is made of, from the shop's side; the amounts add up to it.

    Expected cost by kind, expected finds, what a fixed price holds for the risk (negative where
    it is offered under expected cost and margin), the warranty reserve and the margin. [money]
    """
    job, price = offer.job, float(offer.price)
    kinds = {kind: math.fsum(line.kinds[kind] for line in job.lines)
             for kind in ("labour", "parts", "materials", "outwork")}
    found = {"Labour": kinds["labour"], "Parts": kinds["parts"], "Materials": kinds["materials"],
             "Outwork": kinds["outwork"], "Finds": job.find_cost}
    reserve = offer.settings.warranty_share * price
    left = price - math.fsum(found.values()) - reserve
    if offer.choices.pricing == TIME:
        return {**found, "Warranty": reserve, "Margin": left}
    earned = offer.margin * price
    return {**found, "Cover": left - earned, "Warranty": reserve, "Margin": earned}


def strip(offer: Quote) -> str:
    """The figures that follow every edit."""
    said = offer.settings
    p50, p80, p90 = offer.odds.at("hours", 0.5, 0.8, 0.9)
    left = float(offer.margins().mean()) if offer.price else 0.0
    timed = offer.choices.pricing == TIME
    rows = [
        ("With tax", [("total", money(offer.total, said), "")]),
        ("Hours", [("hours-p50", f"{p50:.0f} h", "as often as not"),
                   ("hours-p80", f"{p80:.0f} h", "4 jobs in 5"),
                   ("hours-p90", f"{p90:.0f} h", "9 jobs in 10")]),
        ("Ready by", [("ready", _short_day(offer), "4 jobs in 5")]),
        ("Loss", [("loss", in_a_hundred(offer.chance_of_loss), "of jobs like this")]),
        ("Left over", [("margin", f"{100 * left:.0f} %", "of the price")]),
        ("For finds", [("finds", money(offer.find_allowance, said), "in the price")]),
        ("Cap", [("cap", money(offer.cap, said), "without asking")]) if timed else
        ("Cover", [("cover", money(offer.cover, said), "for the risk")]),
    ]
    listed = "".join(
        f'<div{" class=est-hours" if len(values) > 1 else ""}><dt>{name}</dt><dd>'
        + "".join(f"<span>{output(test, value)} <small>{html.escape(note)}</small></span>"
                  for test, value, note in values) + "</dd></div>"
        for name, values in rows)
    what = "Expected bill before tax" if timed else "Price before tax"
    aloud = f"{what} {money(offer.price, said)}, with tax {money(offer.total, said)}."
    return (f'<div class="est-strip"><p class="est-price" data-say="{html.escape(aloud)}">'
            f'<span>{what}</span>{output("price", money(offer.price, said))}'
            "<small>Click a figure to see where it comes from</small></p>"
            f"<dl>{listed}</dl></div>")


def _short_day(offer: Quote) -> str:
    """When it is ready in four jobs of five, as the shop's locale writes a date."""
    return day(offer.finish_p80, offer.settings)


def day(when: date, settings: Settings) -> str:
    """A day as the shop's locale writes it, in short."""
    from babel.dates import format_date
    return format_date(when, "medium", locale=settings.locale)


def output(test: str, value: str) -> str:
    """A named figure; one of `OPENS` can be opened. It is silent: `data-say` speaks for all."""
    said = opening(*OPENS[test], value) if test in OPENS else html.escape(value)
    return f'<output data-testid="{test}" aria-live="off">{said}</output>'


def opening(key: str, name: str, value: str, of: str = "") -> str:
    """A figure that opens where it is clicked: its key, what it is, how it reads.

    `of` is the service level to whose quote it belongs; blank is the page's own.
    """
    said = html.escape(value)
    return (f'<button type="button" class="est-opens" data-figure="{html.escape(key)}" '
            f'data-of="{of}" aria-haspopup="dialog" title="Where this comes from" '
            f'aria-label="{html.escape(name)}, {said}: where this comes from">{said}</button>')


def gaps(desk: Desk, catalogue: Catalogue, most: int = 6) -> str:
    """What is still to be filled in before there is a price; blank where nothing is."""
    survey = desk.survey()
    wanted = []
    if survey.machine.era is None:
        wanted.append("the era of the machine")
    if not survey.lines:
        wanted.append("a line in the survey: start from a template, or add one")
    for index, column in survey.gaps:
        name = catalogue.assemblies[survey.lines[index].assembly].name
        wanted.append(f"{column} of row {index + 1}, {name}")
    if not wanted:
        return ""
    more = f"<li>… and {len(wanted) - most} more</li>" if len(wanted) > most else ""
    listed = "".join(f"<li>{html.escape(said)}</li>" for said in wanted[:most])
    return ('<div class="est-gaps" data-say data-testid="gaps"><p>Still to fill in before '
            f"there is a price:</p><ul>{listed}{more}</ul></div>")


def line_prices(offer: Quote, desk: Desk) -> dict[int, str]:
    """What each line of the survey costs, by id; for one left out, what it would add."""
    by_line = {line.line: money(line.price, offer.settings)
               for line in offer.lines if line.line is not None and line.price}
    by_line |= {one.line: f"+{money(one.price, offer.settings)}"
                for one in offer.offered if one.kind == "left out"}
    return {key: by_line.get(index, "–") for key, index in desk.numbered().items()}


def line_keys(offer: Quote, desk: Desk) -> dict[int, str]:
    """The figure that the price of each priced line opens, by the line's id."""
    keys = {line.line: line.key for line in offer.lines if line.line is not None and line.price}
    return {key: keys[index] for key, index in desk.numbered().items() if index in keys}


def extra_keys(offer: Quote, desk: Desk) -> dict[str, str]:
    """The figure that the price of each extra taken opens, by assembly."""
    first = len(desk.entries)
    return {desk.extras[line.line - first]: line.key for line in offer.lines
            if line.line is not None and line.line >= first}


def extra_prices(offer: Quote, desk: Desk) -> dict[str, Decimal]:
    """What each extra costs, taken or not, by assembly."""
    prices = {one.assembly: one.price for one in offer.offered if one.kind == "extra"}
    first = len(desk.entries)
    for line in offer.lines:
        if line.line is not None and line.line >= first:
            prices[desk.extras[line.line - first]] = line.price
    return prices


def levels(found: Iterable[LevelPrice], offer: Quote) -> str:
    """The service levels side by side."""
    rows = []
    for one in found:
        mark = ' class="est-chosen"' if one.chosen else ""
        name = html.escape(one.name) + (" <small>(chosen)</small>" if one.chosen else "")
        cells = [("price", "Price before tax", money(one.price, offer.settings)),
                 ("hours_p50", "Hours, as often as not", f"{one.hours_p50:.0f} h"),
                 ("hours_p80", "Hours, 4 in 5", f"{one.hours_p80:.0f} h"),
                 ("days_p80", "Ready in", weeks(one.days_p80))]
        rows.append([mark, name, html.escape(one.promise),
                     *(opening(key, f"{said}, {one.name}", value, of=one.level)
                       for key, said, value in cells)])
    body = "".join(
        f'<tr{mark}><th scope="row">{name}</th><td>{promise}</td>'
        + "".join(f'<td class="n">{cell}</td>' for cell in cells) + "</tr>"
        for mark, name, promise, *cells in rows)
    return _table(["Level", "What the customer gets", "Price before tax", "Hours, as often as not",
                   "Hours, 4 in 5", "Ready in"], body, "levels", numbers_from=2)


def parts(offer: Quote, catalogue: Catalogue) -> str:
    """What to buy: the dearest parts, the rest as one row, and an order for each supplier."""
    budget, said = offer.budget, offer.settings
    if not budget.rows:
        return "<p>No parts to buy.</p>"
    names = {name: row.name for name, row in catalogue.suppliers.items()}
    dearest = sorted(budget.rows, key=lambda row: -row.cost)
    body = "".join(_cells(
        [catalogue.parts[row.part].name, names.get(row.supplier, "nobody offers it")],
        [f"{row.needed}", f"{row.bought}", money(row.unit_price, said)],
        (f"buy.{row.part}", catalogue.parts[row.part].name, money(row.cost, said)))
        for row in dearest[:MOST_PARTS])
    rest = dearest[MOST_PARTS:]
    if rest:
        body += _cells([f"{counted(len(rest), 'more part')}, in parts-budget.csv", ""],
                       ["", "", "", money(math.fsum(row.cost for row in rest), said)])
    orders = "".join(_cells(
        [names[order.supplier]],
        [money(order.goods, said), money(order.freight, said),
         money(order.top_up, said) if order.top_up else "–", f"{order.days:g} days"],
        (f"parts_budget.{order.supplier}", f"Order from {names[order.supplier]}",
         money(order.total, said))) for order in budget.orders)
    total = (f'<tr class="est-total"><th scope="row" colspan="5">Parts and freight</th>'
             f'<td class="n">{output("parts-total", money(budget.total, said))}</td></tr>')
    return (_table(["Part", "From", "Needed", "To buy", "Each", "Cost"], body, "parts", 2)
            + "<h3>Orders</h3>"
            + _table(["Supplier", "Goods", "Freight", "To the least order", "Usual delivery",
                      "Order"], orders + total, "orders", 1))


def terms(offer: Quote) -> str:
    """What is in, what is out, what is assumed, and what to heed."""
    lists = [("Included", offer.included), ("Not included", offer.excluded),
             ("Assumed", offer.assumed),
             ("To heed at the bench", [row.text for row in offer.cautions])]
    return '<div class="est-terms">' + "".join(
        f"<section{' class=est-wide' if name.startswith('To heed') else ''}><h3>{name}</h3><ul>"
        + "".join(f"<li>{html.escape(said)}</li>" for said in found) + "</ul></section>"
        for name, found in lists if found) + "</div>"


def firmness(offer: Quote) -> str:
    """How far the price rests on what was really seen, as HTML."""
    firm = opening("estimate_class", "Estimate class", str(offer.estimate_class))
    seen = opening("seen_share", "Share of the cost that was seen",
                   percent(round(offer.seen_share, 2), offer.settings))
    rate = opening("hourly_rate", "Hourly rate", money(offer.rate, offer.settings))
    return (f"Estimate class {firm} of 5 (1 is firmest): {seen} of the cost was really seen. "
            f"Hourly rate {rate}.")


def margin_words(offer: Quote) -> str:
    """The margin chart in words."""
    left = 100 * float(offer.margins().mean())
    return (f"Spread of the margin over {offer.odds.trials:,} trials: on average {left:.0f} % of "
            f"the price is left over; {in_a_hundred(offer.chance_of_loss)} lose money.")


def hours_words(offer: Quote) -> str:
    """The chart of hours in words."""
    p50, p80, p90 = offer.odds.at("hours", 0.5, 0.8, 0.9)
    return (f"Hours at the bench: {p50:.0f} as often as not, {p80:.0f} in 4 jobs of 5, "
            f"{p90:.0f} in 9 jobs of 10.")


def breakdown_words(amounts: Mapping[str, float], offer: Quote) -> str:
    """The chart of what the price is made of in words."""
    said = ", ".join(f"{name} {money(amount, offer.settings)}" for name, amount in amounts.items())
    return f"What the price is made of: {said}."


def _cells(words: Sequence[str], figures: Sequence[str],
           opens: tuple[str, str, str] | None = None) -> str:
    """A row of a table; its last figure may be one that opens: key, what it is, how it reads."""
    first, *others = [html.escape(word) for word in words]
    cells = [html.escape(said) for said in figures] + ([opening(*opens)] if opens else [])
    return (f'<tr><th scope="row">{first}</th>' + "".join(f"<td>{word}</td>" for word in others)
            + "".join(f'<td class="n">{cell}</td>' for cell in cells) + "</tr>")


def _table(heads: Sequence[str], body: str, test: str, numbers_from: int) -> str:
    head = "".join(f'<th scope="col"{" class=n" if at >= numbers_from else ""}>{name}</th>'
                   for at, name in enumerate(heads))
    return (f'<div class="est-scroll" tabindex="0" role="region" aria-label="{heads[0]}s">'
            f'<table class="est-read" data-testid="{test}"><thead><tr>{head}</tr></thead>'
            f"<tbody>{body}</tbody></table></div>")
