"""A command as it was typed, read so that all that is wrong with it is told at once."""

from __future__ import annotations

import argparse
import functools
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date, time
from decimal import Decimal

from estimator.commands.shared import (
    amount_said,
    day_said,
    hours_said,
    number_said,
    time_said,
    whole_said,
)
from estimator.errors import BadInput, Fault, one_of, quoted


class Parser(argparse.ArgumentParser):
    """A parser that gathers faults, each with its cure, in place of ending at the first one.

    Parameters
    ----------
    faults
        Where they are gathered: those of the parser above, for a command below another.

    Examples
    --------
    >>> parser = Parser(prog="estimator lift")
    >>> _ = parser.add_argument("--height", metavar="CM", type=whole_option, required=True)
    >>> options, faults = parser.read(["--height", "many", "--hight", "7"])
    >>> for fault in faults:
    ...     print(fault)
    --height: "many" is not a whole number. Write it like 10000.
    There is no option --hight. Did you mean "--height"?
    """

    def __init__(self, *words, faults: list[Fault] | None = None, **settings):
        self.faults: list[Fault] = [] if faults is None else faults
        self._options: list[argparse.Action] = []
        self._below = None
        super().__init__(*words, exit_on_error=False, **settings)

    def add_argument(self, *names, **settings) -> argparse.Action:
        """As argparse; a fault that `type` raises is gathered.

        An option that takes several words may be given several times.
        """
        if names[0].startswith("-") and settings.get("nargs") in ("+", "*"):
            settings.setdefault("action", "extend")
        if "type" in settings:
            said = max(names, key=len) if names[0].startswith("-") else settings["metavar"]
            settings["type"] = functools.partial(self._typed, settings["type"], said)
        found = super().add_argument(*names, **settings)
        self._options.append(found)
        return found

    def add_subparsers(self, **settings):
        """As argparse; the commands below gather into the same list."""
        self._below = super().add_subparsers(
            parser_class=functools.partial(Parser, faults=self.faults), **settings)
        return self._below

    def read(self, words: Sequence[str]) -> tuple[argparse.Namespace, list[Fault]]:
        """What the words say, and all that is wrong with them; `--help` ends the program."""
        self.faults.clear()
        options, _ = self.parse_known_args(words)
        return options, list(self.faults)

    def parse_known_args(self, args=None, namespace=None):
        """As argparse; what is not known, missing or cut short is gathered, nothing is left."""
        found = argparse.Namespace() if namespace is None else namespace
        found.named = self._names()
        words = list(args or ())
        if self._below is not None and not self._names_a_command(words):
            return found, []
        needed = [action for action in self._options if action.required]
        # Looked for afterwards, so that what is missing is told with all else.
        for action in needed:
            action.required = False
        try:
            found, rest = super().parse_known_args(words, found)
        except argparse.ArgumentError as error:
            self.faults.append(self._misused(error))
            return found, []
        finally:
            for action in needed:
                action.required = True
            # Those of a command below this one came over them.
            found.named = self._names() | found.named
        self.faults += self._unknown(rest)
        misread = {fault.column for fault in self.faults}
        self.faults += [_missing(action) for action in needed
                        if getattr(found, action.dest, None) is None
                        and _said(action) not in misread]
        return found, []

    def _names(self) -> dict[str, str]:
        # What stands for a word that is no option may be called otherwise than its field.
        return {called: _said(action) for action in self._options
                for called in (action.dest, *([] if action.option_strings else
                                              [_stands_for(action).casefold()]))}

    def error(self, message: str):
        """What argparse itself would end the program for."""
        raise argparse.ArgumentError(None, message)

    def _names_a_command(self, words: Sequence[str]) -> bool:
        """Whether a command is named, or a word that needs none; if not, that is gathered."""
        said = next((word for word in words if not word.startswith("-")), None)
        if said in self._below.choices or (said is None and any(
                word in action.option_strings for action in self._options for word in words)):
            return True
        what = "No command is named." if said is None else f"There is no command {quoted(said)}."
        self.faults.append(Fault(what, f"{one_of(said or '', self._below.choices)} "
                                       f"{self.prog} --help says what they do."))
        return False

    def _typed(self, read: Callable, name: str, word: str):
        try:
            if not word.strip():
                raise BadInput(Fault("Nothing is said.", f"Leave {name} away, or say it."))
            return read(word)
        except BadInput as error:
            self.faults += [replace(fault, column=name) for fault in error.faults]
            return None

    def _unknown(self, rest: Sequence[str]) -> list[Fault]:
        """Faults of words that stand for nothing; those after an unknown option are its own."""
        found, own = [], False
        for word in rest:
            if word.startswith("-") and word != "-":
                name, own = word.partition("=")[0], True
                found.append(Fault(f"There is no option {quoted(name)[1:-1]}.", self._cure(name)))
            elif not own:
                found.append(Fault(f"{quoted(word)} stands for nothing.",
                                   f"Leave it out; {self.prog} --help lists what may be said."))
        return found

    def _cure(self, name: str) -> str:
        """What to write in place of an option that there is not."""
        if self._below is not None:
            return "Options stand after the command."
        near = one_of(name, [one for action in self._options for one in action.option_strings])
        return near if near.startswith("Did") else f"{self.prog} --help lists them."

    def _misused(self, error: argparse.ArgumentError) -> Fault:
        """An option without its value, with one that it does not take, or cut too short."""
        action = next((one for one in self._options if error.argument_name is not None
                       and error.argument_name == "/".join(one.option_strings)), None)
        name = None if action is None else _said(action)
        said = error.message
        if action is not None and said.startswith("expected"):
            return Fault("Nothing follows it.", f"Write {name} {_stands_for(action)}.", column=name)
        if action is not None and "ignored explicit" in said:
            return Fault("It takes no value.", f"Write {name} by itself.", column=name)
        return Fault(f"{said[:1].upper()}{said[1:]}.",
                     f"{self.prog} --help lists what may be said.", column=name)


