"""How the answer of the page "Restore or resell" is shown: words, tables and charts as HTML.

Every word of a person is escaped; the words of the answer are those of `estimator.resale.Words`.
"""

from __future__ import annotations

import html
import itertools
from collections.abc import Callable, Iterable, Sequence

from estimator import plots
from estimator.pages.ranked import Head, Ranked
from estimator.pages.showing import chart, said, table
from estimator.resale import LEAVE, STOPS, Choice, Resale, Words
from estimator.units import in_a_hundred, of_a_hundred

MOST_LINES = 5
"""Choices in the chart of cash: more cannot be told apart."""
MOST_MONTHS = 24

HEADS = (
    Head("Choice"), Head("Work", "up"), Head("Bench hours", "up"), Head("Sale, after fees"),
    Head("Months", "up"), Head("Profit, mean"), Head("9 in 10 make over"), Head("Half make over"),
    Head("1 in 10 make over"), Head("Loss in 100", "up"), Head("Worst tenth, mean"),
    Head("Brings per bench hour"), Head("Worth now"), Head("Return a year, %"),
    Head("Back after months", "up"), Head("Breaks even at", "up"), Head("Bid at most"),
)


def strip(found: Resale) -> str:
    """The answer at a glance."""
    words, best = Words(found), found.choice(found.best)
    bought = found.deal.asking is not None
    other = found.choice(found.next_best)
    rows = [("Best in", "best-in", f"{of_a_hundred(best.best_in)} of 100"),
            ("Worth now", "worth", words.money(best.worth))]
    if best.key != LEAVE:
        rows += [("Profit", "profit", f"{words.money(best.profit)}"),
                 ("8 in 10", "range",
                  f"{words.money(best.profit_p10)} to {words.money(best.profit_p90)}"),
                 ("Loss", "loss", in_a_hundred(best.chance_of_loss))]
    rows.append(("Bid at most" if bought else "Take from", "bid",
                 words.money(found.bid.highest_price) if found.bid.highest_price > 0 else "none"))
    if found.deal.paid is not None:
        rows.append(("Spent already", "spent", f"{words.money(found.deal.paid)}, left out"))
    if other.key != best.key:
        rows.append(("Next best", "next", f"{other.name}, {words.money(found.lead)} less"))
    rows.append(("Trials", "trials", f"{found.deal.trials:,}"))
    listed = "".join(f'<div><dt>{name}</dt><dd><output data-testid="{test}" aria-live="off">'
                     f"{html.escape(value)}</output></dd></div>" for name, test, value in rows)
    advice = html.escape(words.head())
    return (f'<div class="est-strip"><p class="est-price" data-say="{advice}">'
            '<span>What to do</span>'
            f'<output class="est-advice" data-testid="advice" aria-live="off">{advice}</output></p>'
            f"<dl>{listed}</dl></div>")


def answer(found: Resale) -> str:
    """The answer in words, what matters first."""
    words = Words(found)
    parts = [
        ("Why", "why", words.why()),
        ("Highest bid" if found.deal.asking is not None else "Least to take for it now", "bid-said",
         words.bid()),
        ("Stop after teardown", "stop", words.stop()),
        ("Money already spent", "sunk", [words.sunk()]),
        ("What a bench hour brings in", "bench", words.bench()),
        ("A look first", "look", words.look()),
        ("What would change the answer", "turns", words.turns()),
        ("What this does not know", "cautions", [*words.cautions(), *found.notes]),
    ]
    body = "".join(f"<section><h3>{heading}</h3>{said(*sentences, test=test)}</section>"
                   for heading, test, sentences in parts if any(sentences))
    return (f'<p class="est-lead" data-testid="head">{html.escape(words.head())}</p>'
            f'<div class="est-said">{body}</div>')


def rank(into: Ranked, found: Resale) -> None:
    """Lay the choices side by side."""
    bought = found.deal.asking is not None
    words = Words(found)
    with into.hold_sync():
        into.head([*HEADS[:-1], Head("Bid at most" if bought else "Take from")])
        into.show([(one.key, *_row(one, words), one.key == found.best) for one in found.choices])


def _row(one: Choice, words: Words) -> tuple[list[str], list[float | None]]:
    from babel.numbers import format_decimal
    if one.key == LEAVE:
        cells = [one.name, *["–"] * 4, "0", *["–"] * 6, "0", *["–"] * 4]
        return cells, [None, *[None] * 4, 0.0, *[None] * 6, 0.0, *[None] * 4]
    values = [None, one.cost, one.hours, one.sale, one.months, one.profit, one.profit_p10,
              one.profit_p50, one.profit_p90, one.chance_of_loss, one.worst_tenth, one.per_hour,
              one.worth, one.earned.rate, one.payback, one.break_even_price, one.highest_price]
    locale = words.found.settings.locale

    def money(value: float) -> str:
        return format_decimal(round(value) + 0.0, "#,##0", locale=locale)

    def amount(value: float | None) -> str:
        return "–" if value is None else money(value)

    return [one.name, money(one.cost), f"{one.hours:.1f}", money(one.sale), f"{one.months:.1f}",
            *(money(value) for value in values[5:9]), of_a_hundred(one.chance_of_loss),
            money(one.worst_tenth), amount(one.per_hour), money(one.worth),
            words.rate(one).removesuffix(" %"),
            "–" if one.payback is None else f"{one.payback:.1f}",
            amount(one.break_even_price), money(one.highest_price)], values


