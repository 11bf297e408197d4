"""`estimator new-shop`, `check`, `template`: the files that a quote is made from."""

from __future__ import annotations

import shlex
from pathlib import Path

from estimator.commands.shared import fault_dict, options_of, say, shop_of
from estimator.errors import BadInput, Fault
from estimator.units import counted


def register(command) -> None:
    """Add the commands."""
    new = command("new-shop", _new_shop, "Make a shop folder: settings, tables, documents.")
    new.add_argument("folder", metavar="DIR", type=Path, help="where; made if it is missing")
    new.add_argument("--json", action="store_true", help="answer in JSON")
    check = command("check", _check, "List every fault of a survey or a table, with its place.")
    check.add_argument("file", metavar="FILE", type=Path,
                       help="a survey, CSV or XLSX, or a table, CSV")
    template = command("template", _template,
                       "Write a survey to fill in, with an era's usual counts.")
    template.add_argument("era", metavar="ERA",
                          help="such as dot-matrix; a wrong one lists them all")
    template.add_argument("-o", "--output", metavar="FILE", type=Path, required=True,
                          help="a name ending in .csv or .xlsx")
    for found in (check, template):
        options_of(found)


def _new_shop(options) -> int:
    from estimator.shop import new_shop

    folder = new_shop(options.folder)
    return say(options, {"shop": str(folder)},
               f"{folder / 'shop.toml'}: your rates, policy and terms\n"
               f"{folder / 'tables'}: your own hours, parts and prices")


def _check(options) -> int:
    from estimator import buying, catalogue

    names = {f"{row.table}.csv": row for row in (*catalogue.TABLES, *buying.EXTRA)}
    row_type = names.get(options.file.name)
    if row_type is not None and options.file.is_file():
        rows, faults, _ = catalogue.read_table(options.file, row_type)
        said = f"{counted(len(rows), 'row')}, no fault"
        notes: tuple[str, ...] = ()
    else:
        from estimator import survey

        found, faults, notes = survey.check(options.file, shop_of(options).catalogue)
        said = f"{counted(len(found.lines), 'line')}, no fault" if found else ""
    say(options, {"faults": [fault_dict(one) for one in faults], "notes": list(notes)},
        "\n".join([*map(str, faults), *notes,
                   counted(len(faults), "fault") if faults else f"{options.file.name}: {said}"]))
    return 2 if faults else 0


def _template(options) -> int:
    from estimator import survey
    from estimator.catalogue import Era
    from estimator.errors import one_of

    shop = shop_of(options)
    plain = "-".join(options.era.casefold().replace("_", " ").replace("-", " ").split())
    found = [era for era in Era if plain and era.startswith(plain)]
    if len(found) != 1:
        raise BadInput(Fault(f'"{options.era}" is not an era.', one_of(options.era, list(Era))))
    survey.write(survey.template(found[0], shop.catalogue), options.output, shop.catalogue)
    return say(options, {"survey": str(options.output)},
               f"{options.output}: correct the counts and conditions, then run\n"
               f"estimator quote {shlex.quote(str(options.output))} --level shop-job --out quote")
