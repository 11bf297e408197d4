"""The answer in words, for the command and for the page that a partner reads."""

from __future__ import annotations

from estimator.money import format_money
from estimator.resale.records import LEAVE, STOPS, Choice, Resale
from estimator.units import in_a_hundred, of_a_hundred

_SURE = 2.0
"""Standard errors by which one choice must lead to be told from the next."""
_SHOWN = 5


class Words:
    """What is said of an answer, in the shop's currency and way of writing it.

    Examples
    --------
    >>> from datetime import date
    >>> from estimator.demo import small_survey
    >>> from estimator.resale import Deal, resale
    >>> from estimator.shop import open_shop
    >>> deal = Deal(5000, asking=9000, trials=100, on=date(2026, 3, 2))
    >>> words = Words(resale(small_survey(), deal, open_shop()))
    >>> words.money(1234.6), words.name(LEAVE), words.head()
    ('$1,235', 'leave it', 'Do not buy it at $9,000.')
    """

    def __init__(self, found: Resale):
        self.found = found

    def money(self, amount: float) -> str:
        """An amount in whole units of the currency."""
        settings = self.found.settings
        # Rounded first, so that no amount shows as minus nothing.
        return format_money(round(amount) + 0.0, settings.currency, settings.locale, digits=0)

    def name(self, key: str) -> str:
        """A choice in running text."""
        if key == LEAVE:
            return "leave it"
        if key in STOPS and key != "part-out":
            return STOPS[key]
        return _small(self.found.choice(key).name)

    def head(self) -> str:
        """The decision in one line."""
        best, bought = self.found.choice(self.found.best), self.found.deal.asking is not None
        if best.key == LEAVE:
            return f"Do not buy it at {self.money(self.found.deal.asking)}."
        if bought:
            return f"Buy it, then {_small(best.name)}."
        return f"{best.name}."

    def why(self) -> list[str]:
        """What the decision rests on."""
        found, best = self.found, self.found.choice(self.found.best)
        other = found.choice(found.next_best)
        said = [
            f"Of 100 machines like this, {best.name.lower()} is best in "
            f"{of_a_hundred(best.best_in)}. It is worth {self.money(best.worth)} now on average"
            + (f", {self.money(found.lead)} more than the next best ({_small(other.name)})."
               if other.key != best.key else ".")
        ]
        if found.lead < _SURE * found.lead_error:
            said.append(f"That lead is within what {found.deal.trials:,} trials can tell: take the "
                        "two as alike, or play more trials.")
        if best.key != LEAVE:
            said.append(
                f"Profit {self.money(best.profit)} on average; nine in ten make more than "
                f"{self.money(best.profit_p10)}; {in_a_hundred(best.chance_of_loss)} lose money,"
                f" and the worst tenth comes to {self.money(best.worst_tenth)}.")
            back = "" if best.payback is None or best.payback <= 0 else \
                f"; what is put in is back after {best.payback:.1f} months"
            said.append(f"A sale price of {self.money(best.break_even_price)} breaks even{back}.")
        return said

    def bench(self) -> list[str]:
        """What an hour of the bench brings in, choice by choice, and elsewhere."""
        found = self.found
        rows = [f"{_small(one.name)} {self.money(one.more_per_hour)}" for one in found.choices
                if one.more_per_hour is not None]
        if not rows:
            return []
        said = ["An hour more at the bench than selling as found takes brings in, own hours not "
                f"counted as a cost: {', '.join(rows)}. Customers' work brings in "
                f"{self.money(found.hour_earns)}."]
        if found.best_bench_full != found.best:
            said.append("If the bench is full of it, the choice is to "
                        f"{self.name(found.best_bench_full)}.")
        return said

    def bid(self) -> list[str]:
        """The highest bid, or the least to take."""
        found, best = self.found, self.found.bid
        sure = f"{100 * found.confidence:.0f} in 100"
        want = f"{100 * found.want:.0f} % a year"
        profit = found.deal.want_profit
        if profit:
            want += f" and {self.money(profit)} on top"
        if best.highest_price <= 0:
            return [f"At no price does it earn {want} in {sure}."]
        if found.deal.asking is None:
            said = [f"Take an offer in hand of {self.money(best.highest_price)} or more: to "
                    f"{self.name(best.key)} would not earn {want} on more than that in {sure}."]
        else:
            said = [f"Bid up to {self.money(best.highest_price)}, then {self.name(best.key)}: that "
                    f"earns {want} in {sure}"
                    + (", premium and fees counted." if self._extra else ".")]
            if found.deal.asking > best.highest_price:
                said.append(f"The asking price is {self.money(found.deal.asking)}.")
        full = max(one.highest_price_bench_full for one in found.choices)
        if full < best.highest_price - 0.5:
            bound = "from" if found.deal.asking is None else "up to"
            said.append(f"With the bench full, {bound} {self.money(full)}.")
        return said

    @property
    def _extra(self) -> bool:
        return self.found.outlay > (self.found.deal.asking or 0.0) + 0.005

    def stop(self) -> list[str]:
        """The rule after teardown."""
        down = self.found.teardown
        if down is None:
            return ["No choice takes the machine apart."]
        rule, aim = down.rule, self.found.choice(down.key)
        said = [f"If you go for it ({_small(aim.name)}): the look and the teardown take about "
                f"{down.hours:.0f} h and {self.money(down.cost)}; then the finds show."]
        if len(rule.ways) == 1:
            way = rule.ways[0]
            if way in STOPS:
                said.append(f"Whatever shows, it is better then to {self._way(way)}. "
                            "So do not take it apart.")
            else:
                said.append(f"Whatever shows, {self._way(way)}.")
        else:
            parts = [f"{self._way(rule.ways[0])} while finds are expected to cost up to "
                     f"{self.money(rule.limits[0])}"]
            parts += [f"over {self.money(limit)} {self._way(way)}"
                      for way, limit in zip(rule.ways[1:], rule.limits, strict=True)]
            said.append(f"{_sentence('; '.join(parts))}.")
            beyond = rule.limits[0] > down.finds_most
            said.append(
                f"They came to {self.money(down.finds_p50)} as often as not, over "
                f"{self.money(down.finds_p90)} in one of ten"
                + (f", and never over {self.money(down.finds_most)} in "
                   f"{self.found.deal.trials:,} trials." if beyond else "."))
        if rule.gain > _SURE * rule.gain_error and rule.gain >= 0.5:
            said.append(f"To be free to choose then is worth {self.money(rule.gain)} on average.")
        else:
            said.append("To be free to choose then is worth nothing that could be told.")
        return said

    def _way(self, way: str) -> str:
        return STOPS[way] if way in STOPS else f"go on ({_small(self.found.choice(way).name)})"

    def look(self) -> list[str]:
        """What an inspection is worth before the choice."""
        look, settings = self.found.inspection, self.found.settings
        when = "before buying" if self.found.deal.asking is not None else "before choosing"
        if look.limit is None:
            return [f"An inspection {when} is worth nothing: no damage it could show would change "
                    "the choice."]
        return [f"Hidden damage over {self.money(look.limit)} ({in_a_hundred(look.chance)}) "
                f"would change the choice to {self.name(look.bad)}. To know for sure is worth "
                f"{self.money(look.perfect)}; an inspection {when} that sees "
                f"{100 * settings.inspection_sees:.0f} % of it, "
                f"{100 * settings.inspection_false_alarm:.0f} % false alarms, "
                f"{self.money(look.value) if look.value >= 0.5 else 'next to nothing'}."]

    def pays(self) -> list[str]:
        """Which lines raise the price by more than they cost."""
        paying = self.found.paying
        if paying is None:
            return ["No work, so no line that could pay."]
        name = _small(self.found.choice(paying.key).name)
        if not paying.known:
            return [f"The job ({name}) adds {self.money(paying.step)} to the sale. Which lines "
                    "bring that cannot be said: by sale_weights.csv and wear_worth.csv none of "
                    "them does."]
        kept = set(paying.chosen.lines)
        best = [row for row in paying.lines if row.pays and row.line in kept][:_SHOWN]
        left = [row for row in paying.lines if row.optional and row.line not in kept]
        said = [f"Of {self.money(paying.step)} that the job ({name}) adds to the sale, shared out "
                "over its lines:"]
        if best:
            rows = ", ".join(f"{_small(row.title)} (line {row.line + 1}: "
                             f"{self.money(row.gain)} for {self.money(row.cost)})" for row in best)
            said[0] += f" most over their cost are {rows}."
        else:
            said[0] += " none pays its cost."
        if left:
            listed = left[:8]
            rows = ", ".join(f"{_small(row.title)} ({row.line + 1})" for row in listed)
            more = f" and {len(left) - len(listed)} more" if len(left) > len(listed) else ""
            saved = paying.chosen.profit - paying.whole.profit
            said.append(f"Leave out {rows}{more}: " + (
                f"{self.money(saved)} better than the whole job" if saved >= 0.5
                else "they do not pay")
                + f", {paying.chosen.hours:.1f} h in place of {paying.whole.hours:.1f} h.")
        else:
            said.append("No line that may be left out is better left out.")
        if not paying.chosen.proven:
            said.append("The search ran out of time; another set may be better.")
        return said

    def by_hours(self) -> list[str]:
        """The best sets of lines as the bench hours grow."""
        paying = self.found.paying
        if paying is None or not paying.known or len(paying.frontier) < 2:
            return []
        rows = ", ".join(f"{one.hours:.1f} h {self.money(one.profit)}" for one in paying.frontier)
        return [f"Best set of lines, gain over cost: {rows}."]

    def turns(self) -> list[str]:
        """What would change the answer."""
        said = []
        for turn in self.found.turns:
            to = self.name(turn.to)
            over = "over" if turn.factor > 1 else "under"
            if turn.what == "value":
                said.append(f"Market value {over} {self.money(turn.figure)}: {to}.")
            elif turn.what == "work":
                how = "dearer" if turn.factor > 1 else "cheaper"
                said.append(f"All work {100 * abs(turn.factor - 1):.0f} % {how} than reckoned: "
                            f"{to}.")
            elif turn.to == LEAVE:
                said.append(f"Price over {self.money(turn.figure)}: leave it, on average.")
            elif turn.figure > 0:
                said.append(f"Price under {self.money(turn.figure)}: buy it, on average, and {to}.")
        look = self.found.inspection
        if look.limit is not None:
            said.append(f"Hidden damage over {self.money(look.limit)}: {self.name(look.bad)}.")
        return said or ["Nothing near: market value, cost of work and price may each move far."]

    def sunk(self) -> str:
        """What was paid and has no part in the choice; blank where nothing is known of it."""
        found = self.found
        if found.deal.paid is None:
            return ""
        best = found.choice(found.best)
        after = best.profit - found.deal.paid
        return (f"The {self.money(found.deal.paid)} paid is spent whatever is done and has no part "
                f"in the choice. With it counted, this ends at {self.money(after)}.")

    def rate(self, choice: Choice) -> str:
        """The rate of return as it fits a column."""
        if choice.earned.rate is None:
            return "several" if len(choice.earned.roots) > 1 else "none"
        percent = 100 * choice.earned.rate
        return "over 999 %" if percent > 999 else f"{percent:.0f} %"

    def cautions(self) -> list[str]:
        """What the figures do not know."""
        found = self.found
        said = [
            f"Found {found.found.replace('-', ' ')}: {found.found_why}. Sale ratios, days and "
            "fees are mostly from memory; replace them by your own sales in the shop's tables.",
            "Tell a buyer what was found. Sales tax, consumer law and electrical safety go by "
            "local codes and licensed practice.",
        ]
        if found.paying is not None:
            said.append("How a step up in price is shared over lines is judgement; lines are "
                        "taken to add up.")
        return said


def _small(name: str) -> str:
    return name[:1].lower() + name[1:]


def _sentence(said: str) -> str:
    return said[:1].upper() + said[1:]


__all__ = ["Words"]
