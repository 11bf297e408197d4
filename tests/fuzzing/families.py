"""What a user can hand to the program, by family: good ones to begin with, and how it is read.

What a shop keeps by itself is in `kept`, and what is typed after `estimator` in `typed`.
"""

from __future__ import annotations

import importlib
import io
import json
import shutil
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path
from random import Random

from fuzzing import kept, mutations, typed
from fuzzing.family import ACCEPTED, NOW, REFUSED, Family, browsed, unfit, verdict

from estimator import auction, buying, catalogue, jobs, ledger, schedule, survey
from estimator.errors import BadInput, Fault
from estimator.ledger import rules
from estimator.pages import bench_form, deal, desk
from estimator.pages import typed as fields
from estimator.schedule import hours as opening
from estimator.shop import Settings, Shop, new_shop, open_shop
from estimator.survey import cells

UNBILLED = ("messages", "ordering", "sweeping", "unlisted")

SHEET = """\
person,day,hours,start,stop,job,item,unbilled,note
Anna,2026-03-04,"1,5",,,Harbour Lights,strip,,left one sticks
Ben,4.3.2026,,9:15,11:00,,,ordering,
Anna,3/3/2026,0:45,,,260302-A1,3,,rust
"""


# What is read


def surveys_csv(folder: Path) -> Family:
    """Surveys as CSV."""
    shop = open_shop()
    demo = (catalogue.data_folder() / "demo" / "survey.csv").read_bytes()
    made = survey.csv_bytes(survey.template("modern", shop.catalogue), shop.catalogue)
    return Family("survey-csv", (("survey.csv", demo), ("survey.csv", made)), mutations.of_table,
                  lambda name, data: survey.read_bytes(data, name, shop.catalogue, final=True))


def surveys_xlsx(folder: Path) -> Family:
    """Surveys as workbooks, of two writers."""
    shop = open_shop()
    demo = survey.read(catalogue.data_folder() / "demo" / "survey.csv", shop.catalogue)
    made = survey.xlsx_bytes(replace(demo, lines=demo.lines[:12]), shop.catalogue)
    return Family("survey-xlsx", (("survey.xlsx", made), ("survey.xlsx", resaved(made))),
                  mutations.of_workbook,
                  lambda name, data: survey.read_bytes(data, name, shop.catalogue, final=True))


def resaved(data: bytes) -> bytes:
    """The workbook as another program writes it, with dates, truths and errors in its cells."""
    import openpyxl

    book = openpyxl.load_workbook(io.BytesIO(data))
    sheet = book.worksheets[0]
    sheet["G2"], sheet["G3"], sheet["G4"] = date(2026, 3, 4), True, "#REF!"
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def surveys_json(folder: Path) -> Family:
    """JSON where a survey is wanted, and drafts as the ledger keeps them."""
    shop = open_shop()
    demo = survey.read(catalogue.data_folder() / "demo" / "survey.csv", shop.catalogue)
    kept = json.dumps(desk.as_json(desk.of_survey(replace(demo, lines=demo.lines[:6]))))

    def read(name: str, data: bytes) -> None:
        try:
            survey.read_bytes(data, name, shop.catalogue)
        except BadInput as error:
            wrong = unfit(error.faults, of_file=True)
            assert not wrong, wrong
        content = _json(data)
        if isinstance(content, dict):
            found, left_out = desk.from_json(content, shop.catalogue)
            assert not left_out or not unfit(left_out, of_file=False), left_out
            found.choices(), found.title, desk.as_json(found)
            json.dumps(desk.as_json(found), allow_nan=False)
            deal.from_json(content)

    return Family("survey-json", (("survey.json", kept.encode()),), mutations.of_json, read)


def _json(data: bytes):
    try:
        return json.loads(data)
    except (ValueError, RecursionError):
        return None


def tables(folder: Path) -> Family:
    """Each table by itself, the trade's and those a shop may add."""
    kinds = {f"{row.table}.csv": row for row in (*catalogue.TABLES, *buying.EXTRA)}
    seeds = tuple((path.name, b"\n".join(path.read_bytes().splitlines()[:40]))
                  for path in sorted(catalogue.data_folder().glob("*.csv")) if path.name in kinds)

    def read(name: str, data: bytes) -> None:
        path = folder / name
        path.write_bytes(data)
        _, faults, _ = catalogue.read_table(path, kinds[name])
        if faults:
            raise BadInput(faults)

    return Family("tables", seeds, mutations.of_table, read)


