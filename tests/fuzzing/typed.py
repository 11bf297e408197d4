"""Commands as they are typed after `estimator`: words spoiled, and one file named for another."""

from __future__ import annotations

import contextlib
import csv
import functools
import io
import json
import os
import shlex
import shutil
from collections.abc import Callable, Mapping
from pathlib import Path
from random import Random
from unittest import mock

from fuzzing import mutations
from fuzzing.family import Family

from estimator import auction, catalogue, cli, survey
from estimator.catalogue import Condition
from estimator.errors import BadInput, Fault
from estimator.shop import new_shop

FILES = ("survey.csv", "changed.csv", "survey.xlsx", "draft.json", "operations.csv", "stock.csv",
         "march.csv", "lot.csv", "lot.xlsx", "backup", "backup.zip", "out", "shop",
         "shop/shop.toml", "shop/ledger.sqlite", "empty.csv", "nowhere.csv",
         "nowhere/survey.csv", "/dev/null", "/dev/zero", ".", "")

COMMANDS = tuple(shlex.split(line) for line in """
check survey.csv
check operations.csv
check stock.csv
template modern -o made.csv
new-shop another
quote survey.csv --level shop-job --confidence 0.8 --margin 0.25 --leave-out 20 21 --seed 1
quote survey.xlsx --level clean --pricing 'time and materials' --date 2026-03-04 --out papers
quote survey.csv --level shop-job --budget 4000 --worth 20=100 21=50 --add extra-led-set
quote survey.csv --level clean --ready-by 2027-03-01 --sampler sobol --trace price --depth 2
plan survey.csv --level clean --start 2026-03-04 --due 2026-04-01 --promise 0.8 --buy fastest
plan survey.csv --level clean --buy trade-off --day-worth 5 --parcel-worth 3 --workers 1
plan --jobs JOB --baskets --ways --shop shop
resell survey.csv --value 5000 --value-low 4000 --paid 100 --fee 0.1 --way auction --parts
resell survey.csv --value 5000 --asking 1000 --found working --ready-by 2027-03-01 --hours 20
lot lot.csv --value 4000 --premium 0.15 --want 0.2 --top 3
lot lot.xlsx --fetching 100 --hours-per-week 8 --all --date 2026-03-04 --out bids
lot --example made.csv
quotes --shop shop
quotes JOB won --shop shop
job accept OFFER --name Harbour --promised 2027-01-10 --date 2026-03-04 --shop shop
job list --shop shop
job show JOB --shop shop
job state JOB waiting --shop shop
job promise JOB 2027-01-10 --shop shop
job close JOB --date 2026-03-20 --shop shop
job change JOB changed.csv --reason find --look --shop shop
job change JOB --leave-out 20 --reason 20=wish --ready 2027-01-10 --shop shop
job survey JOB -o now.csv --shop shop
job status JOB --shop shop
job done JOB 1 2 --date 2026-03-20 --note swept --shop shop
job not-done JOB 3 --why slip --shop shop
job bought Kit --job JOB --amount 46,10 --supplier Oakbench --quantity 2 --unit kit --shop shop
job sent-out Legs --service powder-coat-small --job JOB --quantity 4 --shop shop
job came-back 1 --amount 20 --shop shop
job sold Legs --amount 100 --fees 5 --day 2026-03-20 --shop shop
job amounts --shop shop
job take-back purchases 1 --why slip --shop shop
time start --person Ben --unbilled ordering --sure new-person --shop shop
time stop --person Anna --note rust --shop shop
time add --person Anna --job JOB --item 1 --hours 1.5 --day 2026-03-05 --sure long-ago --shop shop
time add --person Anna --unbilled ordering --start 9:15 --stop 11:00 --day 2026-03-05 --shop shop
time list --since 2026-01-01 --until 2026-12-31 --person Anna --shop shop
time correct 1 --why slip --hours 2 --sure long-ago --shop shop
time import march.csv --sure long-ago overlap --shop shop
time kinds --shop shop
review --shop shop
review JOB --done 1=0.5 2 --shop shop
review proposals --shop shop
review edit flipper-rebuild --figure 1:30 --why slow --shop shop
review undo flipper-rebuild --shop shop
backup kept --shop shop
restore backup --shop shop
export again --shop shop
import out --shop fresh
""".strip().splitlines())

_LONG = {"quote": ("--trials", "100"), "resell": ("--trials", "100"), "lot": ("--trials", "100"),
         "plan": ("--trials", "100", "--seconds", "0")}
"""So that what is accepted is soon done."""


