"""Drafts of the page, quotes sent, and what those were computed from."""

from __future__ import annotations

import hashlib
import zlib
from collections import defaultdict
from collections.abc import Collection
from dataclasses import asdict, replace
from datetime import UTC, datetime

from estimator.catalogue import Era
from estimator.errors import BadInput, Fault
from estimator.ledger.opening import Database
from estimator.ledger.reading import last_frozen, revisions_in
from estimator.ledger.records import (
    OUTCOMES,
    Behind,
    Draft,
    Frozen,
    Sent,
    Stale,
    has_words,
    no_number,
    no_outcome,
)
from estimator.ledger.schema import Unreadable, tables
from estimator.ledger.sealing import Spoiled, seal, sealed, unsealed

_ERAS = frozenset(Era)


class Drafts(Database):
    """The drafts of the pages, each page with its own kind."""

    def drafts(self, kind: str = "", *, most: int | None = None, words: str = ""
               ) -> tuple[Draft, ...]:
        """Drafts of a kind, as `new_key` was told it, the last saved first; without content.

        Parameters
        ----------
        most
            At most so many; None is every one.
        words
            Only those that hold each of them, as `has_words` says: in the title, in the serial
            number of the machine, or in the number of a quote that was sent of it.

        Examples
        --------
        >>> from estimator.demo import small_shop
        >>> with small_shop() as (ledger, shop):
        ...     for key, title in (("a1", "Harbour Lights"), ("b2", "Night Ferry")):
        ...         draft = ledger.save(Draft(key, title, {"level": "clean"}))
        ...     [draft.key for draft in ledger.drafts(words="harbour")]
        ['a1']
        """
        if self._absent:
            return ()
        from sqlalchemy import func, select
        c = tables().drafts.c
        own = func.substr(c.key, len(kind) + 2) if kind else c.key  # without the kind
        mine = ~own.contains("-")
        if kind:
            mine &= c.key.startswith(f"{kind}-", autoescape=True)
        said = select(*_heads()).where(mine).order_by(c.saved.desc(), c.key)
        if words.split():
            return self._alike(said, words)[:most]
        return tuple(map(_head, self._read(said.limit(most))))

    def _alike(self, said, words: str) -> tuple[Draft, ...]:
        """Drafts of a statement that hold words."""
        # Not by the database: it would know capitals and accents only of some alphabets.
        from sqlalchemy import func, or_, select
        c, sent = tables().drafts.c, tables().sent.c
        numbers = defaultdict(list)
        for row in self._read(select(sent.number, sent.title).where(or_(
                func.lower(sent.number).contains(word.lower(), autoescape=True)
                for word in words.split()))):
            numbers[row.title].append(row.number)
        machine = c.content["machine"]
        rows = self._read(said.add_columns(machine["title"].as_string().label("machine"),
                                           machine["serial"].as_string().label("serial")))
        return tuple(_head(row) for row in rows if has_words(
            " ".join([row.title, row.serial or "", *numbers.get(row.machine, ())]), words))

    def drafts_of(self, keys: Collection[str]) -> tuple[Draft, ...]:
        """The drafts of these keys that there are, the last saved first; without content.

        Examples
        --------
        >>> from estimator.demo import small_shop
        >>> with small_shop() as (ledger, shop):
        ...     draft = ledger.save(Draft("a1", "Harbour Lights", {"level": "clean"}))
        ...     [draft.title for draft in ledger.drafts_of(["a1", "b2"])]
        ['Harbour Lights']
        """
        if self._absent or not keys:
            return ()
        from sqlalchemy import select
        c = tables().drafts.c
        return tuple(map(_head, self._read(
            select(*_heads()).where(c.key.in_(keys)).order_by(c.saved.desc(), c.key))))

    def draft(self, key: str) -> Draft | None:
        """One draft with its content; None if there is no such draft.

        Examples
        --------
        >>> from estimator.demo import small_shop
        >>> with small_shop() as (ledger, shop):
        ...     draft = ledger.save(Draft("a1", "Harbour Lights", {"level": "clean"}))
        ...     ledger.draft("a1").content, ledger.draft("b2")
        ({'level': 'clean'}, None)
        """
        if self._absent:
            return None
        from sqlalchemy import select
        table = tables().drafts
        rows = self._read(select(table).where(table.c.key == key))
        return Draft(**rows[0]._mapping) if rows else None

    def latest(self, kind: str = "") -> Draft | None:
        """The draft of a kind that was saved last; None if there is none.

        Examples
        --------
        >>> from estimator.demo import small_shop
        >>> with small_shop() as (ledger, shop):
        ...     draft = ledger.save(Draft("deal-a1", "Harbour Lights", {"asking": 2800}))
        ...     ledger.latest("deal").title, ledger.latest()
        ('Harbour Lights', None)
        """
        found = self.drafts(kind, most=1)
        return self.draft(found[0].key) if found else None

    def save(self, draft: Draft) -> Draft:
        """Keep a draft; returns it as kept, one revision on.

        Raises
        ------
        Stale
            If the ledger holds another revision than the one that this draft was made from.

        Examples
        --------
        >>> from estimator.demo import small_shop
        >>> with small_shop() as (ledger, shop):
        ...     first = ledger.save(Draft("a1", "Harbour Lights", {"level": "clean"}))
        ...     second = ledger.save(replace(first, content={"level": "shop-job"}))
        ...     first.revision, second.revision, ledger.draft("a1").content
        (1, 2, {'level': 'shop-job'})
        """
        from sqlalchemy import insert, select, update
        table = tables().drafts
        kept = replace(draft, revision=draft.revision + 1, saved=datetime.now(UTC))
        values = {"title": kept.title, "content": dict(kept.content or {}),
                  "revision": kept.revision, "saved": kept.saved}
        with self._writing() as connection:
            done = connection.execute(
                update(table).where(table.c.key == draft.key, table.c.revision == draft.revision)
                .values(values)).rowcount
            if not done:
                row = connection.execute(select(table).where(table.c.key == draft.key)).first()
                if row is not None:
                    raise Stale(Draft(**row._mapping))
                connection.execute(insert(table).values(key=draft.key, **values))
        return kept

    def forget(self, key: str) -> None:
        """Delete a draft; one that is not there is no fault.

        Examples
        --------
        >>> from estimator.demo import small_shop
        >>> with small_shop() as (ledger, shop):
        ...     draft = ledger.save(Draft("a1", "Harbour Lights", {}))
        ...     ledger.forget("a1")
        ...     ledger.drafts()
        ()
        """
        if self._absent:
            return
        from sqlalchemy import delete
        table = tables().drafts
        with self._writing() as connection:
            connection.execute(delete(table).where(table.c.key == key))