def shop_tables(folder: Path) -> Family:
    """A shop with one spoiled table, opened."""
    shop = new_shop(folder / "shop")
    seeds = tuple((path.name, path.read_bytes())
                  for path in sorted((shop / "tables").glob("*.csv")))
    good, held = dict(seeds), {}
    # `estimator.catalogue.load` is the function; tables are read by the module of that name.
    load = importlib.import_module("estimator.catalogue.load")
    fresh = load.read_table

    def read_table(path: Path, kind):
        # What is not spoiled is read once: else thirty tables are read for one.
        if path.parent.name == "tables" and path.read_bytes() != good[path.name]:
            return fresh(path, kind)
        if path not in held:
            held[path] = fresh(path, kind)
        return held[path]

    def read(name: str, data: bytes) -> None:
        path = shop / "tables" / name
        path.write_bytes(data)
        load._load.cache_clear()
        load.read_table = read_table
        try:
            open_shop(shop)
        finally:
            load.read_table = fresh
            path.write_bytes(good[name])

    return Family("shop-tables", seeds, mutations.of_table, read)


def shelf(folder: Path) -> Family:
    """A shop with a spoiled table of its own: what is on the shelf, in kits, does for another."""
    shop = open_shop(new_shop(folder / "shop"))
    own, part = shop.folder / "tables", next(iter(shop.catalogue.parts))
    seeds = (("stock.csv", "part,quantity,unit,basis,source,dated\n"
                           f"{part},3,each,shop records,counted,2026-03-04\n".encode()),
             *((name, (catalogue.data_folder() / name).read_bytes())
               for name in ("kits.csv", "substitutes.csv")))

    def read(name: str, data: bytes) -> None:
        (own / name).write_bytes(data)
        try:
            schedule.market_of(shop)
        finally:
            (own / name).unlink()

    return Family("shelf", seeds, mutations.of_table, read)


def settings(folder: Path) -> Family:
    """shop.toml, opened and used: the calendar, money, a quote's settings."""
    shop = new_shop(folder / "shop")
    made = (shop / "shop.toml").read_bytes()
    people = made + (b'\n[[people]]\nname = "Mara"\nskills = "bench finishing"\npace = 0.95\n'
                     b'hours = "9-17 9-17 closed 9-17 9-13 closed closed"\n'
                     b'[[closed]]\nfirst = 2026-12-24\nlast = 2027-01-03\nwhy = "break"\n')

    def read(name: str, data: bytes) -> None:
        (shop / name).write_bytes(data)
        found = open_shop(shop)
        used(found.settings)

    return Family("shop-toml", (("shop.toml", made), ("shop.toml", people)), mutations.of_toml,
                  read)


def used(found: Settings) -> None:
    """What the program does with settings before any quote."""
    from babel.dates import format_date

    from estimator.labour import hourly_cost
    from estimator.money import format_money, to_money
    from estimator.schedule.tasks import people_of

    format_money(Decimal("1234.50"), found.currency, found.locale)
    format_date(date(2026, 3, 4), locale=found.locale)
    to_money(found.storage_per_week, found.currency)
    hourly_cost(found.pay_per_hour, found.on_cost_share, found.paid_hours_per_year,
              found.overhead_per_year, found.productive_share)
    opening.calendars(found, date(2026, 3, 4), 400, people_of(found))


def sheets(folder: Path) -> Family:
    """Time sheets, booked into a ledger with a job."""
    from ledgers import with_job

    book = ledger.Ledger(folder)
    with_job(book)
    held = book.jobs()
    items = {job.number: book.items(job.number) for job in held}
    known = rules.Known(
        jobs={job.number: job for job in held},
        items={(one.job, one.item): one for rows in items.values() for one in rows},
        unbilled=UNBILLED, people=("Anna", "Ben"), now=NOW)
    book.close()

    def read(name: str, data: bytes) -> None:
        rows, entries = jobs.read_sheet(data, name, held, lambda job: items.get(job, ()), UNBILLED)
        faults, questions = rules.judge(entries, known, rows, name)
        if faults:
            raise BadInput(faults)
        if questions:
            raise ledger.Unsure(questions)

    return Family("time-sheet", (("march.csv", SHEET.encode()),), mutations.of_table, read)


