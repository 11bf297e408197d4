"""The `estimator` command.

Exit codes: 0 done, 2 bad input (every fault listed, nothing written), 1 a fault of the program,
or stopped.
"""

from __future__ import annotations

import argparse
import errno
import gc
import json
import os
import sys
import traceback
from collections.abc import Sequence
from pathlib import Path

from estimator import __version__
from estimator.commands import register
from estimator.commands.parsing import Parser, as_typed, whole_option
from estimator.commands.shared import fault_dict
from estimator.errors import BadInput, Fault, Stopped

# Longest word of a command; a cell of a survey holds as much.
LONGEST_WORD = 2_000
# Objects made since the collector last looked for circles.
_SELDOM = 50_000


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; returns its exit code.

    Examples
    --------
    >>> main(["quote", "nowhere.csv", "--level", "clean"])  # why not is said on stderr
    2
    """
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    if arguments is None:
        # This process ends with the command, and with it nearly all that the command reads: a
        # collector that goes through it over and over takes a fifth of the time.
        gc.set_threshold(_SELDOM)
    words = list(sys.argv[1:] if arguments is None else arguments)
    options = argparse.Namespace()
    try:
        options, faults = _parser().read(words)
        faults += _word_faults(options)
        if faults:
            raise BadInput(faults)
        return options.run(options)
    except BadInput as error:
        return _refused(error, as_typed(error.faults, options), "--json" in words)
    except BrokenPipeError:
        # The reader of our output went away, as `head` does; there is nobody to tell.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except (KeyboardInterrupt, Stopped) as stopped:
        print(str(stopped) or "Stopped.", file=sys.stderr)
        return 1
    except Exception as error:
        if isinstance(error, OSError) and error.errno == errno.ENAMETOOLONG:
            print("The name is too long for a file. Choose a shorter one.", file=sys.stderr)
            return 2
        if os.environ.get("ESTIMATOR_TRACE"):
            traceback.print_exc()
        print(f"The program failed: {type(error).__name__}: {error}\n"
              "Set ESTIMATOR_TRACE=1 and run it again to see where.", file=sys.stderr)
        return 1


def _refused(error: BadInput, faults: Sequence[Fault], as_json: bool) -> int:
    """Say every fault, to a program too if it asked; the exit code."""
    if as_json:
        print(json.dumps({"schema": 1, "faults": [fault_dict(one) for one in faults],
                          "questions": [vars(asked) for asked in getattr(error, "questions", ())]},
                         indent=2, ensure_ascii=False))
    for fault in faults:
        print(fault, file=sys.stderr)
    if len(faults) > 1:
        print(f"{len(faults)} faults; nothing was written.", file=sys.stderr)
    return 2


def _word_faults(options: argparse.Namespace) -> list[Fault]:
    """Words that would break a table, a terminal or the ledger."""
    faults = []
    for name, value in vars(options).items():
        for word in value if isinstance(value, list) else (value,):
            too_long = isinstance(word, str | Path) and len(str(word)) > LONGEST_WORD
            if too_long or (isinstance(word, str) and not word.isprintable()):
                faults += _faults_of(str(word), name)
    return faults


def _faults_of(word: str, name: str) -> list[Fault]:
    from estimator.survey import cells

    try:
        said = cells.text(word)
    except cells.Wrong as wrong:
        return [Fault(wrong.what.replace("The cell", "The text"), wrong.fix, column=name)]
    if "\n" in said or "\r" in said:
        return [Fault(f"{cells.shown(word)} holds a line break.", "Write it on one line.",
                      column=name)]
    return []


def _parser() -> Parser:
    parser = Parser(
        prog="estimator",
        description="From a condition survey of a pinball machine to a quote a customer can sign.")
    parser.add_argument("--version", action="version", version=f"estimator {__version__}")
    commands = parser.add_subparsers(title="commands", metavar="COMMAND")

    def command(name: str, run, said: str) -> Parser:
        found = commands.add_parser(name, help=said, description=said)
        found.set_defaults(run=run)
        return found

    register(command)
    pages = command("pages", _pages, "Open the pages in a browser.")
    pages.add_argument("--shop", metavar="DIR", type=Path,
                       help="shop folder; made if missing, ./shop by default")
    pages.add_argument("--port", metavar="N", type=whole_option,
                       help="port on this machine; a free one by default")
    pages.add_argument("--no-browser", action="store_true", help="only print the address")
    return parser


def _pages(options) -> int:
    from estimator import pages

    return pages.serve(options.shop, port=options.port, browser=not options.no_browser)
