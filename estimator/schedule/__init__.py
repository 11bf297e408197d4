"""The bench plan: who does what when, what is waited for, when machines are ready and how sure.

From estimates (`OnBench`) follow activities and what waits for what, by the rules of
`precedence.csv` (`tasks`, `rules`), on the open hours of people and shop (`hours`). A plan is drawn
at once (`listing`), bettered by constraint programming (`solving`), played to the minute and many
times over (`playing`, `dates`). `supplying` says what is ordered and sent out when, `ways` compares
two ways of working; `wording` says it in sentences, `contract` makes plain values.

Examples
--------
From a machine to its plan, dates, orders and lots:

>>> from datetime import date
>>> from estimator.catalogue import Condition, Era, Level
>>> from estimator.estimate import estimate
>>> from estimator.scope import scope
>>> from estimator.shop import open_shop
>>> from estimator.survey import Line, Machine, Survey
>>> shop = open_shop()
>>> lines = (Line("flipper", 2, Condition.HEAVY), Line("leg", 4, Condition.HEAVY))
>>> machine = Survey(Machine(era=Era.DOT_MATRIX), lines)
>>> job = estimate(scope(machine, Level.FULL, shop.catalogue), shop)
>>> jobs = [OnBench("Harbour Lights", job, due=date(2027, 2, 1))]
>>> market = market_of(shop)
>>> basket = basket_of(jobs, shop, offered=market)
>>> jobs = ordered(jobs, basket)
>>> made = plan(jobs, shop, start=date(2026, 11, 26), seconds=0)
>>> sure = outlook(made, jobs, shop, trials=1000)
>>> made.finishes["Harbour Lights"] < sure.ready["Harbour Lights"].p90
True
>>> sure.ready["Harbour Lights"].promise(0.8).chance >= 0.8
True
>>> dated = ordering_of(made, jobs, basket, chance=0.9)
>>> len(dated.orders) == len(basket.orders)
True
>>> [lot.service for lot in lots_of(made, jobs, shop).best.lots]
['blasting', 'powder-coat-set']
>>> sorted({wait_word(step, shop.catalogue) for step in made.waits})
['outwork', 'parts']
>>> as_dict(made, sure)["jobs"][0]["due"]
'2027-02-01'
"""

from estimator.schedule.contract import as_dict, critical
from estimator.schedule.dates import Outlook, Promise, Ready, outlook
from estimator.schedule.planning import plan
from estimator.schedule.records import BenchPlan, Proof, Step
from estimator.schedule.supplying import (
    basket_of,
    baskets_of,
    lots_of,
    market_of,
    needed_on,
    ordered,
    ordering_of,
    spares_of,
)
from estimator.schedule.tasks import Lead, OnBench, leads_of, people_of
from estimator.schedule.ways import Way, compared
from estimator.schedule.wording import basket_words, proof_words, spares_words, wait_word

__all__ = ["BenchPlan", "Lead", "OnBench", "Outlook", "Promise", "Proof", "Ready", "Step", "Way",
           "as_dict", "basket_of", "basket_words", "baskets_of", "compared", "critical", "leads_of",
           "lots_of", "market_of", "needed_on", "ordered", "ordering_of", "outlook", "people_of",
           "plan", "proof_words", "spares_of", "spares_words", "wait_word"]
