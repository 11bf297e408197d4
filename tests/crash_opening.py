"""Opens a ledger; run as a program by `test_ledger_crash`, which kills it on the way.

    python tests/crash_opening.py FOLDER SEED TIMES

Makes a folder `N` from the ledger in FOLDER for each of so many times, opens the ledger in it in a
process of its own, and kills that at a random point.
"""

from __future__ import annotations

import os
import random
import shutil
import signal
import sys
import time
from pathlib import Path

import alembic.operations
import alembic.runtime.migration
import alembic.script  # noqa: F401 - loaded here, so that only the opening itself is cut short

from estimator.ledger import FILE, Ledger

LONGEST_PAUSE = 0.12


def main(folder: Path, seed: int, times: int) -> None:
    """Open and kill."""
    chance = random.Random(seed)
    for number in range(times):
        place = folder / str(number)
        place.mkdir()
        shutil.copyfile(folder / FILE, place / FILE)
        child = os.fork()
        if not child:
            Ledger(place).sent()
            os._exit(0)
        time.sleep(chance.uniform(0, LONGEST_PAUSE))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))
