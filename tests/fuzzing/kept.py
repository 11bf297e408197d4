"""What a shop keeps by itself and reads again: its ledger, quotes as they were sent, logs, pieces.

Nobody writes these by hand; a disk, a sync of two computers or a well-meant edit may spoil them.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable, Mapping
from dataclasses import asdict, replace
from datetime import date
from pathlib import Path
from random import Random
from unittest import mock

from fuzzing import mutations
from fuzzing.family import NOW, Family, browsed

from estimator import auction, catalogue, jobs, ledger
from estimator import quote as quotes
from estimator.auction import running
from estimator.catalogue import Era, Level
from estimator.jobs.freezing import services_of
from estimator.pages.proposing import Proposing
from estimator.pages.unbooked import Unbooked
from estimator.pages.workshop import Workshop
from estimator.resale import Deal
from estimator.review import decided, proposals, tables
from estimator.shop import new_shop, open_shop
from estimator.survey import template

DAY = date(2026, 3, 4)
KEY = "flipper-rebuild"


def ledgers(folder: Path) -> Family:
    """The ledger's own file, opened and looked through."""
    from ledgers import with_job, worked

    (folder / "made").mkdir()
    book = ledger.Ledger(folder / "made")
    with_job(book)
    book.book([worked(2, job="260302-A1", item=1), worked(3)], unbilled=("ordering",), now=NOW)
    book.save(ledger.Draft("a", "A draft", {"x": 1}))
    book.close()
    place = folder / "shop"

    def read(name: str, data: bytes) -> None:
        shutil.rmtree(place, ignore_errors=True)
        place.mkdir()
        (place / name).write_bytes(data)
        book = ledger.Ledger(place)
        try:
            browsed(book)
            book.save(ledger.Draft("b", "Another", {"x": 2}))
        finally:
            book.close()

    return Family("ledger", ((ledger.FILE, (folder / "made" / ledger.FILE).read_bytes()),),
                  mutations.by_bytes, read)


def logs(folder: Path) -> Family:
    """Decisions on proposals, kept by this version and by earlier ones; what stood in forms."""
    shop = new_shop(folder / "shop")
    own = shop / "tables"
    table = tables.table_of(own / "operations.csv", catalogue.Operation)
    row = table.text(KEY)
    one = decided.Decision(
        KEY, "accepted", why="too low", words="Flipper rebuild: 14 jobs say 0.95", book=0.75,
        says=0.95, low=0.85, high=1.06, chosen=0.95, evidence=(("260302-A1", 1.0, 1.3),),
        file="operations.csv", before=row, after=row.replace("0.75", "0.95"))
    with decided.one_writer(own):
        decided.note(own, replace(one, did="refused", chosen=None, file="", before="", after=""))
        decided.change(own, table, one)
    log = (own / decided.LOG).read_bytes()
    half = log.replace(b'"done": true}\n', b'"done": false}\n')
    old = [{"key": KEY, "before": one.before, "after": one.after, "proposal": {
        "book": 0.75, "says": 0.95, "low": 0.85, "high": 1.06,
        "evidence": [{"job": "260302-A1", "expected": 1.0, "booked": 1.3}]}}]
    typed = {"booking": {"hours": "1,5", "note": "rust"}, "amounts": {"what": "Kit"}}
    seeds = ((decided.LOG, log), (decided.LOG, half), ("accepted.json", json.dumps(old).encode()),
             ("typed-1f.json", json.dumps(typed).encode()))
    good = (own / "operations.csv").read_bytes()
    (shop / "typed").mkdir()
    workshop = Workshop(shop, open_shop(shop), None)

    def read(name: str, data: bytes) -> None:
        for other in (decided.LOG, "accepted.json"):
            (own / other).unlink(missing_ok=True)
        (own / "operations.csv").write_bytes(good)
        if name.startswith("typed"):
            (shop / "typed" / name).write_bytes(data)
            for form in ("booking", "amounts"):
                json.dumps(Unbooked(shop).of(form))
            return
        (own / name).write_bytes(data)
        found = proposals.decisions(workshop.shop)
        page._list.__wrapped__(page)
        for key in decided.standing(found):
            proposals.undo(workshop.shop, key)

    page = Proposing(workshop)
    return Family("logs", seeds, mutations.of_json, read, of_file=False)


def sent(folder: Path) -> Family:
    """A quote as it was sent, with all that it was computed from, opened and computed again."""
    shop = open_shop()
    made = template(Era.MODERN, shop.catalogue)
    made = replace(made, lines=made.lines[:8])
    offer = quotes.quote(made, quotes.Choices(Level.SHOP_JOB, trials=100, on=DAY), shop,
                         compare=False)
    held = asdict(jobs.frozen(offer, shop)) | {"answer": {}}
    # Not spoiled, for the ledger opens none whose hash is another; and most of the text.
    tables = held.pop("tables")

    def spoil(chance: Random, data: bytes) -> bytes:
        said = json.loads(data)
        name = chance.choice(("survey", "choices", "settings"))
        for _ in range(5):
            part = mutations.of_json(chance, json.dumps(said[name]).encode())
            try:
                said[name] = json.loads(part)
            except (ValueError, RecursionError):
                continue  # the ledger keeps nothing that is no JSON
            break
        return json.dumps(said).encode()

    def read(_name: str, data: bytes) -> None:
        kept = ledger.Frozen(**json.loads(data), tables=tables)
        survey, choices, then = jobs.opened(kept, kept.number)
        quotes.quote(survey, replace(choices, trials=min(choices.trials, 100)), then,
                     compare=False)
        services_of(kept)

    return Family("sent", (("quote", json.dumps(held, default=str).encode()),), spoil, read,
                  of_file=False)


def pieces(folder: Path) -> Family:
    """Finished pieces of an auction list, taken up again."""
    shop = open_shop()
    machines = [auction.Offered(str(lot), Era.DOT_MATRIX, "working", 4000.0 + lot, asking=1500.0)
                for lot in (1, 2)]
    terms = Deal(1, trials=100)

    # No piece has a say in these: drawn and named once, and not for each.
    judges, base = auction.Judge(terms, shop, DAY), running._base(terms, shop, False)

    def judge(keep: Path) -> list[auction.Judged]:
        with mock.patch.multiple(running, Judge=lambda *_: judges, _base=lambda *_: base):
            return auction.judge(machines, terms, shop, DAY, keep=keep)

    judge(folder / "made")
    (piece,) = (folder / "made").glob("*.json")

    def read(name: str, data: bytes) -> None:
        keep = folder / "pieces"
        keep.mkdir(exist_ok=True)
        (keep / name).write_bytes(data)
        rows = auction.ranked(machines, judge(keep))
        json.dumps(auction.as_dict(rows, terms, shop), allow_nan=False)

    return Family("pieces", ((piece.name, piece.read_bytes()),), mutations.of_json, read)


FAMILIES: Mapping[str, Callable[[Path], Family]] = {
    "ledger": ledgers, "logs": logs, "sent": sent, "pieces": pieces,
}