def _heads() -> list:
    """Columns of a draft without its content."""
    c = tables().drafts.c
    return [c.key, c.title, c.revision, c.saved]


def _head(row) -> Draft:
    return Draft(row.key, row.title, None, row.revision, row.saved)


class Quotes(Database):
    """Quotes sent, what came of them, and what they were computed from."""

    def sent(self, *, revisions: bool = True) -> tuple[Sent, ...]:
        """Every quote that was sent, the newest first; of one day, the highest number first.

        Parameters
        ----------
        revisions
            False leaves out those that revise a job: they say nothing about winning one.

        Examples
        --------
        >>> from estimator.demo import small_shop
        >>> with small_shop() as (ledger, shop):
        ...     [(one.title, one.outcome) for one in ledger.sent()][:2]
        [('Harbour Lights', 'won'), ('Salt Wind', 'won')]
        """
        if self._absent:
            return ()
        from sqlalchemy import select
        table = tables().sent
        said = select(table).order_by(table.c.sent.desc(), table.c.number.desc())
        if not revisions:
            said = said.where(table.c.number.not_in(select(tables().revisions.c.number)))
        rows = self._read(said)
        return tuple(Sent(**row._mapping) for row in rows)

    def sent_of(self, numbers: Collection[str]) -> dict[str, Sent]:
        """The quotes of these numbers, by number; those that were kept.

        Examples
        --------
        >>> from estimator.demo import small_shop
        >>> with small_shop() as (ledger, shop):
        ...     number = ledger.job("Night Ferry").number
        ...     found = ledger.sent_of([number, "none of ours"])
        ...     [(one.title, one.level) for one in found.values()]
        [('Night Ferry', 'full-restoration')]
        """
        if self._absent or not numbers:
            return {}
        from sqlalchemy import select
        table = tables().sent
        rows = self._read(select(table).where(table.c.number.in_(numbers)))
        return {row.number: Sent(**row._mapping) for row in rows}

    def can_become_jobs(self, count: int) -> tuple[Sent, ...]:
        """The newest quotes sent that are no job and not lost.

        A revision is agreed to within its job, and makes none of its own.

        Parameters
        ----------
        count
            At most so many.

        Examples
        --------
        >>> from datetime import date
        >>> from decimal import Decimal
        >>> from estimator.demo import small_shop
        >>> with small_shop() as (ledger, shop):
        ...     sent = ledger.record(Sent("Q7", "Glass Town", "clean", date(2026, 3, 9),
        ...                               Decimal(480), 350.0, "USD"))
        ...     [one.title for one in ledger.can_become_jobs(10)]
        ['Glass Town']
        """
        if self._absent:
            return ()
        from sqlalchemy import select
        t = tables()
        c = t.sent.c
        rows = self._read(
            select(t.sent).where(
                c.outcome != "lost", c.number.not_in(select(t.jobs.c.number)),
                c.number.not_in(select(t.revisions.c.number)))
            .order_by(c.sent.desc(), c.number.desc()).limit(count))
        return tuple(Sent(**row._mapping) for row in rows)

    def record(self, sent: Sent, frozen: Frozen | None = None) -> Sent:
        """Keep a quote that was sent, and what it was computed from; returns it as kept.

        The same number again replaces what was kept while that is open. Once it is decided it
        stays as it was won or lost, and that is what is returned. What it was computed from is
        never replaced: the later comes to stand before the earlier.

        Examples
        --------
        >>> from datetime import date
        >>> from decimal import Decimal
        >>> from estimator.demo import small_shop
        >>> sent = Sent("Q7", "Glass Town", "clean", date(2026, 3, 9), Decimal(480), 350.0, "USD")
        >>> with small_shop() as (ledger, shop):
        ...     kept, lost = ledger.record(sent), ledger.decide("Q7", "lost")
        ...     kept.outcome, ledger.record(sent).outcome
        ('open', 'lost')
        """
        with self._writing() as connection:
            return record_in(connection, sent, frozen)

    def frozen(self, number: str) -> Frozen | None:
        """What a quote was computed from, as it was sent last.

        None for a quote that was sent before the ledger kept that.

        Raises
        ------
        BadInput
            If no quote of that number was kept, with the nearest numbers.

        Examples
        --------
        >>> from estimator.demo import small_shop
        >>> with small_shop() as (ledger, shop):
        ...     held = ledger.frozen(ledger.job("Night Ferry").number)
        >>> held.choices["level"], held.survey["lines"][0]["assembly"], held.answer["currency"]
        ('full-restoration', 'flipper', 'USD')
        """
        if self._absent:
            raise BadInput(no_number(number, ()))
        from sqlalchemy import select
        t = tables()
        with self._reading() as connection:
            said = last_frozen(connection, number)
            if said is None:
                if not _is_sent(connection, number):
                    raise BadInput(no_number(number, _numbers(connection)))
                return None
            packed = connection.execute(select(t.shop_tables.c.content).where(
                t.shop_tables.c.hash == said["tables"])).scalar()
            return Frozen(**said | {"tables": unpacked(said["tables"], packed)})

    def frozen_of(self, numbers: Collection[str], *, spoiled: set[str] | None = None
                  ) -> dict[str, Frozen]:
        """What each of these quotes was computed from, as it was sent last; where that is known.

        Parameters
        ----------
        spoiled
            Gets the numbers of those that are not as they were kept; without it they are refused.

        Raises
        ------
        BadInput
            With all quotes that are not as they were kept.

        Examples
        --------
        >>> from estimator.demo import small_shop
        >>> with small_shop() as (ledger, shop):
        ...     held = ledger.frozen_of([job.number for job in ledger.jobs()])
        >>> len(held), len({one.tables for one in held.values()})
        (4, 1)
        """
        if self._absent or not numbers:
            return {}
        with self._reading() as connection:
            found = _sound(connection, numbers, spoiled)
            texts = _texts(connection, {said["tables"] for said in found.values()})
        return {number: Frozen(**said | {"tables": texts[said["tables"]]})
                for number, said in found.items()}

    def behind(self, numbers: Collection[str], *, spoiled: set[str] | None = None
               ) -> dict[str, Behind]:
        """The book that each of these quotes was reckoned by, as it was sent last.

        Left out are quotes of which that is not known. Of what they were computed from only the
        era is read, a word that no slip turns into another one: there are thousands of quotes.

        Parameters
        ----------
        spoiled
            As of `frozen_of`.

        Raises
        ------
        BadInput
            As `frozen_of`.

        Examples
        --------
        >>> from estimator.demo import small_shop
        >>> with small_shop() as (ledger, shop):
        ...     [one.era for one in ledger.behind([ledger.job("Night Ferry").number]).values()]
        ['dot-matrix']
        """
        if self._absent or not numbers:
            return {}
        with self._reading() as connection:
            found = _eras(connection, numbers)
            if not all(era in _ERAS for era, _ in found.values()):
                found = {number: (said["survey"].get("machine", {}).get("era"), said["tables"])
                         for number, said in _sound(connection, numbers, spoiled).items()}
            texts = _texts(connection, {mark for _, mark in found.values()})
        return {number: Behind(era, texts[mark]) for number, (era, mark) in found.items() if era}

    def decide(self, number: str, outcome: str) -> Sent:
        """Say what came of a quote: "won", "lost", or "open" again; returns it as kept.

        Raises
        ------
        BadInput
            If no quote of that number was kept, with the nearest numbers, for another outcome,
            or if a job was made of it, which was won.

        Examples
        --------
        >>> from datetime import date
        >>> from decimal import Decimal
        >>> from estimator.demo import small_shop
        >>> with small_shop() as (ledger, shop):
        ...     sent = ledger.record(Sent("Q7", "Glass Town", "clean", date(2026, 3, 9),
        ...                               Decimal(480), 350.0, "USD"))
        ...     ledger.decide("Q7", "lost").outcome
        'lost'
        """
        from sqlalchemy import select, update
        if outcome not in OUTCOMES:
            raise BadInput(no_outcome(outcome))
        if self._absent:
            raise BadInput(no_number(number, ()))
        table = tables().sent
        same = table.c.number == number
        jobs = tables().jobs
        with self._writing() as connection:
            for revised in revisions_in(connection, number=number):
                raise BadInput(Fault(
                    f"Quote {number} is a revision of the job {revised.job}.",
                    "Say what came of it with: estimator job agree, or estimator job refuse."))
            if outcome != "won" and connection.execute(
                    select(jobs.c.number).where(jobs.c.number == number)).first():
                raise BadInput(Fault(f"Quote {number} was accepted and is a job.",
                                     "It stays won; close the job if it ended."))
            if not connection.execute(update(table).where(same).values(outcome=outcome)).rowcount:
                raise BadInput(no_number(number, _numbers(connection)))
            return Sent(**connection.execute(select(table).where(same)).one()._mapping)


