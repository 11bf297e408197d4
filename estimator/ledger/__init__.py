"""The ledger: what the shop keeps from day to day, in one database.

A SQLite file in the shop folder, or a PostgreSQL database whose address stands in `shop.toml` as
`ledger`. Drafts: it knows keys, times and JSON, and of what a draft says only title and number of
its machine, by which it is found; the pages put in what they need to open again where they left
off. Quotes sent: what was asked for, what it was expected to cost, whether the customer accepted,
and all that it was computed from. Jobs: their work items, hours, purchases, outwork and sales,
items that are done; revisions and what the customer answered. Entries are added and corrected by
counter-entries, never overwritten; the database itself refuses to change them.

The file is opened at the first call and made at the first save, so that looking at a page leaves
nothing behind. An older one is copied to `ledger-backup-VERSION-TIME.sqlite` beside it and then
brought up to date (`migrations`); it keeps what it holds.
"""

from estimator.ledger.bookings import Bookings
from estimator.ledger.caps import Cap, Use
from estimator.ledger.checking import Damaged
from estimator.ledger.clocks import Clocks, on_what
from estimator.ledger.jobs import Jobs
from estimator.ledger.opening import FILE
from estimator.ledger.quotes import Drafts, Quotes
from estimator.ledger.records import (
    ANSWERS,
    OUTCOMES,
    STATES,
    Behind,
    Clock,
    Done,
    Draft,
    Entry,
    Frozen,
    Item,
    Job,
    OnItem,
    Outwork,
    Purchase,
    Question,
    Revision,
    Sale,
    Sent,
    Stale,
    TimeEntry,
    Unsure,
    has_words,
    must_be_open,
    must_wait,
    new_key,
)
from estimator.ledger.revisions import Revisions
from estimator.ledger.rules import item_named, job_named, unbilled_named
from estimator.ledger.transfer import backup, bring_in, export, restore


class Ledger(Drafts, Quotes, Jobs, Bookings, Clocks, Revisions):
    """The ledger of the shop in `folder`.

    Parameters
    ----------
    folder
        The shop folder.
    address
        Of a PostgreSQL database, blank for the SQLite file; None takes what `shop.toml` says.

    Raises
    ------
    BadInput
        From every method, if the database cannot be read or written, is damaged, or was made by
        a later version of the program.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     ledger = Ledger(folder)
    ...     saved = ledger.save(Draft("a1", "Harbour Lights", {"level": "shop-job"}))
    ...     found = ledger.latest()
    ...     ledger.close()
    >>> found.title, found.content["level"], found.revision
    ('Harbour Lights', 'shop-job', 1)
    """


__all__ = [
    "ANSWERS", "FILE", "OUTCOMES", "STATES", "Behind", "Cap", "Clock", "Damaged", "Done", "Draft",
    "Entry", "Frozen", "Item", "Job", "Ledger", "OnItem", "Outwork", "Purchase", "Question",
    "Revision", "Sale", "Sent", "Stale", "TimeEntry", "Unsure", "Use", "backup", "bring_in",
    "export", "has_words", "item_named", "job_named", "must_be_open", "must_wait", "new_key",
    "on_what", "restore", "unbilled_named",
]