def lots(folder: Path) -> Family:
    """Auction lists, CSV and XLSX."""
    shop = open_shop()
    demo = (catalogue.data_folder() / "demo" / "survey.csv").read_bytes()
    (folder / "survey.csv").write_bytes(demo)
    text = auction.EXAMPLE.replace("not seen", "not seen\n106,,,,,,,survey.csv,900,,,,")
    seeds = (("lot.csv", text.encode()), ("lot.csv", text.encode()),
             ("lot.xlsx", typed.workbook(text)))

    def spoil(chance: Random, data: bytes) -> bytes:
        how = mutations.of_workbook if data.startswith(b"PK") else mutations.of_table
        return how(chance, data)

    return Family("lot", seeds, spoil, lambda name, data: auction.read_bytes(
        data, name, shop.catalogue, folder=folder))


def lot_surveys(folder: Path) -> Family:
    """The survey of one machine beside an auction list that names it."""
    shop = open_shop()
    demo = (catalogue.data_folder() / "demo" / "survey.csv").read_bytes()
    rows = b"lot,year,value,survey\n1,1994,5000,survey.csv\n2,,4000,\"survey.csv\"\n"

    def read(name: str, data: bytes) -> None:
        (folder / name).write_bytes(data)
        auction.read_bytes(rows, "lot.csv", shop.catalogue, folder=folder)

    return Family("lot-survey", (("survey.csv", demo),), mutations.of_table, read)


def archives(folder: Path) -> Family:
    """Backups, SQLite and zip, and exported folders with one spoiled file."""
    from ledgers import worked

    source = folder / "source"
    source.mkdir()
    book = ledger.Ledger(source)
    from ledgers import with_job

    with_job(book)
    (sent,) = book.sent()
    book.record(replace(sent, number="260302-B1", outcome="open"), ledger.Frozen(
        "260302-B1", "0.1", {"lines": []}, {"level": "clean"}, {"margin": 0.1}, '{"parts":[]}',
        {"price": 0.3}))
    book.save(ledger.Draft("a", "Ünïcode", {"x": [1.1, None, 'a "b"']}))
    book.book([worked(2, job="260302-A1", item=1), worked(3)], unbilled=UNBILLED, now=NOW)
    book.add(ledger.Purchase(day=date(2026, 3, 4), supplier="Oakbench", what="Kit", quantity=2,
                             unit="kit", amount=Decimal("46.10"), currency="USD"), now=NOW)
    ledger.backup(book, folder / "ledger.backup")
    ledger.export(book, folder / "out")
    book.close()
    exported = {path.name: path.read_bytes() for path in sorted((folder / "out").glob("*.json"))}
    packed = mutations.packed(exported)
    seeds = (("backup.sqlite", (folder / "ledger.backup").read_bytes()), ("backup.zip", packed),
             *((name, text) for name, text in exported.items() if len(text) > 150))
    place, empty = folder / "given", folder / "empty"
    empty.mkdir()
    book = ledger.Ledger(empty, "")
    book.forget(book.save(ledger.Draft("a")).key)
    book.close()

    def spoil(chance: Random, data: bytes) -> bytes:
        if data[:1] in b"{[":
            return mutations.of_json(chance, data)
        if data.startswith(b"PK") and chance.random() < 0.8:
            parts = mutations.unpacked(data)
            name = chance.choice(list(parts))
            parts[name] = mutations.of_json(chance, parts[name])
            return mutations.packed(parts)
        return mutations.by_bytes(chance, data)

    def read(name: str, data: bytes) -> None:
        shutil.rmtree(place, ignore_errors=True)
        shutil.copytree(empty, place / "shop")
        into = ledger.Ledger(place / "shop", "")
        try:
            if name.endswith(".json"):
                (place / "in").mkdir()
                for other, text in exported.items():
                    (place / "in" / other).write_bytes(data if other == name else text)
                ledger.bring_in(into, place / "in")
            else:
                (place / name).write_bytes(data)
                ledger.restore(into, place / name)
        except BadInput:
            assert into.jobs() == [] or into.jobs() == (), "half of a refused ledger was kept"
            raise
        else:
            browsed(into)
        finally:
            into.close()

    return Family("archive", seeds, spoil, read)


def _fields(said: Mapping[str, str]) -> bytes:
    return json.dumps(said).encode()