def under_table(found: Resale) -> str:
    """What the columns mean, and why a return is none."""
    words, deal = Words(found), found.deal
    whys: dict[str, list[str]] = {}
    for one in found.choices:
        if one.earned.rate is None and one.key != LEAVE and one.earned.why:
            whys.setdefault(one.earned.why, []).append(one.name)
    named = [f"No one return for {', '.join(names)}: {why}" for why, names in whys.items()]
    of = "of the money put in" if deal.asking is not None else \
        "of what is put in over selling as found"
    return said(
        f"In {found.settings.currency}, from now on, {deal.trials:,} trials, seed {deal.seed}, the "
        "same market value in all choices. Work and hours at own cost, "
        f"{words.money(found.hour_cost)} an hour. Brings per bench hour: income less "
        "all but own hours; customers' work brings in "
        f"{words.money(found.hour_earns)}. Worth now at {100 * found.capital_rate:g} % a year; "
        f"return a year {of}. Click a heading to put the choices in order.",
        *named, test="table-said")


# --- charts -----------------------------------------------------------------------------------


def _real(found: Resale) -> list[Choice]:
    """Choices that do something, the best first, then by profit."""
    return sorted((one for one in found.choices if one.key != LEAVE),
                  key=lambda one: (one.key != found.best, -one.profit))


def _profits(found: Resale) -> str:
    """The profit of each choice with its range."""
    words, real = Words(found), _real(found)
    ax = plots.profit_ranges([(one.name, one.profit_p10, one.profit_p50, one.profit_p90)
                              for one in real], money=words.money,
                             best=0 if real[0].key == found.best else -1)
    told = "; ".join(f"{one.name}: {words.money(one.profit_p10)} to {words.money(one.profit_p90)}, "
                     f"half over {words.money(one.profit_p50)}" for one in real)
    return chart("profits", "Profit of each choice", ax, f"{told}.",
                 "The mark is where half make more; eight in ten lie within the line. Hatched "
                 "ground is loss.")


def _losses(found: Resale) -> str:
    """The chance that each choice loses money."""
    real = _real(found)
    ax = plots.loss_chances([(one.name, one.chance_of_loss) for one in real])
    told = "; ".join(f"{one.name}: {in_a_hundred(one.chance_of_loss)}" for one in real)
    return chart("losses", "How often each choice loses money", ax, f"{told}.")


def usual_lines(found: Resale) -> list[str]:
    """The choices whose cash is drawn if nobody says which: the best, the next, selling as found.
    """
    keys = [found.best, found.next_best, "as-found", *(one.key for one in _real(found))]
    return list(dict.fromkeys(key for key in keys if key != LEAVE))[:3]


def cash(found: Resale, keys: Iterable[str]) -> str:
    """Expected cash of some choices, summed up month by month."""
    words = Words(found)
    shown = [one for one in _real(found) if one.key in set(keys)][:MOST_LINES]
    if not shown:
        return said("Tick a choice to see its cash over the months.")
    lines = [(one.name, list(itertools.accumulate(one.flows))[:MOST_MONTHS + 1]) for one in shown]
    ax = plots.cash_flow(lines, money=words.money)
    told = "; ".join(f"{name}: now {words.money(row[0])}, lowest {words.money(min(row))}, after "
                     f"{len(row) - 1} months {words.money(row[-1])}" for name, row in lines)
    cut = any(len(one.flows) > MOST_MONTHS + 1 for one in shown)
    return chart("cash", "Expected cash, summed up by month", ax, f"{told}.",
                 f"The first {MOST_MONTHS} months." if cut else "")


def swings(found: Resale, which: int) -> str:
    """What moves the profit of the best choice, or its lead over the next."""
    if which >= len(found.swings):
        return said("There is no other choice that it could be held against.")
    one, words = found.swings[which], Words(found)
    name = found.choice(one.key).name
    title = f"What moves the profit of: {name}" if not one.other else \
        f"What moves the lead of: {name}, over: {found.choice(one.other).name}"
    if not one.rows:
        return said(f"{title}. Nothing that could be told from luck of the draw.")
    ax = plots.tornado([(row.what, row.low, row.high) for row in one.rows], one.middle,
                       money=words.money, of="Profit" if not one.other else "Lead in profit",
                       more_is_good=True)
    told = "; ".join(f"{row.what}: {words.money(row.low)} where it is low, "
                     f"{words.money(row.high)} where it is high" for row in one.rows)
    return chart("swings", title, ax, f"{told}.",
                 "Means over the fifth of the trials where each is least, and where it is most.")


