"""Writers that are killed: run as a program by `test_ledger_crash`, on a folder and an address.

Four processes book entries as fast as they can and say so once the ledger has said that it kept
them. This one kills them, singly or all four at once, and puts new ones in their place. What was
said is printed at the end, for the test to look for.

    python tests/crash_writers.py FOLDER ADDRESS SEED KILLS
"""

from __future__ import annotations

import json
import os
import random
import select
import signal
import sys
import time
import traceback
from datetime import timedelta

from ledgers import DAY, NOW, UNBILLED, worked

from estimator.ledger import Ledger, TimeEntry

WRITERS = 4
SURE = ("long-ago", "long-day", "new-person", "before-job")
LONGEST_PAUSE = 0.15


def write(folder: str, address: str, name: str, pipe: int) -> None:
    """Book without end: entries, pairs of entries, corrections. Each has a name of its own."""
    chance = random.Random(name)
    ledger = Ledger(folder, address)
    count = 0
    while True:
        count += 1
        mark = f"{name}.{count}"
        entry = worked(0.01, person=name.split(".")[0], note=mark,
                       day=DAY - timedelta(chance.randrange(50)))
        if count % 3 == 0:
            pair = (entry, worked(0.02, person=entry.person, note=f"{mark}b", day=entry.day))
            kept = ledger.book(pair, unbilled=UNBILLED, sure=SURE, now=NOW)
        else:
            kept = ledger.book([entry], unbilled=UNBILLED, sure=SURE, now=NOW)
        if count % 4 == 0:
            os.write(pipe, (json.dumps([[one.id, one.note] for one in kept]) + "\n").encode())
            wrong = kept[0]
            kept = ledger.correct(
                TimeEntry, wrong.id, "on purpose", worked(
                    0.03, person=entry.person, note=f"{mark}c", day=entry.day),
                unbilled=UNBILLED, sure=SURE, now=NOW)
        os.write(pipe, (json.dumps([[one.id, one.note] for one in kept]) + "\n").encode())


def born(folder: str, address: str, name: str, pipe: int) -> int:
    """Process id of a new writer."""
    child = os.fork()
    if child:
        return child
    try:
        write(folder, address, name, pipe)
    except BaseException:
        last = traceback.format_exc()[-2000:]
        os.write(pipe, (json.dumps({"fault": last}) + "\n").encode())
    os._exit(1)


def main(folder: str, address: str, seed: int, kills: int) -> None:
    """Kill so many writers; print what they said."""
    chance = random.Random(seed)
    warm = Ledger(folder, address)  # what takes long to import is imported before the forks
    warm.jobs()
    warm.book([worked(1, person="W0", note="warm")], unbilled=UNBILLED, sure=SURE, now=NOW)
    warm.close()
    told, pipe = os.pipe()
    said = bytearray()
    writers = {place: born(folder, address, f"W{place}.0", pipe) for place in range(WRITERS)}
    killed = 0
    while killed < kills:
        # Until so many bookings more were kept, and then a moment, so as to hit any point of one.
        wanted = said.count(b"\n") + chance.randrange(6)
        until = time.monotonic() + LONGEST_PAUSE
        while said.count(b"\n") < wanted and (left := until - time.monotonic()) > 0:
            if select.select([told], [], [], left)[0]:
                said += os.read(told, 1 << 16)
        time.sleep(chance.uniform(0, 0.01))
        # Now and then all four at once, as when the power fails.
        places = range(WRITERS) if chance.random() < 0.1 else [chance.randrange(WRITERS)]
        for place in places:
            os.kill(writers[place], signal.SIGKILL)
        for place in places:
            os.waitpid(writers[place], 0)
            killed += 1
            writers[place] = born(folder, address, f"W{place}.{killed}", pipe)
    for writer in writers.values():
        os.kill(writer, signal.SIGKILL)
        os.waitpid(writer, 0)
    os.close(pipe)
    while more := os.read(told, 1 << 16):
        said += more
    sys.stdout.write(f"{killed}\n{said.decode()}")


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], int(sys.argv[3]), int(sys.argv[4]))
