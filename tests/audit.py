"""Say which pinned packages are affected by advisories in a folder; nothing is fetched.

    python tests/audit.py FOLDER

FOLDER holds a collection in the OSV format (https://ossf.github.io/osv-schema/), YAML or JSON, in
whatever folders. Both locks are compared with it. It answers 1 where something is affected, or
cannot be judged and wants a reader, and 2 where FOLDER holds no advisory on Python packages.
"""

from __future__ import annotations

import argparse
import json
import re
import sys
from collections.abc import Iterator
from pathlib import Path

import yaml
from packaging.utils import canonicalize_name
from packaging.version import InvalidVersion, Version

ROOT = Path(__file__).resolve().parent.parent
LOCKS = (ROOT / "requirements.lock", ROOT / "tests" / "requirements.lock")
_YAML = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
_UNREADABLE = (UnicodeError, json.JSONDecodeError, yaml.YAMLError)


def main(arguments: list[str] | None = None) -> int:
    """Compare the locks with the folder, print what is affected, and count."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    parser.add_argument("folder", type=Path, help="advisories in the OSV format")
    parser.add_argument("--lock", type=Path, nargs="+", default=LOCKS, help="other locks")
    options = parser.parse_args(arguments)
    pinned = {pin for lock in options.lock for pin in pins(lock.read_text(encoding="utf-8"))}
    seen, hits, days = 0, [], [""]
    for path, advisory in advisories(options.folder):
        if advisory is None:
            hits.append(f"{path}: cannot be read; look at it yourself")
            continue
        parts = [one for one in advisory["affected"] if _of_python(one)]
        seen += bool(parts)
        days.append(str(advisory.get("published", ""))[:10] if parts else "")
        if not advisory.get("withdrawn"):
            names = [str(advisory["id"]), *map(str, advisory.get("aliases") or ())]
            hits += {
                f"{name} {version}: {why}: {', '.join(names)}"
                for name, version in pinned for part in parts
                if canonicalize_name(part["package"]["name"]) == name
                and (why := verdict(part, version))
            }
    print("\n".join(sorted(hits)), end="\n" if hits else "")
    if not seen:
        print(f"{options.folder} holds no advisory on Python packages", file=sys.stderr)
        return 2
    print(f"{len(pinned)} pins against {seen} advisories, the newest of {max(days) or '?'}: "
          f"{len(hits) or 'nothing'} to look at")
    return 1 if hits else 0


def pins(lock: str) -> set[tuple[str, str]]:
    """Names, as PEP 503 spells them, and versions that a lock pins.

    >>> sorted(pins("Some_Name==1.0 ; python_version < '3.12'"))
    [('some-name', '1.0')]
    """
    found = re.findall(r"(?m)^([A-Za-z0-9._-]+)==([^\s;]+)", lock)
    return {(canonicalize_name(name), version) for name, version in found}


def advisories(folder: Path) -> Iterator[tuple[Path, dict | None]]:
    """Every advisory below a folder; None for a file that cannot be read."""
    for path in sorted(folder.rglob("*")):
        if path.suffix not in (".json", ".yaml", ".yml") or not path.is_file():
            continue
        try:
            text = path.read_text(encoding="utf-8")
            read = json.loads(text) if path.suffix == ".json" else yaml.load(text, Loader=_YAML)
        except _UNREADABLE:
            yield path, None
            continue
        if isinstance(read, dict) and "id" in read and isinstance(read.get("affected"), list):
            yield path, read


def verdict(affected: dict, version: str) -> str:
    """Why a version is affected by this part of an advisory; blank where it is not.

    `versions` and `ranges` each suffice (OSV schema, "Evaluation"); commits say nothing of a pin.

    >>> verdict({"ranges": [{"type": "ECOSYSTEM",
    ...                      "events": [{"introduced": "0"}, {"fixed": "1.10"}]}]}, "1.9")
    'affected, fixed in 1.10'
    >>> verdict({"versions": ["1.9.0"]}, "1.9")
    'affected, no fix is named'
    """
    ranges = [one for one in affected.get("ranges") or () if one.get("type") != "GIT"]
    listed = [str(one) for one in affected.get("versions") or ()]
    if not ranges and not listed:
        return "names no versions; read it"
    try:
        if not any(_same(one, version) for one in listed) and not any(
                _within(one["events"], Version(version)) for one in ranges):
            return ""
        fixes = [Version(event["fixed"]) for one in ranges for event in one["events"]
                 if "fixed" in event]
        later = [fix for fix in fixes if fix > Version(version)]
    except InvalidVersion as strange:
        return f"cannot be compared ({strange}); read it"
    return f"affected, fixed in {min(later)}" if later else "affected, no fix is named"


def _within(events: list[dict], version: Version) -> bool:
    """Whether the last event at or before a version leaves it affected."""
    inside = False
    for kind, at in sorted(((kind, at) for event in events for kind, at in event.items()),
                           key=lambda event: (event[1] != "0", Version(event[1]))):
        if kind == "introduced":
            inside = inside or at == "0" or version >= Version(at)
        elif version > Version(at) or (version == Version(at) and kind != "last_affected"):
            inside = False
    return inside


def _same(listed: str, version: str) -> bool:
    """Whether two spellings are one version; old releases have names that PEP 440 does not know."""
    try:
        return Version(listed) == Version(version)
    except InvalidVersion:
        return listed == version


def _of_python(affected: dict) -> bool:
    """Whether a part speaks of the index that the locks are made from."""
    return str((affected.get("package") or {}).get("ecosystem", "")).split(":")[0] == "PyPI"


if __name__ == "__main__":
    sys.exit(main())
