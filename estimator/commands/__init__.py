"""The commands: quotes, the bench plan, buying and selling, jobs, hours, review, the ledger.

Each module adds its commands to the parser; what they do is imported when one is run.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable

from estimator.commands import (
    demo,
    files,
    hours,
    job,
    lot,
    plan,
    quote,
    quotes,
    resell,
    review,
    whole,
)

Command = Callable[..., argparse.ArgumentParser]


def register(command: Command) -> None:
    """Add the commands; `command(name, run, said)` makes the parser of one."""
    for module in (files, quote, quotes, plan, resell, lot, job, hours, review, whole, demo):
        module.register(command)


__all__ = ["register"]
