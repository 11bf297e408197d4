"""A quote that was accepted becomes a job, with the work items that it was quoted from."""

from __future__ import annotations

from datetime import date

from estimator.catalogue import Catalogue
from estimator.errors import BadInput, Fault
from estimator.estimate import Estimate, estimate
from estimator.jobs.freezing import reopen
from estimator.ledger import Item, Job, Ledger
from estimator.quote.lines import title_of
from estimator.scope import scope
from estimator.shop import Shop
from estimator.survey import Survey


def accept(ledger: Ledger, number: str, *, name: str = "", on: date | None = None,
           promised: date | None = None) -> Job:
    """Make a job of a quote that a customer accepted; the quote counts as won.

    Parameters
    ----------
    number
        Of the quote.
    name
        What the shop calls the job; blank takes the machine and its customer.
    on
        The day it was accepted; None is today.
    promised
        The day it is promised for; None promises none.

    Raises
    ------
    BadInput
        If there is no such quote, it is a job already, what it was computed from is not known, or
        it is promised for a day before it was accepted.

    Examples
    --------
    >>> from estimator.demo import small_quote, small_shop
    >>> from estimator.jobs import keep
    >>> with small_shop() as (ledger, shop):
    ...     sent = keep(ledger, small_quote("Glass Town"), shop)
    ...     job = accept(ledger, sent.number, on=date(2026, 3, 9), promised=date(2026, 4, 1))
    ...     job.name, job.state, len(ledger.items(job.number))
    ('Glass Town', 'accepted', 5)
    """
    on = on or date.today()
    if promised is not None and promised < on:
        raise BadInput(Fault(f"The job is promised for {promised}, before it was accepted "
                             f"on {on}.", "Promise a later day."))
    survey, job, shop = quoted_work(ledger, number)
    machine = survey.machine
    called = " – ".join(filter(None, (machine.title or "Untitled machine", machine.customer)))
    return ledger.accept(Job(number, name.strip() or called, on, promised),
                         items_of(number, job, shop.catalogue))


def quoted_work(ledger: Ledger, number: str) -> tuple[Survey, Estimate, Shop]:
    """The survey and the work of a quote, by the tables and settings that it was sent with.

    Raises
    ------
    BadInput
        If what it was computed from is not known.

    Examples
    --------
    >>> from estimator.demo import small_shop
    >>> with small_shop() as (ledger, shop):
    ...     survey, job, then = quoted_work(ledger, ledger.job("Harbour Lights").number)
    >>> survey.machine.title, len(job.items), [lot.service for lot in job.lots]
    ('Harbour Lights', 5, ['powder-coat-set', 'blasting'])
    """
    survey, choices, shop = reopen(ledger, number)
    works = scope(survey, choices.level, shop.catalogue, dropped=choices.dropped,
                  added=choices.added)
    return survey, estimate(works, shop), shop


def items_of(number: str, job: Estimate, catalogue: Catalogue) -> tuple[Item, ...]:
    """The work items of an estimate, numbered in its order, for the job of that number.

    Their expected hours add up to the hours of the estimate's known work.

    Parameters
    ----------
    job
        The estimate; its items come in their order.

    Examples
    --------
    >>> from estimator.demo import small_quote
    >>> from estimator.shop import open_shop
    >>> items = items_of("A1", small_quote().job, open_shop().catalogue)
    >>> items[1].title, items[1].operation, round(items[1].expected, 2)
    ('Flipper (2)', 'flipper-rebuild', 2.1)
    """
    return tuple(
        Item(
            job=number, item=place, quote=number, line=item.line + 1,
            title=title_of(job.scope.lines[item.line], catalogue),
            assembly=job.scope.lines[item.line].assembly,
            operation=item.work.operation.operation, name=item.work.operation.name,
            kind=item.work.operation.kind, skill=item.work.operation.skill,
            low=item.hours.low, typical=item.hours.typical, high=item.hours.high,
            setup=item.setup, expected=item.mean_hours * job.hours_factor,
        )
        for place, item in enumerate(job.items, 1)
    )
