"""On what terms: tax, payments, sentences, cautions."""

from __future__ import annotations

from decimal import Decimal

from estimator.catalogue import LEVELS, Catalogue, Caution, Level
from estimator.estimate import KINDS, Estimate
from estimator.money import allocate, format_money, tax, to_money
from estimator.quote.records import QuoteLine, Stage, Tax
from estimator.shop import Settings


def taxes_on(lines: tuple[QuoteLine, ...], settings: Settings) -> tuple[Tax, ...]:
    """Tax by kind of line, rounded once per kind on the sum of the lines."""
    entries = []
    for kind in KINDS:
        rate = getattr(settings, f"tax_{kind}")
        base = sum((line.kinds[kind] for line in lines), Decimal(0))
        if rate and base:
            amount = tax([(base, Decimal(str(rate)))], settings.currency)
            entries.append(Tax(kind, rate, base, amount))
    return tuple(entries)


def stages_of(total: Decimal, settings: Settings) -> tuple[Stage, ...]:
    """Deposit, then equal stages; the last before the machine leaves. They add up to the total.

    Parameters
    ----------
    total
        With tax; 0 or more. [currency]
    settings
        `stage_count` payments in all; without a `deposit_share` all of them are equal.

    Examples
    --------
    >>> from estimator.shop import open_shop
    >>> [(one.name, int(one.amount)) for one in stages_of(Decimal(1000), open_shop().settings)]
    [('Deposit', 500), ('Stage 1', 250), ('Balance', 250)]
    """
    later = settings.stage_count - 1
    if not later:
        return (Stage("Payment", "before the machine leaves", total),)
    share = settings.deposit_share
    weights = [share] + [(1 - share) / later] * later if share else [1.0] * settings.stage_count
    stages = []
    # The deposit is payment 0; without one, payments begin with 1.
    for number, amount in enumerate(allocate(total, weights, settings.currency), 0 if share else 1):
        if number == 0:
            stages.append(Stage("Deposit", "on acceptance", amount))
        elif len(stages) == later:
            stages.append(Stage("Balance", "before the machine leaves", amount))
        else:
            due = "after teardown and inspection" if number == 1 else "during reassembly"
            stages.append(Stage(f"Stage {number}", due, amount))
    return tuple(stages)


def terms_of(cap: Decimal | None, settings: Settings) -> tuple[str, ...]:
    """The shop's terms as sentences, from its settings."""

    def money(amount) -> str:
        return format_money(to_money(amount, settings.currency), settings.currency, settings.locale)

    terms = [f"This quotation holds for {settings.validity_days} days from its date."]
    if cap is None:
        terms.append(
            "The price is fixed for the work listed. Work outside it is offered in writing "
            "and begins only after you agree."
        )
    else:
        minutes = round(60 * settings.billing_increment_hours)
        terms.append(
            f"Time is billed in steps of {minutes} minutes, each in full once begun; parts and "
            "materials as used. "
            f"The bill does not pass {money(cap)} before tax unless you agree first."
        )
    terms.append(
        "The allowance for finds pays for damage that shows only after teardown. "
        "You hear of a find before it is mended."
    )
    if settings.storage_per_week:
        terms.append(
            f"A finished machine is stored free for {settings.grace_days} days; after that "
            f"storage is {money(settings.storage_per_week)} a week."
        )
    return tuple(terms)


def holds(row, level: Level) -> bool:
    return LEVELS.index(row.level_from) <= LEVELS.index(level) <= LEVELS.index(row.level_to)


def cautions_of(job: Estimate, catalogue: Catalogue) -> tuple[Caution, ...]:
    """The cautions of everything in the job, in the order of the table."""
    names: set[str] = set()
    for item in job.items:
        names |= set(item.work.operation.cautions)
    for lot in job.lots:
        names |= set(catalogue.services[lot.service].cautions)
    for supply in job.supplies:
        if supply.does == "material":
            names |= set(catalogue.materials[supply.item].cautions)
    for risk in job.risks:
        names |= set(risk.find.cautions)
    return tuple(row for name, row in catalogue.cautions.items() if name in names)
