"""Commands beside the quote: buying and selling, jobs, hours, review, the ledger, a demo shop.

Each module adds its commands to the parser; what they do is imported when one is run.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable

from estimator.commands import demo, hours, job, lot, plan, resell, review, whole

Command = Callable[..., argparse.ArgumentParser]


def register(command: Command) -> None:
    """Add the commands; `command(name, run, said)` makes the parser of one."""
    for module in (plan, resell, lot, job, hours, review, whole, demo):
        module.register(command)


__all__ = ["register"]
