"""Jobs: from a quote as it was sent to a machine on the bench, and the hours booked to it.

`freezing` keeps all that a quote was computed from and opens it again; `work` makes a job of a
quote that was accepted; `change` revises it while the job is under way, as `asked` for, and
`agreeing` gives the job its new work items; `sheet` reads time sheets.

Examples
--------
A quote is sent, accepted, and revised for a wish that the customer agrees to:

>>> import tempfile
>>> from datetime import date
>>> from estimator.catalogue import Condition, Era, Level
>>> from estimator.ledger import Ledger
>>> from estimator.quote import Choices, quote
>>> from estimator.shop import open_shop
>>> from estimator.survey import Line, Machine, Survey
>>> shop, folder = open_shop(), tempfile.TemporaryDirectory()
>>> machine = Survey(Machine("Harbour Lights", era=Era.DOT_MATRIX), (
...     Line("flipper", 2, Condition.WORN), Line("leg", 4, Condition.HEAVY)))
>>> made = quote(machine, Choices(Level.RECONDITIONED, trials=100, on=date(2026, 3, 2)), shop,
...              compare=False)
>>> ledger = Ledger(folder.name)
>>> sent = keep(ledger, made, shop)
>>> quote(*reopen(ledger, sent.number), compare=False).price == sent.price
True
>>> job = accept(ledger, sent.number, on=date(2026, 3, 4))
>>> job.name, len(ledger.items(job.number)) == len(made.job.items)
('Harbour Lights', True)
>>> found, used = revise(ledger, "harbour lights", reasons=["wish"], on=date(2026, 3, 9),
...                      wish=Wish(extras=(("extra-led-set", 1),)))
>>> revision = offer(ledger, found, used)
>>> agreed, came, went, refused = agree(ledger, revision.number, on=date(2026, 3, 10))
>>> agreed.answer, bool(came), went, refused
('agreed', True, (), ())
>>> [line.assembly for line in survey_of(ledger, job.number)[0].lines]
['flipper', 'leg']
>>> ledger.close()
>>> folder.cleanup()
"""

from estimator.jobs.agreeing import agree, items_changed
from estimator.jobs.asked import Wish
from estimator.jobs.change import offer, revise, survey_of
from estimator.jobs.freezing import frozen, keep, opened, reopen
from estimator.jobs.sheet import book_sheet, read_sheet
from estimator.jobs.times import (
    day_of,
    hours_between,
    hours_of,
    last_before,
    moments,
    next_after,
    time_of,
)
from estimator.jobs.work import accept, items_of, quoted_work

__all__ = ["Wish", "accept", "agree", "book_sheet", "day_of", "frozen", "hours_between",
           "hours_of", "items_changed", "items_of", "keep", "last_before", "moments",
           "next_after", "offer", "opened", "quoted_work", "read_sheet", "reopen", "revise",
           "survey_of", "time_of"]