def _effort(found: Resale) -> str:
    """What is gained over selling as found against bench hours, with the best sets of lines."""
    words, base = Words(found), found.choice("as-found")
    real = _real(found)
    sets = [] if found.paying is None else [
        (one.hours, one.profit) for one in found.paying.frontier]
    gains = [one.profit - base.profit for one in real]
    near = plots.near([*gains, *(gain for _, gain in sets)])
    ax = plots.effort([(one.name, one.hours, gain) for one, gain, shown
                       in zip(real, gains, near, strict=False) if shown], sets,
                      elsewhere=found.hour_earns - found.hour_cost, money=words.money)
    told = "; ".join(f"{one.name}: {one.hours:.0f} h, {words.money(one.profit - base.profit)}"
                     for one in real)
    far = "; ".join(f"{one.name} {words.money(gain)} in {one.hours:.0f} h" for one, gain, shown
                    in zip(real, gains, near, strict=False) if not shown)
    best = "; ".join(f"{hours:.0f} h, {words.money(gain)}" for hours, gain in sets)
    return chart("effort", "Gain over selling as found, against bench hours", ax,
                 f"{told}. Best sets of lines: {best or 'none'}.",
                 "Sets of lines are of the job under What pays: what they add to the sale less "
                 "what they cost." + (f" Far lower, and not drawn: {far}." if far else ""))


def _stop(found: Resale) -> str:
    """What going on and stopping are worth, against what the finds cost."""
    down, words = found.teardown, Words(found)
    if down is None:
        return said("No choice takes the machine apart.")
    rule = down.rule
    # The way that is aimed at, and the best of those that stop; then what the rule names.
    stops = sorted((way for way in rule.lines if way in STOPS), key=lambda way: -rule.lines[way][0])
    wanted = list(dict.fromkeys([down.key, *rule.ways, *stops]))[:4]

    def name(way: str) -> str:
        return {"sell-in-pieces": "Stop: sell it in pieces", "part-out": "Stop: part it out",
                "put-back": "Stop: put it back"}.get(way) or f"Go on: {found.choice(way).name}"

    limit = down.stop_over
    finds = (down.finds_p50, down.finds_p90, down.finds_most)
    ax = plots.stop_rule([(name(way), *rule.lines[way], way in STOPS) for way in wanted],
                         limit or None, finds, money=words.money)
    told = "; ".join(f"{name(way)}: {words.money(rule.lines[way][0])} without finds, "
                     f"{rule.lines[way][1]:+.2f} with each unit of them" for way in wanted)
    caption = " ".join(words.stop())
    return chart("stop", "Worth of going on and of stopping, once the finds are seen", ax,
                 f"{told}.", caption)


# --- what pays --------------------------------------------------------------------------------


def pays(found: Resale) -> str:
    """The lines of the job with what they add and cost, and the best set."""
    paying, words = found.paying, Words(found)
    if paying is None:
        return said("No choice has work whose lines could be chosen.")
    if not paying.known:
        return said(*words.pays(), test="pays-said")
    kept, money = set(paying.chosen.lines), words.money
    rows = [[f"{row.line + 1} {row.title}", money(row.gain), money(row.cost), f"{row.hours:.1f}",
             money(row.gain - row.cost), _taken(row.line in kept, row.optional)]
            for row in paying.lines]
    proof = "Proven: no set within the limits gains more." if paying.chosen.proven else \
        "Not proven: the search ran out of time, and another set may gain more."
    deal = found.deal
    limits = [f"cost {money(deal.budget)}" if deal.budget is not None else "",
              f"{deal.hours:g} bench hours" if deal.hours is not None else "",
              f"ready by {deal.ready_by.isoformat()}" if deal.ready_by is not None else ""]
    bound = ", ".join(filter(None, limits))
    short = f"Even the best set costs {money(-paying.chosen.profit)} more than it adds, for some " \
        "lines cannot be left out: the job does not pay by its price." \
        if paying.chosen.profit < 0 else ""

    def total(name: str, one) -> list[str]:
        return [name, money(one.gain), money(one.cost), f"{one.hours:.1f}", money(one.profit)]

    listed = table("pays", "What pays", ("Line", ">Adds to the sale", ">Costs", ">Bench hours",
                                         ">Over its cost", "In the best set"), rows)
    sums = table("sets", "Sets of lines", ("Set", ">Adds to the sale", ">Costs", ">Bench hours",
                                           ">Over its cost"),
                 [total("The best set", paying.chosen), total("The whole job", paying.whole)])
    return (said(*words.pays(), short, f"Limits: {bound or 'none'}. {proof}", test="pays-said")
            + sums + listed)


def _taken(kept: bool, optional: bool) -> str:
    return ("yes" if optional else "yes, cannot be left out") if kept else "no"


STEPS: Sequence[tuple[str, Callable[[Resale], str]]] = (
    ("profits", _profits), ("losses", _losses), ("stop", _stop), ("effort", _effort))
"""Charts that need nothing but the answer."""
