"""An auction list: for each machine what to bid at most, what to do with it, and what that earns.

A list says little of each machine (`reading`). What machines of one era and state have in common
is drawn once (`cases`, `profiles`); all are judged by moments at once and the close ones by trials
(`judging`), in pieces that are kept when done, here or on a cluster (`running`). `ranking` puts
them in order; `papers` writes them.
"""

from estimator.auction.judging import Judge
from estimator.auction.ranking import Ranked, as_dict, cautions, names, ranked
from estimator.auction.reading import EXAMPLE, read, read_bytes
from estimator.auction.records import Bad, Judged, Offered
from estimator.auction.running import judge

__all__ = ["EXAMPLE", "Bad", "Judge", "Judged", "Offered", "Ranked", "as_dict", "cautions", "judge",
           "names", "ranked", "read", "read_bytes"]
