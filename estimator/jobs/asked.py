"""What a change of a job is asked for with: its survey as it is now, wishes and reasons."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date

from estimator.errors import BadInput, Fault, one_of
from estimator.quote import PRICES, REASONS, Change, Choices
from estimator.shop import Shop
from estimator.survey import Machine, Survey


@dataclass(frozen=True)
class Wish:
    """What the customer takes and does without, beside what the survey says.

    Parameters
    ----------
    leave_out, put_back
        Numbers of survey lines, from 1, as the quote counts them.
    extras
        Extras by name with their counts; 0 takes one out again.

    Examples
    --------
    >>> Wish(leave_out=(16,), extras=(("extra-led-set", 1),)).put_back
    ()
    """

    leave_out: tuple[int, ...] = ()
    put_back: tuple[int, ...] = ()
    extras: tuple[tuple[str, int], ...] = ()


def in_order(quoted: date, stands: str, on: date, ready: date | None) -> None:
    """Refuse a change offered before the quote it changes, or ready before it is offered."""
    if on < quoted:
        raise BadInput(Fault(f"{on} is before the quote {stands} of {quoted}, which it "
                             "would take the place of.", "Write a later day.", column="date"))
    if ready is not None and ready < on:
        raise BadInput(Fault(f"The job would be ready on {ready}, before the change is offered "
                             f"on {on}.", "Write a later day.", column="ready"))


def same_machine(survey: Survey, machine: Machine) -> Survey:
    """The survey, if it is of that machine."""
    wrong = []
    for name in ("title", "serial", "era"):
        was, now = getattr(machine, name) or "", getattr(survey.machine, name) or ""
        plain = [" ".join(str(word).split()).casefold() for word in (was, now)]
        if all(plain) and plain[0] != plain[1]:
            wrong.append(Fault(f'The survey is of another machine: its {name} is "{now}", and '
                               f'that of the job is "{was}".',
                               "Name the survey of this job's machine.", survey.file or None,
                               None, name))
    if wrong:
        raise BadInput(wrong)
    return survey


def known_today(survey: Survey, choices: Choices, shop: Shop) -> None:
    """Refuse a job that today's tables do not know all assemblies of."""
    names = {line.assembly for line in survey.lines} | {name for name, _ in choices.added}
    faults = [Fault(f"The job has {name}, and today's assemblies.csv does not.",
                    "Put that row back, or keep the tables of the quote.")
              for name in sorted(names - shop.catalogue.assemblies.keys())]
    if faults:
        raise BadInput(faults)


def whole(base: Survey, now: Survey, shop: Shop) -> None:
    """A survey holds all lines: what cannot be left out cannot be missing from it either."""
    live = [{line.assembly for line in survey.lines if line.count} for survey in (base, now)]
    lost = [name for name in dict.fromkeys(line.assembly for line in base.lines)
            if name in live[0] - live[1] and not shop.catalogue.assemblies[name].droppable]
    if lost:
        named = ", ".join(lost[:3]) + (f" and {len(lost) - 3} more" if len(lost) > 3 else "")
        raise BadInput(Fault(
            f"The survey has no line any more for {named}, which cannot be left out.",
            "A changed survey holds all lines, and not the new ones alone: estimator job survey "
            "writes those of the job to begin with.", now.file or None))


def chosen(choices: Choices, survey: Survey, wish: Wish, on: date) -> Choices:
    """The choices with the customer's wishes."""
    faults, count = [], len(survey.lines)
    for number in (*wish.leave_out, *wish.put_back):
        if not 1 <= number <= count:
            faults.append(Fault(f"There is no line {number}.", f"The job has {count} lines."))
        elif not survey.lines[number - 1].count:
            faults.append(Fault(f"Line {number} is not in the survey any more.",
                                "Put it into the survey file."))
    out = {number - 1 for number in wish.leave_out}
    back = {number - 1 for number in wish.put_back}
    faults += [Fault(f"Line {place + 1} is not left out and cannot be put back.",
                     f"Left out are: {_listed(choices.dropped)}.")
               for place in sorted(back - choices.dropped) if place < count]
    faults += [Fault(f"Line {place + 1} is left out already.", "Name another one.")
               for place in sorted(out & choices.dropped)]
    extras = dict(choices.added)
    for name, wanted in wish.extras:
        if wanted == 0 and name not in extras:
            faults.append(Fault(f"{name} is not among the extras taken.",
                                one_of(name, list(extras)) if extras else "None was taken."))
        extras[name] = wanted
    if faults:
        raise BadInput(faults)
    dropped = frozenset(place for place in (choices.dropped - back) | out
                        if survey.lines[place].count)
    return replace(choices, dropped=dropped, on=on,
                   added=tuple((name, wanted) for name, wanted in extras.items() if wanted))


