"""What the odds say in words: what drives the price, what to look at first, what a loss costs."""

from __future__ import annotations

import html

from estimator.documents.wording import whole
from estimator.quote import TIME, Quote
from estimator.review import ByRecords
from estimator.simulate import Sight
from estimator.units import in_a_hundred

MOST_SAID = 3
LOSSES = ((0.05, "1 job in 20"), (0.1, "1 job in 10"), (0.2, "1 job in 5"))


def drivers(offer: Quote) -> str:
    """What drives the price, in a sentence or two, as HTML."""
    found = [driver for driver in offer.drivers if driver.total >= 0.01]
    if not found:
        return "<p>Nothing in this job varies: its cost is sure.</p>"
    lines = [driver for driver in found if driver.line is not None]
    ranked = sorted(found, key=lambda driver: -driver.total)[:MOST_SAID]
    said = "; ".join(f"<b>{html.escape(d.name)}</b> ({_share(d.total)} of the spread)"
                     for d in ranked)
    words = f"<p>What moves the cost of this job most: {said}."
    if lines:
        most = max(lines, key=lambda driver: driver.high - driver.low)
        low, high = _prices(offer, most.low), _prices(offer, most.high)
        words += (f" Of the single lines, <b>{html.escape(most.name)}</b> weighs most: going well "
                  f"or going badly, it alone moves the price from {low} to {high}.")
    return words + "</p>"


def sights(offer: Quote) -> str:
    """Which lines to look at before quoting, as HTML; and how long a look may take to pay."""
    found = worth_a_look(offer)[:MOST_SAID]
    unseen = [line for line in offer.job.scope.lines if line.certainty and line.certainty != "seen"]
    if not found:
        why = ("none of the lines that were not seen moves the price enough to be worth a minute"
               if unseen else "every line was seen")
        return f'<p data-testid="look-first">Nothing to look at first: {why}.</p>'
    rows = "".join(
        f"<li><b>{html.escape(offer.titles[sight.line])}</b>: worse than written, or with a find, "
        f"in {in_a_hundred(sight.chance)} machines. Seen and sound, the price would be "
        f"{_prices(offer, sight.fine)}, else {_prices(offer, sight.worse)}; a look that takes "
        f"less than {_said_minutes(_minutes(offer, sight))} pays.</li>" for sight in found)
    return (f'<div data-testid="look-first"><p>Look at these before you quote:</p>'
            f"<ol>{rows}</ol></div>")


def worth_a_look(offer: Quote) -> list[Sight]:
    """The lines where a look of a minute or more pays, the most valuable first; at most five."""
    return [sight for sight in offer.sights if _minutes(offer, sight) >= 1][:5]


def losses(offer: Quote) -> str:
    """How sure the figures are, and what price loses how often, as HTML."""
    said = offer.settings
    low, high = offer.odds.sure_of("cost", offer.confidence)
    words = (f'<p data-testid="sure">{100 * offer.confidence:.0f} in 100 jobs cost '
             f"{whole(offer.odds.at('cost', offer.confidence)[0], said)} or less; from "
             f"{offer.odds.trials:,} trials that is known to within "
             f"{whole((high - low) / 2, said)}.")
    if offer.choices.pricing != TIME:
        listed = ", ".join(f"{whole(offer.price_for_loss(loss), said)} for {name}"
                           for loss, name in LOSSES)
        words += f" Lowest price before tax if no more than so many are to lose money: {listed}."
    return words + "</p>"


def own_hours(found: ByRecords | None) -> str:
    """What the shop's own closed jobs say of the hours, as HTML; blank while they are too few."""
    if found is None:
        return ""
    p50, p80, _ = (f"{hours:.0f} h" if hours >= 10 else f"{hours:.1f} h"
                   for hours in found.hours.values())
    return (f'<p data-testid="own-hours">By the shop\'s own {found.jobs} finished jobs: {p50} in '
            f"the middle, {p80} in 8 of 10.</p>")


def chart_words(offer: Quote) -> str:
    """The chart of cost in words."""
    said = offer.settings
    p10, p50, p80, p90 = (whole(v, said) for v in offer.odds.at("cost", 0.1, 0.5, 0.8, 0.9))
    return (f"What the job costs: 1 job in 10 {p10} or less, half {p50} or less, 8 in 10 {p80} or "
            f"less, 9 in 10 {p90} or less. The price covers {whole(covered(offer), said)}: "
            f"{in_a_hundred(offer.chance_of_loss)} lose money.")


def tornado_words(offer: Quote) -> str:
    """The chart of drivers in words."""
    said = "; ".join(f"{d.name} from {_prices(offer, d.low)} to {_prices(offer, d.high)}"
                     for d in offer.drivers[:10])
    return f"What each driver alone makes of the price, going well or badly: {said}."


def sight_words(offer: Quote) -> str:
    """The chart of lines to look at in words."""
    said = "; ".join(f"{offer.titles[s.line]} {whole(s.value, offer.settings)}"
                     for s in worth_a_look(offer))
    return f"What a look at a line before quoting saves on average: {said}."


def covered(offer: Quote) -> float:
    """The cost up to which the price, or the cap, loses nothing. [money]"""
    price = offer.price if offer.cap is None else offer.cap
    return float(price) * (1 - offer.settings.warranty_share)


def price_of(offer: Quote, cost: float) -> float:
    """What a cost at the confidence comes to as a price before tax. [money]"""
    return cost / offer.divisor


def _prices(offer: Quote, cost: float) -> str:
    return whole(price_of(offer, cost), offer.settings)


def _share(share: float) -> str:
    return f"{100 * share:.0f} %"


def _minutes(offer: Quote, sight) -> float:
    return 60 * sight.value / offer.job.hour_cost


def _said_minutes(minutes: float) -> str:
    return f"{minutes:.0f} min" if minutes < 90 else f"{minutes / 60:.1f} h"