def record_in(connection, sent: Sent, frozen: Frozen | None) -> Sent:
    """Keep a quote on a connection that holds the lock; see `Quotes.record`."""
    from sqlalchemy import insert, select, update
    table = tables().sent
    values = asdict(sent) | {"cost_mean": float(sent.cost_mean)}
    same = table.c.number == sent.number
    row = connection.execute(select(table).where(same)).first()
    if row is None:
        connection.execute(insert(table).values(values))
    elif row.outcome == "open":
        connection.execute(update(table).where(same).values(values))
    else:
        return Sent(**row._mapping)
    if frozen is not None:
        _freeze(connection, frozen)
    return sent


def _is_sent(connection, number: str) -> bool:
    from sqlalchemy import select
    table = tables().sent
    return connection.execute(
        select(table.c.number).where(table.c.number == number)).first() is not None


def _numbers(connection) -> list[str]:
    """Numbers of the quotes sent, the newest first."""
    from sqlalchemy import select
    table = tables().sent
    return list(connection.execute(
        select(table.c.number).order_by(table.c.sent.desc(), table.c.number.desc())).scalars())


def _eras(connection, numbers: Collection[str]) -> dict[str, tuple[str | None, str]]:
    """Era and tables of each of these quotes, whatever else stands in the row; None if unread."""
    from sqlalchemy import select
    from sqlalchemy.exc import DatabaseError
    c = tables().frozen.c
    said = select(c.number, c.survey["machine", "era"].as_string(), c.tables)
    try:
        rows = connection.execute(said.where(c.number.in_(numbers)).order_by(c.id)).all()
    except DatabaseError:
        # A survey that is no JSON stops all of them.
        return dict.fromkeys(numbers, (None, ""))
    return {number: (era, mark) for number, era, mark in rows}


