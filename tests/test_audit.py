"""The audit of the locks: advisories made by hand, after the OSV schema, PEP 440 and PEP 503."""

from __future__ import annotations

import json

import audit
import pytest
import yaml

RANGE = [{"introduced": "1.0"}, {"fixed": "1.10"}, {"introduced": "2.0rc1"}, {"fixed": "2.0.3"}]


def part(name="Some_Package", ecosystem="PyPI", **more):
    """The part of an advisory that says what is affected."""
    return {"package": {"name": name, "ecosystem": ecosystem}, **more}


def ranges(*events, kind="ECOSYSTEM"):
    """One range of these events."""
    return [{"type": kind, "events": list(events)}]


@pytest.fixture
def run(tmp_path, capsys):
    """Compare one pin with advisories; what was answered, and what was printed."""

    def compared(pin, *parts, suffix="json", **more):
        lock = tmp_path / "lock"
        lock.write_text(f"{pin} \\\n    --hash=sha256:00\n", "utf-8")
        folder = tmp_path / "vulns" / "deep"
        folder.mkdir(parents=True, exist_ok=True)
        advisory = {"id": "HAND-1", "aliases": ["HAND-ALIAS"], "published": "2026-01-02T03:04:05Z",
                    "affected": list(parts), **more}
        text = json.dumps(advisory) if suffix == "json" else yaml.safe_dump(advisory)
        (folder / f"HAND-1.{suffix}").write_text(text, "utf-8")
        answer = audit.main([str(tmp_path / "vulns"), "--lock", str(lock)])
        return answer, capsys.readouterr()

    return compared


@pytest.mark.parametrize(("version", "hit"), [
    ("0.9", False), ("1.0rc1", False), ("1.0", True), ("1.9", True), ("1.9.post1", True),
    ("1.10", False), ("1.11", False), ("2.0b1", False), ("2.0rc1", True), ("2.0", True),
    ("2.0.2", True), ("2.0.3rc1", True), ("2.0.3", False), ("3", False),
])
def test_a_range_is_read_in_the_order_of_versions(run, version, hit):
    """1.10 comes after 1.9, a candidate before its release; in whatever order the events stand."""
    for events in (RANGE, RANGE[::-1]):
        answer, printed = run(f"some-package=={version}", part(ranges=ranges(*events)))
        assert answer == hit
        assert (f"some-package {version}: affected" in printed.out) is hit


@pytest.mark.parametrize(("version", "hit"), [("2.17.0", True), ("2.17.0.post1", False),
                                              ("2.18", False)])
def test_the_last_affected_version_is_affected(run, version, hit):
    """A range may end with the last bad version where no good one is known."""
    answer, printed = run(f"some-package=={version}",
                          part(ranges=ranges({"introduced": "0"}, {"last_affected": "2.17.0"})))
    assert answer == hit
    assert ("no fix is named" in printed.out) is hit


def test_zero_comes_before_every_version(run):
    """An event at 0 includes what PEP 440 sorts before a release 0."""
    never_fixed = part(ranges=ranges({"introduced": "0"}))
    assert run("some-package==0.dev1", never_fixed)[0] == 1
    assert run("some-package==99", never_fixed)[0] == 1


def test_a_list_of_versions_suffices(run):
    """1.2 is 1.2.0; names of old releases that PEP 440 does not know stop nothing."""
    listed = part(versions=["4.0-final", "1.2.0"])
    assert run("some-package==1.2", listed)[0] == 1
    assert run("some-package==1.2.1", listed)[0] == 0
    # Beside a range that does not hold it, a listed version is affected all the same.
    both = part(versions=["1.2"], ranges=ranges({"introduced": "3"}))
    assert run("some-package==1.2", both)[0] == 1


def test_the_first_fix_is_told_with_every_name(run):
    """What is printed says what to move to, and by which names the advisory is known."""
    printed = run("some-package==1.2", part(ranges=ranges(*RANGE)))[1].out
    assert "some-package 1.2: affected, fixed in 1.10: HAND-1, HAND-ALIAS\n" in printed
    assert "1 pins against 1 advisories, the newest of 2026-01-02: 1 to look at" in printed


@pytest.mark.parametrize("spelt", ["some.package", "Some-Package", "SOME__package"])
def test_names_are_compared_as_pep_503_spells_them(run, spelt):
    """However a lock and an advisory write a name, it is one package."""
    bad = part(name="some-Package", versions=["1"])
    assert run(f"{spelt}==1", bad, suffix="yaml")[0] == 1
    assert run("some-packages==1", bad, suffix="yaml")[0] == 0


def test_what_is_withdrawn_is_not_told(run):
    """A withdrawn advisory was a mistake."""
    answer, printed = run("some-package==1", part(versions=["1"]), withdrawn="2026-02-01T00:00:00Z")
    assert answer == 0
    assert "nothing to look at" in printed.out


def test_other_ecosystems_and_commits_say_nothing(run):
    """A package of that name elsewhere is another one; a range of commits knows no versions."""
    commits = ranges({"introduced": "0"}, kind="GIT")
    assert run("some-package==1", part(versions=["2"], ranges=commits))[0] == 0
    answer, printed = run("some-package==1", part(ecosystem="npm", versions=["1"]))
    assert answer == 2
    assert "holds no advisory on Python packages" in printed.err


@pytest.mark.parametrize(("more", "words"), [
    ({}, "names no versions"),
    ({"ranges": ranges({"introduced": "0"}, {"fixed": "next year"})}, "cannot be compared"),
])
def test_what_cannot_be_judged_wants_a_reader(run, more, words):
    """Silence would be read as "not affected"."""
    answer, printed = run("some-package==1", part(**more))
    assert answer == 1
    assert words in printed.out


def test_files_that_are_no_advisories_are_passed_over_and_broken_ones_told(run, tmp_path):
    """A collection has settings of its own beside advisories; a torn file may have been one."""
    assert run("some-package==1", part(versions=["2"]))[0] == 0
    (tmp_path / "vulns" / "settings.yaml").write_text("on: push\n", "utf-8")
    (tmp_path / "vulns" / "list.json").write_text("[1]", "utf-8")
    assert run("some-package==1", part(versions=["2"]))[0] == 0
    (tmp_path / "vulns" / "torn.yaml").write_text("id: [", "utf-8")
    answer, printed = run("some-package==1", part(versions=["2"]))
    assert answer == 1
    assert "torn.yaml: cannot be read" in printed.out


def test_both_locks_are_read():
    """Every pin of both locks, also where two versions of one package stand for two Pythons."""
    pinned = {pin for lock in audit.LOCKS for pin in audit.pins(lock.read_text("utf-8"))}
    lines = {line.split()[0] for lock in audit.LOCKS
             for line in lock.read_text("utf-8").splitlines() if line and not line[0].isspace()}
    assert {f"{name}=={version}" for name, version in pinned} == lines
