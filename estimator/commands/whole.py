"""Commands on the ledger as a whole: backup, restore, export, import."""

from __future__ import annotations

from pathlib import Path

from estimator.commands.shared import ledger_of, options_of, say, stoppable


def register(command) -> None:
    """Add the four commands."""
    for name, run, metavar, said in (
        ("backup", _backup, "FILE", "Copy the ledger to one file while others go on using it."),
        ("restore", _restore, "FILE", "Put a backup in the place of the ledger; a copy of what it "
                                      "holds is kept beside it."),
        ("export", _export, "DIR", "Write every table of the ledger as plain CSV and JSON."),
        ("import", _import, "DIR", "Fill an empty ledger from an exported folder."),
    ):
        options_of(command(name, run, said)).add_argument("place", metavar=metavar, type=Path)


def _backup(options) -> int:
    from estimator.ledger import backup

    with stoppable() as tell, ledger_of(options) as (_, ledger):
        file = backup(ledger, options.place, tell)
    return say(options, {"backup": file, "bytes": file.stat().st_size}, str(file))


def _restore(options) -> int:
    from estimator.ledger import restore

    with stoppable() as tell, ledger_of(options) as (_, ledger):
        counts, kept = restore(ledger, options.place, tell)
    held = f"\nWhat the ledger held is kept in {kept}." if kept else ""
    return say(options, {"rows": dict(counts), "kept": kept}, _counted(counts) + held)


def _export(options) -> int:
    from estimator.ledger import export

    with stoppable() as tell, ledger_of(options) as (_, ledger):
        counts = export(ledger, options.place, tell)
    return say(options, {"folder": options.place, "rows": dict(counts)},
               f"{options.place}: {_counted(counts)}")


def _import(options) -> int:
    from estimator.ledger import bring_in

    with stoppable() as tell, ledger_of(options) as (_, ledger):
        counts = bring_in(ledger, options.place, tell)
    return say(options, {"rows": dict(counts)}, _counted(counts))


def _counted(counts) -> str:
    """How many rows of what, as people read it."""
    said = [f"{count} {name.replace('_', ' ')}" for name, count in counts.items() if count]
    return ", ".join(said) or "nothing"