def _sound(connection, numbers: Collection[str], spoiled: set[str] | None) -> dict[str, dict]:
    """What was kept of these quotes; see `Quotes.frozen_of`."""
    from sqlalchemy import select
    table = tables().frozen
    rows = connection.execute(select(*sealed(table, connection))
                              .where(table.c.number.in_(numbers)).order_by(table.c.id))
    found = {row.number.decode(): unsealed(table, row._mapping) for row in rows}
    lost = {number for number, said in found.items() if said is None}
    if lost and spoiled is None:
        raise Spoiled(table, sorted(lost))
    if lost:
        spoiled |= lost
    return {number: said for number, said in found.items() if said is not None}


def _texts(connection, marks: Collection[str]) -> dict[str, str]:
    """The shop's tables by their marks: most quotes share theirs, so each text is there once."""
    from sqlalchemy import select
    table = tables().shop_tables
    return {row.hash: unpacked(row.hash, row.content)
            for row in connection.execute(select(table).where(table.c.hash.in_(marks)))}


def _mark(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def unpacked(mark: str, packed: bytes) -> str:
    """The shop's tables of a quote, which must be those that were packed.

    Raises
    ------
    Unreadable
        If they are not.
    """
    try:
        content = zlib.decompress(packed)
    except (TypeError, zlib.error):
        content = b""
    if _mark(content) != mark:
        raise Unreadable("the tables of a quote are not those that were kept")
    return content.decode()


def _freeze(connection, frozen: Frozen) -> None:
    """Add a frozen quote, unless the last one of its number says the same."""
    from sqlalchemy import insert, select
    t = tables()
    content = frozen.tables.encode()
    # Not of the packed bytes: another release of zlib may pack the same text in another way.
    mark = _mark(content)
    if frozen.revision_of is not None and not _is_sent(connection, frozen.revision_of):
        raise BadInput(no_number(frozen.revision_of, _numbers(connection)))
    if not connection.execute(
            select(t.shop_tables.c.hash).where(t.shop_tables.c.hash == mark)).first():
        connection.execute(insert(t.shop_tables).values(hash=mark, content=zlib.compress(content)))
    values = asdict(frozen) | {"tables": mark}
    try:
        last = last_frozen(connection, frozen.number)
    except Spoiled:
        last = None  # what is kept now comes to stand before it
    if last is None or values | {"kept": last["kept"]} != last:
        values["kept"] = datetime.now(UTC)
        connection.execute(insert(t.frozen).values(**values, **seal(t.frozen, values)))