def commands(folder: Path) -> Family:
    """Every command that ends by itself, in a folder with files of every kind."""
    given = folder / "given"
    given.mkdir()
    numbers = _filled(given)
    seeds = tuple((words[0], json.dumps([numbers.get(word, word) for word in words]).encode())
                  for words in COMMANDS)
    options = sorted({word for words in COMMANDS for word in words if word.startswith("--")})

    def spoil(chance: Random, data: bytes) -> bytes:
        words = json.loads(data)
        for _ in range(chance.choice((1, 1, 2, 3))):
            at = chance.randrange(1, len(words)) if len(words) > 1 else 0
            files = [place for place, word in enumerate(words) if word in FILES]
            kind = chance.randrange(8)
            if kind < 3:
                words[at] = mutations.nasty(chance)[:5_000]
            elif kind < 5 and files:
                words[chance.choice(files)] = chance.choice(FILES)
            elif kind == 5:
                words[at:at] = [chance.choice(options), mutations.nasty(chance)[:5_000]]
            elif kind == 6 and at:
                del words[at]
            else:
                words.insert(at, words[at])
        # No system hands a zero byte over, and half characters only as these stand for bytes.
        return json.dumps([word.replace("\0", "") for word in words]).encode()

    def read(_name: str, data: bytes) -> None:
        words = json.loads(data)
        words += _LONG.get(words[0], ()) if words else ()
        words += ["--json"] if len(data) % 3 else []
        here, place = Path.cwd(), folder / "deep" / "down" / "work"
        shutil.rmtree(folder / "deep", ignore_errors=True)
        shutil.copytree(given, place)
        try:
            os.chdir(place)
            code, out, err = _run(words)
        finally:
            os.chdir(here)
        _judge(words, code, out, err)

    return Family("command", seeds, spoil, read, of_file=False)


def _filled(folder: Path) -> Mapping[str, str]:
    """Files of every kind, and a shop with a job and an offer; their numbers."""
    tables = catalogue.load()
    demo = survey.read(catalogue.data_folder() / "demo" / "survey.csv", tables)
    for name in ("survey.csv", "survey.xlsx"):
        survey.write(demo, folder / name, tables)
    (folder / "draft.json").write_text('{"machine": {"title": "Test"}, "lines": []}')
    (folder / "operations.csv").write_bytes(
        (catalogue.data_folder() / "operations.csv").read_bytes())
    (folder / "stock.csv").write_text("part,quantity,unit,basis,source,dated\n")
    (folder / "march.csv").write_text("person,day,hours,unbilled\nAnna,2026-03-05,1.5,ordering\n")
    (folder / "lot.csv").write_text(auction.EXAMPLE)
    (folder / "lot.xlsx").write_bytes(workbook(auction.EXAMPLE))
    first = next(place for place, line in enumerate(demo.lines) if line.assembly == "flipper")
    survey.write(demo.with_line(first, condition=Condition.HEAVY), folder / "changed.csv", tables)
    (folder / "empty.csv").write_text("")
    for name in ("shop", "fresh"):
        # Copied for each case: with its tables it would take longer than what is tried.
        shutil.rmtree(new_shop(folder / name) / "tables")
    here = Path.cwd()
    try:
        os.chdir(folder)
        for level in ("clean", "shop-job"):
            _done(f"quote survey.csv --level {level} --trials 100 --date 2026-03-02 --out papers")
        numbers = {one["level"]: one["number"] for one in json.loads(_done("quotes"))["quotes"]}
        job = numbers["clean"]
        for line in (f"job accept {job} --date 2026-03-03",
                     f"time add --job {job} --item 1 --hours 1 --day 2026-03-04 --person Anna "
                     "--sure long-ago",
                     "time start --unbilled ordering --person Anna",
                     "job bought Kit --amount 5 --day 2026-03-04",
                     "job sent-out Legs --service powder-coat-small --day 2026-03-04",
                     f"job done {job} 3 --date 2026-03-04", "backup backup", "export out"):
            _done(line)
        shutil.rmtree("papers")
    finally:
        os.chdir(here)
    (folder / "backup.zip").write_bytes(mutations.packed(
        {path.name: path.read_bytes() for path in (folder / "out").glob("*.json")}))
    return {"JOB": job, "OFFER": numbers["shop-job"]}


def workbook(text: str) -> bytes:
    """A table as a workbook of one sheet."""
    import xlsxwriter

    out = io.BytesIO()
    with xlsxwriter.Workbook(out, {"in_memory": True, "strings_to_numbers": True}) as book:
        sheet = book.add_worksheet("lots")
        for place, row in enumerate(csv.reader(io.StringIO(text))):
            sheet.write_row(place, 0, row)
    return out.getvalue()


def _done(line: str) -> str:
    code, out, err = _run([*shlex.split(line), "--shop", "shop", "--json"])
    assert code == 0, err
    return out


# What it reads is gone from it before it reads again; to make it takes longer than most commands.
_PARSER = functools.cache(cli._parser)


def _run(words: list[str]) -> tuple[int, str, str]:
    out, err = io.StringIO(), io.StringIO()
    with (contextlib.redirect_stdout(out), contextlib.redirect_stderr(err),
          mock.patch.object(cli, "_parser", _PARSER)):
        try:
            code = cli.main(words)
        except SystemExit as ended:
            code = ended.code or 0
    return code, out.getvalue(), err.getvalue()


def _judge(words: list[str], code: int, out: str, err: str) -> None:
    """Refused in words, or done and told in JSON that any program reads."""
    if code not in (0, 2):
        raise AssertionError(f"code {code}: {err}")
    said = json.loads(out, parse_constant=_no_number) if out and "--json" in words[-1:] else None
    if code == 0:
        return
    if said is not None:
        raise BadInput([Fault(**one) for one in said["faults"]])
    raise BadInput([Fault(line, "(told with it)") for line in (err or out).splitlines()
                    if line.strip()])


def _no_number(word: str):
    raise AssertionError(f"{word} is no number in JSON")


FAMILIES: Mapping[str, Callable[[Path], Family]] = {"command": commands}