def _listed(places: Iterable[int]) -> str:
    return ", ".join(str(place + 1) for place in sorted(places)) or "none"


def reasoned(changes: Sequence[Change], said: Sequence[str]) -> tuple[Change, ...]:
    """The changes, each with its reason.

    Parameters
    ----------
    said
        As `revise` takes them: "find", "60=find", "price"; words may follow a colon.

    Raises
    ------
    BadInput
        If a change has no reason, a reason is none or of nothing that changed, or two reasons
        are given for all lines.

    Examples
    --------
    >>> flipper = Change("line-1", "line", "Flipper", "worn: heavy", line=0)
    >>> found, = reasoned([flipper], ["find: cracked at a screw"])
    >>> found.reason, found.words
    ('find', 'cracked at a screw')
    """
    reasons, faults = _reasons(said, {change.key for change in changes})
    found = []
    for change in changes:
        kind, words = reasons.get(change.key) or reasons.get(_all_like(change.key), ("", ""))
        if not kind:
            faults.append(_no_reason(change))
        found.append(replace(change, reason=kind, words=words))
    if faults:
        raise BadInput(faults)
    return tuple(found)


_ALL_LINES = "line"


def _all_like(key: str) -> str:
    """Where the reason stands for a change that has none of its own."""
    return PRICES if key == PRICES else _ALL_LINES


def _reasons(said: Sequence[str], known: set[str]
             ) -> tuple[dict[str, tuple[str, str]], list[Fault]]:
    """Reason and words by what they are given for: the key of a change, or all lines."""
    found: dict[str, tuple[str, str]] = {}
    faults = []
    for_lines = set()
    for word in said:
        place, sign, told = word.partition("=")
        if not sign or ":" in place:
            place, told = "", word
        kind, _, words = (part.strip() for part in told.partition(":"))
        kind, place = kind.casefold(), place.strip()
        key = next((key for key in (place, f"line-{place}", f"extra-{place}") if key in known), "")
        if kind not in REASONS:
            faults.append(Fault(f'"{kind}" is no reason for a change.', one_of(kind, REASONS)
                                + ' Words go with it in quotes: "find: cracked".'))
        elif place and not key:
            faults.append(Fault(f"{place} has not changed, and a reason is given for it.",
                                f"What changed: {', '.join(sorted(map(_name, known)))}."))
        elif place and (kind == "price") != (key == PRICES):
            faults.append(Fault(
                "Prices change because of a price, and a line because of a find or a wish.",
                "Write price for the prices of today, find or wish for a line."))
        elif place:
            found[key] = kind, words
        elif kind == "price":
            found[PRICES] = kind, words
        else:
            found[_ALL_LINES] = kind, words
            for_lines.add(kind)
    if len(for_lines) > 1:
        faults.append(Fault("A find and a wish are both given for all lines.",
                            "Say which line is which, such as 60=find 12=wish."))
    return found, faults


def _no_reason(change: Change) -> Fault:
    where = "" if change.line is None else f"Line {change.line + 1}, "
    return Fault(f"{where}{change.title} ({change.said}): no reason is given.",
                 "Add --reason price, with a word why if need be." if change.key == PRICES else
                 "Add --reason find or wish for all lines, or "
                 f"{_name(change.key)}=find for this one.")


def _name(key: str) -> str:
    """How a change is named in a reason: the number of its line, or its extra."""
    return key.removeprefix("line-").removeprefix("extra-")


__all__ = ["Wish"]
