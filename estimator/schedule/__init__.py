"""The bench plan: who does what when, what is waited for, when machines are ready and how sure.

From estimates (`OnBench`) follow activities and what waits for what, by the rules of
`precedence.csv` (`tasks`, `rules`), on the open hours of people and shop (`hours`). A plan is drawn
at once (`listing`), bettered by constraint programming (`solving`), played to the minute and many
times over (`playing`, `dates`). `supplying` says what is ordered and sent out when, `ways` compares
two ways of working; `wording` says it in sentences, `contract` makes plain values.
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
    wait_word,
)
from estimator.schedule.tasks import Lead, OnBench, leads_of, people_of
from estimator.schedule.ways import Way, compared
from estimator.schedule.wording import basket_words, proof_words, spares_words

__all__ = ["BenchPlan", "Lead", "OnBench", "Outlook", "Promise", "Proof", "Ready", "Step", "Way",
           "as_dict", "basket_of", "basket_words", "baskets_of", "compared", "critical", "leads_of",
           "lots_of", "market_of", "needed_on", "ordered", "ordering_of", "outlook", "people_of",
           "plan", "proof_words", "spares_of", "spares_words", "wait_word"]
