"""What the parts of the page "Review hours" share: the shop, its ledger, the job that was chosen.

What is read from the ledger is kept until something is booked; what is typed is kept in the shop
folder until it is booked.
"""

from __future__ import annotations

import contextlib
import functools
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path

from estimator.ledger import FILE, Item, Job, Ledger, has_words
from estimator.pages.beside import Progress, Work
from estimator.pages.unbooked import Unbooked
from estimator.shop import Shop, open_shop

LATEST_CLOSED = 40
"""So many closed jobs are listed and offered; older ones are found by their name or number."""


class Workshop:
    """The shop as a page has it open.

    Parameters
    ----------
    on_change
        Called after something was kept or another job was chosen.
    on_keep
        Called after what stands in a form was kept.
    window
        What opens the forms of a window again (`Unbooked.key`); None for a new one.
    """

    def __init__(self, folder: Path, shop: Shop, log_path: Path | None,
                 on_change: Callable[[], None] = lambda: None,
                 on_keep: Callable[[], None] = lambda: None, window: str | None = None):
        self.folder, self.shop, self.log_path = Path(folder), shop, log_path
        self.ledger, self.unbooked = Ledger(folder), Unbooked(self.folder, window)
        self.on_change, self.on_keep = on_change, on_keep
        self.number: str | None = None
        self.revision = 0
        """Counts up whenever what was read before may be old."""
        self._seen = self._stamp()

    # What there is --------------------------------------------------------------------------

    @functools.cached_property
    def jobs(self) -> tuple[Job, ...]:
        """Every job: those that are open first, the last accepted first."""
        return tuple(sorted(self.ledger.jobs(), key=lambda job: job.state == "closed"))

    @functools.cached_property
    def _jobs(self) -> dict[str, Job]:
        return {job.number: job for job in self.jobs}

    @functools.cached_property
    def _items(self) -> dict[str, tuple[Item, ...]]:
        """Of jobs that were looked at; a shop of years has too many to read them all."""
        return {}

    def items(self, number: str) -> tuple[Item, ...]:
        """Work items of a job."""
        if number not in self._items:
            self._items[number] = self.ledger.items(number)
        return self._items[number]

    def read_items(self, numbers: Iterable[str | None]) -> None:
        """Read the work items of several jobs at once, for those that are asked for next."""
        missing = {number for number in numbers if number} - self._items.keys()
        self._items.update(self.ledger.items_of(missing))

    @functools.cached_property
    def _booked(self) -> dict[str, Mapping[int, float]]:
        return {}

    def booked(self, number: str) -> Mapping[int, float]:
        """Hours booked to each work item of a job that has any. [h]"""
        if number not in self._booked:
            self._booked[number] = self.ledger.hours_on_items(number)
        return self._booked[number]

    @functools.cached_property
    def people(self) -> tuple[str, ...]:
        """Everybody who has booked or whose clock runs; else whose bench it is."""
        found = {*self.ledger.people(), *(one.person for one in self.ledger.clocks())}
        return tuple(sorted(found)) or (self.shop.settings.hand_bench,)

    @property
    def job(self) -> Job | None:
        """The job that was chosen."""
        return self._jobs.get(self.number)

    def found(self, words: str) -> tuple[tuple[Job, ...], int]:
        """Jobs whose name or number holds these words, and how many there are in all.

        Those that are open and the last accepted of those that are closed; the one that was chosen
        is always there.
        """
        alike = [job for job in self.jobs if has_words(f"{job.name} {job.number}", words)]
        still_open = sum(job.state != "closed" for job in alike)
        listed = alike[:still_open + LATEST_CLOSED]
        if self.job is not None and self.job not in listed:
            listed.append(self.job)
        return tuple(listed), len(alike)

    def job_options(self, also: str | None = None) -> list[list[str]]:
        """What a choice of jobs offers: those that are open, the last accepted of those that are
        closed, the one that was chosen, and one that is named."""
        still_open = [job for job in self.jobs if job.state != "closed"]
        closed = self.jobs[len(still_open):]
        more = [job for job in closed[LATEST_CLOSED:] if job.number in (self.number, also)]
        return [[job.number, job.name + (" (closed)" if job.state == "closed" else "")]
                for job in (*still_open, *closed[:LATEST_CLOSED], *more)]

    @property
    def unbilled(self) -> tuple[str, ...]:
        """Kinds of time that no quote pays for."""
        return tuple(self.shop.catalogue.unbilled)

    def job_named(self, number: str | None) -> str:
        """What a job is called; blank for none."""
        job = self._jobs.get(number)
        return job.name if job else number or ""

    def place(self, entry) -> str:
        """What hours or a clock are booked on, in words."""
        if entry.item is None:
            row = self.shop.catalogue.unbilled.get(entry.unbilled)
            what = row.name if row else entry.unbilled
        else:
            what = next((f"{one.item} {one.name}, {one.title}"
                         for one in self.items(entry.job) if one.item == entry.item),
                        f"item {entry.item}")
        return what

    def work(self, number: str | None) -> tuple:
        """What hours can be booked on, as options of a choice: items line by line, then kinds."""
        options: list = [["", "Choose …"]]
        if number:
            booked = self.booked(number)
            lines: dict[str, list] = {}
            for one in self.items(number):
                said = f"{one.item} {one.name}: {one.expected:.1f} h expected"
                if booked.get(one.item):
                    said += f", {booked[one.item]:.1f} h booked"
                lines.setdefault(f"{one.line} {one.title}", []).append([f"item:{one.item}", said])
            options += [[line, items] for line, items in lines.items()]
        options.append(["Time that no quote pays for",
                        [[f"unbilled:{row.unbilled}", row.name]
                         for row in self.shop.catalogue.unbilled.values()]])
        return tuple(options)

    def whose(self, number: str | None) -> tuple:
        """Who time or an amount can be booked to that need not belong to a job."""
        shop = ["shop", "The shop as a whole"]
        return (["job", self.job_named(number)], shop) if number else (shop,)

    # What changes ---------------------------------------------------------------------------

    def choose(self, number: str | None) -> None:
        """Take another job."""
        self.number = number or None
        self.keep_typed("page", {"job": self.number or ""})
        self.on_change()

    def changed(self) -> None:
        """Something was kept: what was read before is old."""
        self._forget()
        self._seen = self._stamp()
        self.on_change()

    def reopen(self) -> None:
        """The shop's tables were changed."""
        self.shop = open_shop(self.folder)
        self.changed()

    def aside(self, ask: Callable[[Ledger, Shop, Progress], object]) -> Work:
        """Work for `Beside`: what `ask` answers, with a ledger of its own, for it runs beside what
        the page does with its one."""
        folder, shop = self.folder, self.shop

        def work(progress: Progress) -> object:
            with contextlib.closing(Ledger(folder)) as ledger:
                return ask(ledger, shop, progress)

        return work

    def look(self) -> None:
        """Take in what another window or a command changed meanwhile."""
        before, self._seen = self._seen, self._stamp()
        if before["shop"] != self._seen["shop"]:
            self.shop = open_shop(self.folder)
        if before != self._seen or self.ledger.address:
            self._forget()

    def _forget(self) -> None:
        for name in ("jobs", "_jobs", "_items", "_booked", "people"):
            self.__dict__.pop(name, None)
        self.revision += 1

    def _stamp(self) -> dict[str, list]:
        """When what the shop keeps was last written."""
        def when(*paths: Path) -> list:
            return [(path.name, path.stat().st_mtime_ns) for path in paths if path.exists()]

        file = self.folder / FILE
        return {"ledger": when(file, file.with_name(FILE + "-wal")),
                "shop": when(self.folder / "shop.toml",
                             *sorted((self.folder / "tables").glob("*.csv")))}

    # What is typed --------------------------------------------------------------------------

    def typed(self, form: str) -> dict[str, str]:
        """What stood in a form when it was last on the screen."""
        return self.unbooked.of(form)

    def keep_typed(self, form: str, values: Mapping[str, str]) -> None:
        """Keep what stands in a form; it is lost with the folder, and no sooner."""
        if self.unbooked.keep(form, values):
            self.on_keep()
