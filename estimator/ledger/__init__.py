"""The ledger: what the shop keeps from day to day, in one database.

A SQLite file in the shop folder, or a PostgreSQL database whose address stands in `shop.toml` as
`ledger`. Drafts: it knows keys, times and JSON, and nothing of what a draft says; the pages put
in what they need to open again where they left off. Quotes sent: what was asked for, what it was
expected to cost, whether the customer accepted, and all that it was computed from.

The file is opened at the first call and made at the first save, so that looking at a page leaves
nothing behind. An older one is copied to `ledger-backup-VERSION-TIME.sqlite` beside it and then
brought up to date (`migrations`); it keeps what it holds.
"""

from estimator.ledger.opening import FILE
from estimator.ledger.quotes import Drafts, Quotes
from estimator.ledger.records import (
    OUTCOMES,
    Draft,
    Frozen,
    Sent,
    Stale,
    new_key,
)


class Ledger(Drafts, Quotes):
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


__all__ = ["FILE", "OUTCOMES", "Draft", "Frozen", "Ledger", "Sent", "Stale", "new_key"]
