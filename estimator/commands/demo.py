"""`estimator demo-shop`: an invented shop with finished jobs, to try the review on."""

from __future__ import annotations

from pathlib import Path

from estimator.commands.parsing import day_option, whole_option
from estimator.commands.shared import say, told


def register(command) -> None:
    """Add `demo-shop`."""
    found = command("demo-shop", _demo_shop,
                    "Make a shop folder with finished jobs, hours and money, all invented: for "
                    "trying the review before there are jobs of your own.")
    found.add_argument("folder", metavar="DIR", type=Path, help="where; made if it is missing")
    found.add_argument("--jobs", metavar="N", type=whole_option, default=30,
                       help="closed jobs, 3 to 120; three open ones come on top")
    found.add_argument("--seed", metavar="N", type=whole_option, default=1,
                       help="another number makes another shop")
    found.add_argument("--date", metavar="YYYY-MM-DD", type=day_option,
                       help="the day on which it is looked at; today by default")
    found.add_argument("--json", action="store_true", help="answer in JSON")


def _demo_shop(options) -> int:
    from estimator.demo import demo_shop

    made = demo_shop(options.folder, jobs=options.jobs, seed=options.seed,
                     on=options.date, progress=told)
    return say(options, {"shop": made.folder, "closed_jobs": made.closed, "open_jobs": made.open,
                         "quotes": made.quotes, "booked_h": round(made.hours, 2)},
               f"{made.folder}: {made.closed} closed jobs, {made.open} open ones, {made.quotes} "
               f"quotes sent and {made.hours:.0f} hours booked, all invented for the demo\n"
               f'Look at it with: estimator review --shop "{made.folder}"')
