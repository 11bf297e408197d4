"""How a review is shown: figures, tables and charts as HTML. Every word of a person is escaped."""

from __future__ import annotations

import html
import math
from collections.abc import Iterable, Mapping, Sequence

from estimator import plots
from estimator.catalogue import Catalogue
from estimator.documents.wording import money, whole
from estimator.pages.entering import plain_words
from estimator.review import CostLine, Group
from estimator.shop import Settings
from estimator.variances import Review

MOST = 10
"""Rows of a chart; the table beside it has more."""
MOST_ROWS = 200
"""Rows of a table: more are read by nobody, and hold up the page."""
LATEST = 200
"""Jobs of which each is a mark in a chart: the last of them, where a shop has more."""


def figures(rows: Iterable[tuple[str, str, str, str]]) -> str:
    """Figures that are seen first: test name, what it is, how it reads, and a word to it."""
    return '<dl class="est-figures">' + "".join(
        f'<div><dt>{html.escape(name)}</dt><dd><output data-testid="{test}" aria-live="off">'
        f"{html.escape(value)}</output><small>{html.escape(note)}</small></dd></div>"
        for test, name, value, note in rows) + "</dl>"


def table(test: str, title: str, heads: Sequence[str], rows: Iterable[Sequence[str]], *,
          total: Sequence[str] | None = None, once: bool = False) -> str:
    """A table; a head that begins with ">" has its figures to the right.

    Of more than `MOST_ROWS` rows the first are shown, and how many there are. `once`: a row's first
    word that stands in the row above already is not seen again, but heard.
    """
    rows = list(rows)
    right = [head.startswith(">") for head in heads]

    def cells(row: Sequence[str], above: Sequence[str] | None = None) -> str:
        said = [html.escape(cell) for cell in row]
        if once and above and row[0] == above[0]:
            said[0] = f'<span class="est-unseen">{said[0]}</span>'
        return "".join(
            f'<{tag} {scope}class="{"n" if side else ""}">{cell}</{tag}>'
            for place, (cell, side) in enumerate(zip(said, right, strict=True))
            for tag, scope in (("th", 'scope="row" ') if place == 0 else ("td", ""),))

    head = "".join(f'<th scope="col" class="{"n" if side else ""}">'
                   f"{html.escape(said.removeprefix('>'))}</th>"
                   for said, side in zip(heads, right, strict=True))
    body = "".join(f"<tr>{cells(row, above)}</tr>"
                   for row, above in zip(rows[:MOST_ROWS], [None, *rows], strict=False))
    more = f"<p>The first {MOST_ROWS} of {len(rows)} rows.</p>" if len(rows) > MOST_ROWS else ""
    if total is not None:
        body += f'<tr class="est-total">{cells(total)}</tr>'
    return (f'<div class="est-scroll est-tall" tabindex="0" role="region" '
            f'aria-label="{html.escape(title)}"><table class="est-read" data-testid="{test}">'
            f"<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>{more}")


def chart(name: str, title: str, ax, words: str, caption: str = "") -> str:
    """A chart with its title, what it says in words, and a caption if there is one."""
    below = f"<figcaption>{html.escape(caption)}</figcaption>" if caption else ""
    return (f'<figure data-testid="chart-{name}"><h3>{html.escape(title)}</h3>'
            f"{plots.svg(ax, words)}{below}</figure>")


def said(*sentences: str, test: str = "") -> str:
    """Sentences, each as a paragraph."""
    mark = f' data-testid="{test}"' if test else ""
    return f"<div{mark}>" + "".join(f"<p>{html.escape(one)}</p>" for one in sentences if one) \
        + "</div>"


def notes(found: Sequence[str]) -> str:
    """What to know before the figures are used; folded where it is much."""
    if not found:
        return ""
    listed = "".join(f"<li>{html.escape(plain_words(one))}</li>" for one in found)
    opened = " open" if len(found) <= 5 else ""
    return (f'<details{opened}><summary>What to know before these figures are used '
            f"({len(found)})</summary><ul>{listed}</ul></details>")


def named(by: str, name: str, catalogue: Catalogue) -> str:
    """What a group of work items is called on the page."""
    if by == "operation":
        return next((row.name for (key, _), row in catalogue.operations.items() if key == name),
                    name)
    if by == "assembly":
        row = catalogue.assemblies.get(name)
        return row.name if row else name
    if by == "level":
        return next((row.name for level, row in catalogue.levels.items() if level == name), name)
    return name