def words(folder: Path) -> Family:
    """Fields of the pages: hours, clocks, amounts, a deal, a bench plan, lines of a survey."""
    shop = open_shop()
    form = {"person": "Anna", "day": "2026-03-04", "hours": "1,5", "start": "9:15", "stop": "11:00",
            "since": "8:00", "work": "unbilled:ordering", "note": "rust", "part": "", "what": "Kit",
            "supplier": "Oakbench", "quantity": "2", "unit": "kit", "amount": "46,10",
            "service": next(iter(shop.catalogue.services)), "fees": "0", "lot": "1",
            "value": "5000", "value_low": "", "value_high": "6000", "asking": "2 600",
            "fee": "10 %", "want": "15", "trials": "10000", "seed": "1", "budget": "1500",
            "ready_by": "2026-12-01", "confidence": "80", "way": "private", "standing": "offered"}
    lot = ledger.Outwork(day=NOW.date() - timedelta(3), service=form["service"], what="Legs",
                         event="sent", quantity=4, unit="piece", currency="USD", id=1)
    known = rules.Known(unbilled=UNBILLED, people=("Anna",), now=NOW)
    base = desk.of_survey(survey.template("dot-matrix", shop.catalogue))
    columns = ("count", "condition", "certainty", "length_mm", "area_cm2", "note")

    def spoil(chance: Random, data: bytes) -> bytes:
        said = json.loads(data)
        for _ in range(chance.choice((1, 1, 2, 4))):
            name = chance.choice(list(said))
            said[name] = mutations.of_text(chance, said[name].encode()).decode(
                "utf-8", "surrogatepass")
        return json.dumps(said).encode()

    def read(_name: str, data: bytes) -> None:
        said = json.loads(data)
        faults: list[Fault] = []

        def tried(how: Callable, *rest, into: list[Fault] = faults):
            try:
                return how(said, *rest)
            except BadInput as error:
                into.extend(error.faults)
            except cells.Wrong as wrong:
                into.append(Fault(wrong.what, wrong.fix, column="a field"))
            return None

        entry = tried(fields.time_entry, None)
        if entry:
            faults.extend(rules.judge([entry], known)[0])
        tried(fields.clock, None, NOW)
        for made in (tried(fields.purchase, None, shop.catalogue, "USD"),
                     tried(fields.sent_out, None, shop.catalogue, "USD"),
                     tried(fields.sale, None, "USD"), tried(fields.came_back, [lot], "USD")):
            if made:
                faults.extend(rules.amounts_wrong(made, known))
                asjson(made)
        tried(lambda values: deal.read(values, shop, date(2026, 3, 4)))
        tried(lambda values: desk.with_wishes(base, values["budget"], None))
        tried(lambda values: desk.with_worth(base, 1, values["amount"]))
        for value in said.values():
            changed, wrong = desk.edited(base, [(2, column, value) for column in columns],
                                         shop.catalogue)
            told = unfit(tuple(Fault(why, "(told with it)", column=column)
                               for rows in wrong.values() for column, why in rows.items()), False)
            assert not wrong or not told, told
            json.dumps(desk.as_json(changed), allow_nan=False).encode()
            for how in (lambda _, value=value: bench_form._with_hours(WHO, value),
                        lambda _, value=value: bench_form._weight(value)):
                found = []
                tried(how, into=found)
                assert not found or not unfit(tuple(found), False), found
        if faults:
            raise BadInput(faults)

    return Family("words", (("fields", _fields(form)),), spoil, read, of_file=False)


def asjson(record) -> None:
    """A record as `--json` prints it and the ledger keeps it."""
    from dataclasses import asdict

    from estimator.commands.shared import plain

    json.dumps(asdict(record), default=plain, allow_nan=False).encode()


def _who():
    from estimator.shop import Person

    return Person(name="Mara", skills="bench")


WHO = _who()

FAMILIES: Mapping[str, Callable[[Path], Family]] = {
    "survey-csv": surveys_csv, "survey-xlsx": surveys_xlsx, "survey-json": surveys_json,
    "tables": tables, "shop-tables": shop_tables, "shelf": shelf, "shop-toml": settings,
    "time-sheet": sheets, "lot": lots, "lot-survey": lot_surveys, "archive": archives,
    "words": words, **kept.FAMILIES, **typed.FAMILIES,
}

__all__ = ["ACCEPTED", "FAMILIES", "REFUSED", "Family", "Shop", "unfit", "verdict"]