def as_typed(faults: Sequence[Fault], options: argparse.Namespace) -> list[Fault]:
    """Faults of fields, each at the option that the field was given by; those of files stay.

    Examples
    --------
    >>> parser = Parser(prog="estimator lift")
    >>> _ = parser.add_argument("--ready-by")
    >>> options, _ = parser.read(["--ready-by", "soon"])
    >>> [fault.column for fault in as_typed([Fault("It is none.", column="ready_by"),
    ...                                      Fault("It is none.", column="day")], options)]
    ['--ready-by', 'day']
    """
    named = getattr(options, "named", {})
    return [fault if fault.file or fault.row is not None or not fault.column else
            replace(fault, column=named.get(fault.column, fault.column)) for fault in faults]


def number_option(word: str) -> float:
    """The number in an option, as the type of an argument."""
    return number_said(word, "")


def amount_option(word: str) -> Decimal:
    """The sum of money in an option, as the type of an argument.

    Examples
    --------
    >>> amount_option("85,50")
    Decimal('85.5')
    """
    return amount_said(word, "")


def day_option(word: str) -> date:
    """The day in an option, as the type of an argument.

    Examples
    --------
    >>> day_option("2026-03-02")
    datetime.date(2026, 3, 2)
    """
    return day_said(word, "")


def time_option(word: str) -> time:
    """The time of day in an option, as the type of an argument."""
    return time_said(word, "")


def hours_option(word: str) -> float:
    """The hours in an option, as 1.5 or 1:30, as the type of an argument."""
    return hours_said(word, "")


def whole_option(word: str) -> int:
    """The whole number in an option, as the type of an argument.

    Examples
    --------
    >>> whole_option("1200")
    1200
    """
    return whole_said(word, "")


def one_option(*names: str) -> Callable[[str], str]:
    """The type of an argument that is one of some words.

    Examples
    --------
    >>> one_option("cheapest", "fastest")("Fastest")
    'fastest'
    """
    def read(word: str) -> str:
        said = word.strip().casefold()
        if said not in names:
            raise BadInput(Fault(f"{quoted(word)} is not known here.", one_of(word, names)))
        return said
    return read


def _said(action: argparse.Action) -> str:
    """What an argument is called to a person: an option's longest name, or what stands for it."""
    return max(action.option_strings, key=len) if action.option_strings else _stands_for(action)


def _missing(action: argparse.Action) -> Fault:
    more = f": {action.help}." if action.help else "."
    name = _said(action)
    if action.option_strings:
        return Fault(f"{name} is missing.", f"Add {name} {_stands_for(action)}{more}")
    return Fault(f"No {name} is named.",
                 f"Write it right after the command, before the options{more}")


def _stands_for(action: argparse.Action) -> str:
    return action.metavar or action.dest.upper()


__all__ = ["Parser", "as_typed", "whole_option"]
