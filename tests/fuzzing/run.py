"""Hand thousands of spoiled files to the program, each within limits of time and memory.

    python tests/fuzzing/run.py [family …] [-n 10000] [--from 0]
    python tests/fuzzing/run.py lot --show 123        # the file and what is said of case 123

Most cases write files: with TMPDIR on a disk that is memory (/dev/shm) they take half as long.

For each family it prints how many were tried, refused as they should be, accepted, and failed;
then each kind of failure once, with the number of a case. A case fails where anything but a plain
refusal comes of it, where a fault has no place or no cure, over 5 s of the processor, or over 1 GB.
The same number is the same file on every machine. Stopped (Ctrl-C, or a plain kill), it tells of
the cases that were done.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import re
import resource
import select
import signal
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

_HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(_HERE.parent), str(_HERE.parent.parent)]
os.environ["ESTIMATOR_SHOP"] = ""

from fuzzing import families, hostile  # noqa: E402

MOST_SECONDS = 5.0
MOST_MEMORY = 2**30
BATCH = 250
_HARD_LIMIT = 3 * 2**30
_PATIENCE = 300.0
"""Seconds on the wall after which a case counts as stuck."""


def main(arguments: list[str] | None = None) -> int:
    """Run what was asked for; 1 where anything failed."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    parser.add_argument("families", nargs="*", help=", ".join(families.FAMILIES))
    parser.add_argument("-n", type=int, default=10_000, help="cases of each family")
    parser.add_argument("--from", type=int, default=0, dest="first", help="number of the first")
    parser.add_argument("--show", type=int, help="one case: its file and its verdict")
    options = parser.parse_args(arguments)
    chosen = options.families or list(families.FAMILIES)
    strange = set(chosen) - set(families.FAMILIES)
    if strange:
        parser.error(f"no family {', '.join(sorted(strange))}")
    if options.show is not None:
        return show(chosen[0], options.show)
    bad = 0
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    for name in chosen:
        made = [key for key, (family, _, _) in hostile.FILES.items() if family == name]
        bad += _report(name, run(name, [*made, *range(options.first, options.first + options.n)]))
    return 1 if bad else 0


def run(name: str, cases: list) -> list[tuple[object, str, float, int]]:
    """Case, verdict, seconds and bytes of each, in processes of their own."""
    found, left = [], list(cases)
    with contextlib.suppress(KeyboardInterrupt):
        while left:
            done = _batch(name, left[:BATCH])
            found += done
            left = left[len(done):]
    return found


def _batch(name: str, cases: list) -> list[tuple[object, str, float, int]]:
    """As far as one process comes; a case that kills it, or is stuck, is the last one."""
    read, write = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(read)
        code = 1
        try:
            signal.signal(signal.SIGTERM, signal.SIG_DFL)
            resource.setrlimit(resource.RLIMIT_DATA, (_HARD_LIMIT, _HARD_LIMIT))
            # The pipe is closed last: then nothing of this process is left to be tidied up.
            with os.fdopen(write, "w") as out, tempfile.TemporaryDirectory() as folder:
                _work(name, cases, Path(folder), out)
            code = 0
        finally:
            os._exit(code)
    os.close(write)
    found, rest = [], b""
    while True:
        ready, _, _ = select.select([read], [], [], _PATIENCE)
        said = os.read(read, 1 << 16) if ready else b""
        if not said:
            break
        *lines, rest = (rest + said).split(b"\n")
        found += [tuple(json.loads(line)) for line in lines]
    os.close(read)
    with contextlib.suppress(ProcessLookupError):
        os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    if len(found) < len(cases) and not (found and found[-1][1].startswith("memory")):
        why = "stuck" if not ready else f"the process ended ({status})"
        found.append((cases[len(found)], why, _PATIENCE, 0))
    return found


def _work(name: str, cases: list, folder: Path, out) -> None:
    family = families.FAMILIES[name](folder)
    for case in cases:
        file, data = _made(family, case)
        before, began = _memory(), time.process_time()
        said = families.verdict(family, file, data)
        seconds, grown = time.process_time() - began, _memory() - before
        if seconds > MOST_SECONDS and said in (families.ACCEPTED, families.REFUSED):
            said = f"slow: {seconds:.0f} s, {said}"
        if grown > MOST_MEMORY:
            said = f"memory: {grown / 2**30:.1f} GB, {said}"
        print(json.dumps([case, said, seconds, grown]), file=out, flush=True)
        if grown > MOST_MEMORY:
            return


def _made(family: families.Family, case: int | str) -> tuple[str, bytes]:
    if isinstance(case, int):
        return family.case(case)
    _, file, make = hostile.FILES[case]
    return file, make()


def _memory() -> int:
    """Most that this process ever held. [bytes]"""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024


def _report(name: str, found: list) -> int:
    said = Counter(one[1] if one[1] in (families.ACCEPTED, families.REFUSED) else "failed"
                   for one in found)
    slowest = max(found, key=lambda one: one[2], default=("none", "", 0.0, 0))
    print(f"{name:12} tried {len(found):6}  refused {said['refused']:6}  accepted "
          f"{said['accepted']:6}  failed {said['failed']:5}  slowest {slowest[2]:.2f} s "
          f"({slowest[0]})", flush=True)
    kinds: dict[str, list] = {}
    for case, why, _, _ in found:
        if why not in (families.ACCEPTED, families.REFUSED):
            kinds.setdefault(_kind(why), []).append((case, why))
    for cases in sorted(kinds.values(), key=len, reverse=True)[:40]:
        print(f"    {len(cases):5} × {cases[0][1][:400]}\n            such as {cases[0][0]}")
    return said["failed"]


def _kind(why: str) -> str:
    """What failures have in common: without places, figures and what was quoted."""
    kind, _, rest = why.partition(": ")
    words = re.sub(r"""\d+|"[^"]*"|'[^']*'""", "#", rest.rpartition(": ")[2])
    return kind if kind.startswith("unprintable") else f"{kind}: {words[:60]}"


def show(name: str, number: int) -> int:
    """Write the file of a case beside this run and say what comes of it."""
    with tempfile.TemporaryDirectory() as folder:
        family = families.FAMILIES[name](Path(folder))
        file, data = family.case(number)
        Path(f"case-{number}-{file}").write_bytes(data)
        print(f"case-{number}-{file}: {families.verdict(family, file, data)}")
        family.read(file, data)
    return 0


if __name__ == "__main__":
    sys.exit(main())