def differing(groups: Iterable[Group]) -> list[Group]:
    """Groups that hours are booked to, those first whose hours differ most.

    Examples
    --------
    >>> found = [Group("operation", name, 1, 1, 1, 2.0, 2.0, hours)
    ...          for name, hours in (("a", 2.5), ("b", 0.5), ("c", 2.1))]
    >>> [one.name for one in differing(found)]
    ['b', 'a', 'c']
    """
    return sorted((one for one in groups if one.worked),
                  key=lambda one: (-abs(one.booked - one.expected_worked), one.name))


def hours_table(by: str, groups: Sequence[Group], catalogue: Catalogue) -> str:
    """Hours by what work items have in common, what differs most first."""
    rows = []
    for one in groups:
        more = one.booked - one.expected_worked
        rows.append([named(by, one.name, catalogue), f"{one.worked} of {one.items}",
                     f"{one.expected_worked:.2f}", f"{one.booked:.2f}", f"{more:+.2f}",
                     "–" if one.ratio is None else f"{one.ratio:.2f} ×"])
    total = (math.fsum(one.expected_worked for one in groups),
             math.fsum(one.booked for one in groups))
    return table(f"hours-{by}", f"Hours by {by}",
                 (by.capitalize(), ">Items worked on", ">Expected h", ">Booked h", ">Difference h",
                  ">Booked / expected"), rows,
                 total=["Together", "", f"{total[0]:.2f}", f"{total[1]:.2f}",
                        f"{total[1] - total[0]:+.2f}",
                        f"{total[1] / total[0]:.2f} ×" if total[0] else "–"])


def hours_chart(by: str, groups: Sequence[Group], catalogue: Catalogue) -> str:
    """The groups that differ most, expected against booked."""
    rows = [(named(by, one.name, catalogue), one.expected_worked, one.booked)
            for one in groups[:MOST]]
    if not rows:
        return ""
    words = "; ".join(f"{name}: expected {expected:.1f} h, booked {booked:.1f} h"
                      for name, expected, booked in rows)
    return chart("hours", f"Hours that differ most, by {by}",
                 plots.hours_against(rows, most=MOST), f"{words}.")


def reasons(variances: Review, settings: Settings, caption: str = "") -> str:
    """Why the cost differs from what was quoted, reason by reason, as a chart."""
    steps = [(f"{one.kind} {one.cause}".capitalize(), float(one.amount)) for one in variances.parts
             if abs(one.amount) >= 0.5]
    rest = float(variances.total) - math.fsum(amount for _, amount in steps)
    if abs(rest) >= 0.5 or (rest and not steps):
        steps.append(("All others", rest))
    elif rest:
        # Less than a unit of money is no reason of its own.
        place = max(range(len(steps)), key=lambda at: abs(steps[at][1]))
        steps[place] = steps[place][0], steps[place][1] + rest
    quoted, actual = float(variances.quoted), float(variances.actual)
    words = "; ".join(f"{name} {money(amount, settings)}" for name, amount in steps)
    return chart("reasons", "Why the cost is another than quoted",
                 plots.bridge(quoted, steps, actual,
                              money=lambda amount: whole(amount, settings)),
                 f"Quoted {money(quoted, settings)}; {words}; actual {money(actual, settings)}.",
                 caption)


def costs_table(costs: Sequence[CostLine], variances: Review, settings: Settings) -> str:
    """Costs by kind, quoted and actual."""
    return table("costs", "Costs", ("Cost", ">Quoted", ">Actual", ">Difference"),
                 [[one.kind.capitalize(), money(one.quoted, settings), money(one.actual, settings),
                   signed(one.actual - one.quoted, settings)] for one in costs],
                 total=["Together", money(float(variances.quoted), settings),
                        money(float(variances.actual), settings),
                        signed(float(variances.total), settings)])


def signed(amount: float, settings: Settings) -> str:
    """An amount with its sign, also where it is over 0."""
    return ("+" if round(amount, 2) > 0 else "") + money(amount, settings)


def percent(share: float | None) -> str:
    """A share in whole per cent; a dash where there is none."""
    return "–" if share is None else f"{100 * share:.0f}\u00a0%"


def index(value: float | None) -> str:
    """An index with two decimals; a dash where it cannot be said."""
    return "–" if value is None else f"{value:.2f}"


def bars(hours: Mapping[str, float], catalogue: Catalogue) -> str:
    """Unbilled hours by kind, as a chart."""
    rows = [(catalogue.unbilled[kind].name if kind in catalogue.unbilled else kind, value)
            for kind, value in hours.items()]
    words = "; ".join(f"{name} {value:.1f} h" for name, value in rows)
    return chart("unbilled", "Time without a work item", plots.hours_by(rows, most=16),
                 f"{words}.")
