"""Let coverage lead the way to files that stop the program: a harness for atheris.

    python tests/fuzzing/guided.py survey-xlsx [-atheris_runs=100000] [other options of libFuzzer]

atheris is a tool for this script alone: install it beside what the program needs, in an environment
of your own (`pip install atheris`). Without it the script says so and does nothing. It reads what
`run.py` reads and judges as `run.py` does; the file that fails is written to the working folder.
"""

from __future__ import annotations

import contextlib
import os
import sys
import tempfile
from pathlib import Path
from random import Random

_HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(_HERE.parent), str(_HERE.parent.parent)]
os.environ["ESTIMATOR_SHOP"] = ""


def main(arguments: list[str]) -> int:
    """Fuzz one family until something fails or the runs are used up."""
    try:
        import atheris
    except ImportError:
        print("atheris is not installed: pip install atheris, in an environment of your own.")
        return 2
    # What the program imports only when it needs it would come too late to be watched.
    with atheris.instrument_imports(include=["estimator", "openpyxl", "tomllib"]):
        import openpyxl  # noqa: F401
        from fuzzing import families, mutations
    name = arguments[0] if arguments else ""
    if name not in families.FAMILIES:
        print(f"Name a family: {', '.join(families.FAMILIES)}.")
        return 2
    with tempfile.TemporaryDirectory() as folder:
        family = families.FAMILIES[name](Path(folder))
        corpus = Path(folder) / "corpus"
        corpus.mkdir()
        for place, (_, data) in enumerate(family.seeds):
            (corpus / str(place)).write_bytes(bytes([place % 256]) + data)

        def one(data: bytes) -> None:
            place, said = (data[0] if data else 0), data[1:]
            file = family.seeds[place % len(family.seeds)][0]
            verdict = families.verdict(family, file, said)
            if verdict not in (families.ACCEPTED, families.REFUSED):
                raise AssertionError(f"{file}: {verdict}")

        def spoil(data: bytes, most: int, seed: int) -> bytes:
            # By turns the structure, as by `run.py`; what is packed in an archive; the bytes.
            with contextlib.suppress(Exception):  # what is spoiled already may not be taken apart
                if seed % 2:
                    return data[:1] + family.spoil(Random(seed), data[1:])[: most - 1]
                if seed % 8 and data[1:3] == b"PK":
                    parts = mutations.unpacked(data[1:])
                    name = Random(seed).choice(list(parts))
                    parts[name] = atheris.Mutate(parts[name], most)
                    return data[:1] + mutations.packed(parts)[: most - 1]
            return atheris.Mutate(data, most)

        atheris.Setup([sys.argv[0], "-timeout=60", "-rss_limit_mb=3072", "-max_len=200000",
                       *arguments[1:], str(corpus)], one, custom_mutator=spoil)
        atheris.Fuzz()
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
