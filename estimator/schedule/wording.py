"""What is said of a plan and of what is ordered for it, by the command and on the page alike."""

from __future__ import annotations

from estimator.buying import FASTEST, FEWEST, Basket, PartsOrder, SecondRound
from estimator.catalogue import Catalogue
from estimator.money import format_money
from estimator.schedule.records import BenchPlan, Proof, Step
from estimator.shop import Settings
from estimator.units import in_a_hundred

_BETTER = {FASTEST.name: "comes sooner, or as soon for less",
           FEWEST.name: "makes fewer parcels, or as few for less",
           "trade-off": "is worth more"}
_IN_A_MACHINE = {"clean", "derust", "polish"}


def wait_word(step: Step, catalogue: Catalogue) -> str:
    """What a wait is, in a word.

    Returns
    -------
    str
        "parts", "outwork", "tumbler" (any machine that runs alone) or "cure" (paint, glue and
        filler).

    Examples
    --------
    >>> from datetime import date
    >>> from estimator.demo import small_quote
    >>> from estimator.schedule import OnBench, plan
    >>> from estimator.shop import open_shop
    >>> jobs, shop = [OnBench("Harbour Lights", small_quote().job)], open_shop()
    >>> made = plan(jobs, shop, start=date(2026, 11, 26), seconds=0)
    >>> sorted({wait_word(step, shop.catalogue) for step in made.waits})
    ['outwork', 'parts']
    """
    if step.what in ("order", "outwork"):
        return {"order": "parts"}.get(step.what, step.what)
    kinds = {row.kind for (name, _), row in catalogue.operations.items() if name == step.operation}
    # What a machine does takes up that machine; what dries before it is polished takes up nothing.
    held = any(f"operation:{step.operation}" in row.holds.split()
               for row in catalogue.spaces.values() if row.until == "wait")
    return "tumbler" if held and kinds & _IN_A_MACHINE else "cure"


def proof_words(plan: BenchPlan, stopped: bool = False) -> str:
    """How good a plan is known to be, and how far it is from the one before, in sentences.

    Parameters
    ----------
    stopped
        Whether somebody stopped the search.

    Examples
    --------
    >>> from datetime import date
    >>> from estimator.demo import small_quote
    >>> from estimator.schedule import OnBench, plan
    >>> from estimator.shop import open_shop
    >>> jobs = [OnBench("Harbour Lights", small_quote().job)]
    >>> proof_words(plan(jobs, open_shop(), start=date(2026, 11, 26), seconds=0))
    'Drawn at once; a search may find a better one.'
    """
    moved = plan.proof.moved
    return _proof(plan.proof, stopped) + (
        "" if not moved else f" {moved:,} piece{'s' * (moved != 1)} of work "
        f"begin{'s' * (moved == 1)} on another day than before.")


def _proof(proof: Proof, stopped: bool) -> str:
    if proof.proven:
        return "No better plan exists for these hours."
    if not proof.seconds:
        return "Drawn at once; a search may find a better one."
    begun = "The search was stopped." if stopped else "The search ended."
    what = "lateness" if proof.of == "lateness" else "time to the end"
    if proof.gap >= 1:
        return f"{begun} How much better a plan could be, it cannot say yet."
    if proof.gap < 0.0005:
        return f"{begun} No plan is better by as much as a thousandth of the {what}."
    return f"{begun} At most {100 * proof.gap:.1f} % of the {what} could be saved by another plan."


def basket_words(basket: Basket) -> str:
    """How well orders are known to serve the wish that they were chosen for, in a sentence.

    Examples
    --------
    >>> from estimator.demo import small_quote
    >>> from estimator.schedule import OnBench, basket_of
    >>> from estimator.shop import open_shop
    >>> basket_words(basket_of([OnBench("Harbour Lights", small_quote().job)], open_shop()))
    'No other choice of suppliers costs less.'
    """
    if basket.proven:
        return f"No other choice of suppliers {_BETTER.get(basket.wish.name, 'costs less')}."
    return f"At most {100 * basket.gap:.1f} % could be saved by another choice."


def spares_words(order: PartsOrder, second: SecondRound, settings: Settings) -> str:
    """Spares to order at once, and the second parcel that they may save, in a sentence.

    Parameters
    ----------
    order
        That they are ordered with.
    second
        What may have to be ordered again from its supplier; with spares.

    Examples
    --------
    >>> from estimator.demo import small_quote
    >>> from estimator.schedule import OnBench, basket_of
    >>> from estimator.shop import open_shop
    >>> shop = open_shop()
    >>> (order,) = basket_of([OnBench("Harbour Lights", small_quote().job)], shop).orders
    >>> spares = SecondRound((("flipper-rubber", 2),), 0.04, 0.3, 0.4, 0.2, 4.0, 12.5)
    >>> spares_words(order, spares, shop.settings).partition(", and ")[2]
    '$8.50 are saved on average: 2 Flipper rubber.'
    """
    names = {line.part: line.name for line in order.lines}
    parts = ", ".join(f"{units} {names[part]}" for part, units in second.spares)
    saved = format_money(second.cost_without - second.cost, settings.currency, settings.locale)
    return (f"Ordered ahead from {order.name}, a second parcel follows in "
            f"{in_a_hundred(second.chance)} in place of {in_a_hundred(second.chance_without)}, and "
            f"{saved} are saved on average: {parts}.")


__all__ = ["basket_words", "proof_words", "spares_words", "wait_word"]
