"""start.py: what it sets up, when it does so again, and what it says when something is in the way.

Nothing is installed here: commands are recorded, or stand-ins answer for them. The real thing is
done once by whoever runs `python3 start.py test`.
"""

from __future__ import annotations

import ast
import errno
import importlib.util
import json
import os
import shutil
import signal
import subprocess
import sys
import time
from collections import namedtuple
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
posix = pytest.mark.skipif(os.name == "nt", reason="uses a shell script as a stand-in")


@pytest.fixture
def start():
    """start.py as a module of its own."""
    spec = importlib.util.spec_from_file_location("start_under_test", ROOT / "start.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture
def project(tmp_path):
    """A project folder, at a path with a blank and accents, that has what start.py reads."""
    root = tmp_path / "näue kopié"
    (root / "tests").mkdir(parents=True)
    pinned = "flipper-bat==1.0 --hash=sha256:" + 64 * "0" + "\n"
    for name in ("requirements.lock", "tests/requirements.lock", "pyproject.toml"):
        (root / name).write_text(pinned, encoding="utf-8")
    return root


@pytest.fixture
def commands(start, monkeypatch):
    """The commands that a set-up would have run, one line each; .venv gets an empty Python."""
    ran = []

    def record(house, command):
        ran.append(" ".join(command[1:]))
        house.python.parent.mkdir(parents=True, exist_ok=True)
        house.python.touch()

    monkeypatch.setattr(start.House, "_do", record)
    return ran


def kinds(commands):
    """What each command was for, in one word."""
    words = {"-m venv": "venv", "tests/requirements.lock": "tests", "requirements.lock": "lock",
             "-e .": "project"}
    return [next(word for mark, word in words.items() if mark in line) for line in commands]


def test_first_run_makes_everything_and_the_second_nothing(start, project, commands, capsys):
    """The environment, the exact versions, then the project without a network; then never again."""
    start.House(project).set_up()
    assert kinds(commands) == ["venv", "lock", "project"]
    assert "--require-hashes" in commands[1]
    assert {"--no-index", "--no-deps", "--no-build-isolation"} <= set(commands[2].split())
    commands.clear()
    capsys.readouterr()
    start.House(project).set_up()
    assert commands == []
    assert capsys.readouterr().out == ""


def test_only_what_changed_is_installed_again(start, project, commands):
    """A new lock, a new project file or the wish to test each cost their own step only."""
    house = start.House(project)
    house.set_up()
    for change, steps in [(None, ["tests"]), ("requirements.lock", ["lock"]),
                          ("pyproject.toml", ["project"]), ("tests/requirements.lock", ["tests"])]:
        commands.clear()
        if change:
            (project / change).write_text("changed", encoding="utf-8")
        house.set_up(test=True)
        assert kinds(commands) == steps
    commands.clear()
    house.set_up()
    assert commands == []
    (project / "pyproject.toml").write_text("changed again", encoding="utf-8")
    house.set_up()
    house.set_up(test=True)  # what the tests need is still there
    assert kinds(commands) == ["project"]


def moved(start, project, monkeypatch):
    """The folder was given another name."""
    return project.rename(project.with_name("moved"))


def half_made(start, project, monkeypatch):
    """The set-up was cut short before its last step."""
    (project / ".venv" / "setup.json").unlink()
    return project


def torn(start, project, monkeypatch):
    """The record of the set-up was cut short while it was written."""
    (project / ".venv" / "setup.json").write_text('{"setup": 1, "pyth', encoding="utf-8")
    return project


def no_python(start, project, monkeypatch):
    """The Python inside went away, as after an upgrade of the system's."""
    start.House(project).python.unlink()
    return project


def other_python(start, project, monkeypatch):
    """start.py is run by another version of Python."""
    monkeypatch.setattr(start.sys, "version_info", (3, 99, 0))
    return project


def other_way(start, project, monkeypatch):
    """start.py itself sets up in another way than before."""
    monkeypatch.setattr(start, "SETUP", start.SETUP + 1)
    return project


@pytest.mark.parametrize(
    "happens", [moved, half_made, torn, no_python, other_python, other_way],
    ids=lambda function: function.__name__)
def test_an_environment_that_cannot_be_trusted_is_made_anew(
    start, project, commands, monkeypatch, happens
):
    """Whatever happened to it, the old .venv goes and a whole one comes, once."""
    start.House(project).set_up()
    (project / ".venv" / "left-over").touch()
    root = happens(start, project, monkeypatch)
    commands.clear()
    start.House(root).set_up()
    assert kinds(commands) == ["venv", "lock", "project"]
    assert not (root / ".venv" / "left-over").exists()
    commands.clear()
    start.House(root).set_up()
    assert commands == []


@pytest.mark.parametrize("step", [0, 1, 2])
def test_stopping_in_the_middle_leaves_nothing_that_looks_finished(
    start, project, commands, monkeypatch, capsys, step
):
    """Ctrl-C during any step ends in one sentence, and the next run begins afresh."""
    record = start.House._do

    def stop(house, command):
        if len(commands) == step:
            raise KeyboardInterrupt
        record(house, command)

    with monkeypatch.context() as patched:
        patched.setattr(start.House, "_do", stop)
        assert start.main(["--no-browser"], project) == 130
    assert "Stopped." in capsys.readouterr().err
    commands.clear()
    start.House(project).set_up()
    assert kinds(commands) == ["venv", "lock", "project"]


def test_stopping_while_something_is_renewed_is_not_forgotten(
    start, project, commands, monkeypatch
):
    """A lock that was half installed and then put back still means a new .venv."""
    start.House(project).set_up()
    lock = project / "requirements.lock"
    before = lock.read_bytes()
    lock.write_bytes(b"changed")

    def stop(house, command):
        raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr(start.House, "_do", stop)
        assert start.main(["--no-browser"], project) == 130
    lock.write_bytes(before)
    commands.clear()
    start.House(project).set_up()
    assert kinds(commands) == ["venv", "lock", "project"]


def test_an_environment_of_somebody_else_is_kept_aside(start, project, commands, capsys):
    """A .venv that start.py did not make is renamed, not deleted, and the person is told."""
    for number in (1, 2):
        theirs = project / ".venv"
        theirs.mkdir()
        (theirs / "pyvenv.cfg").touch()
        start.House(project).set_up()
        assert (project / f".venv-kept-{number}" / "pyvenv.cfg").exists()
        assert f".venv-kept-{number}" in capsys.readouterr().out
        shutil.rmtree(theirs)


@posix
def test_without_a_network_it_says_so(start, project, monkeypatch, capsys):
    """The real pip, given an index that nobody serves, ends in plain words and exit code 1."""
    for name in [name for name in os.environ if name.startswith("PIP_")]:
        monkeypatch.delenv(name)
    monkeypatch.setenv("PIP_INDEX_URL", "http://127.0.0.1:9/simple")
    monkeypatch.setenv("PIP_CONFIG_FILE", os.devnull)
    monkeypatch.setenv("PIP_RETRIES", "1")
    really = start.House._do

    def do(house, command):
        if "venv" not in command:
            return really(house, command)
        house.python.parent.mkdir()
        house.python.write_text(f'#!/bin/sh\nexec "{sys.executable}" "$@"\n', encoding="utf-8")
        return house.python.chmod(0o755)

    monkeypatch.setattr(start.House, "_do", do)
    assert start.main([], project) == 1
    words = capsys.readouterr().err
    assert "could not reach a package index" in words
    assert "Try again when this computer is online" in words
    assert "pip install" in words
    assert "  | ERROR: No matching distribution found for flipper-bat==1.0" in words
    assert "Traceback" not in words
    assert words.count("  | ") <= 15
    assert "flipper-bat" in (project / ".venv" / "setup.log").read_text(encoding="utf-8")
    assert not (project / ".venv" / "setup.json").exists()


@pytest.mark.parametrize(("said", "heard"), [
    # What pip and venv print, from memory of their sources and from trying.
    ("WARNING: Retrying after connection broken by 'NewConnectionError(...)'\n"
     "ERROR: No matching distribution found for numpy==2.4.6", "could not reach a package index"),
    ("Temporary failure in name resolution", "could not reach a package index"),
    ("ERROR: Could not install packages due to an OSError: [Errno 28] No space left on device",
     "disk is full"),
    ("ERROR: THESE PACKAGES DO NOT MATCH THE HASHES FROM THE REQUIREMENTS FILE.", "hash differs"),
    ("ERROR: Could not find a version that satisfies the requirement numpy==2.4.6 (from versions: "
     "2.0.0, 2.1.0)\nERROR: No matching distribution found for numpy==2.4.6",
     "no ready-built numpy==2.4.6"),
    ("ERROR: Could not find a version that satisfies the requirement numpy==2.4.6 (from -r x "
     "(line 1)) (from versions: none)\nERROR: No matching distribution found for numpy==2.4.6",
     "no release of numpy==2.4.6 at all. Either it could not reach a package index"),
    ("ERROR: Could not install packages due to an OSError: [Errno 13] Permission denied: '/x'",
     "cannot be written to"),
    ("something else went wrong", "stopped at a command that failed"),
])
def test_the_reason_is_found_in_what_the_command_said(start, said, heard):
    """The likely reason comes first, in plain words, then the command that was tried."""
    reason, tried = start.why(said, ["python", "-m", "pip"]).splitlines()
    assert heard in reason
    assert tried == "Tried: python -m pip"


def test_a_failed_command_shows_the_end_of_what_it_said(start, project):
    """The last fifteen lines are shown, and where the rest is."""
    house = start.House(project)
    house.venv.mkdir()
    with pytest.raises(start.Trouble) as trouble:
        house._do([sys.executable, "-c", "print(*range(40), sep='\\n'); raise SystemExit(3)"])
    shown = str(trouble.value).splitlines()
    assert shown[-15:] == [f"  | {number}" for number in range(25, 40)]
    assert shown[-16] == f"The last lines of {house.log}:"


@pytest.mark.parametrize(("number", "heard"), [
    (errno.ENOSPC, "is full"), (errno.EACCES, "cannot be written to"),
    (errno.EROFS, "cannot be written to"), (errno.EIO, os.strerror(errno.EIO)),
])
def test_a_folder_that_cannot_be_used_is_named(
    start, project, monkeypatch, capsys, number, heard
):
    """A full disk or a folder for reading only ends in a sentence, not in a traceback."""
    def refuse(*_, **__):
        raise OSError(number, os.strerror(number), str(project / ".venv"))

    monkeypatch.setattr(Path, "mkdir", refuse)
    assert start.main([], project) == 1
    words = capsys.readouterr().err
    assert heard in words
    assert str(project) in words


def test_a_small_disk_is_noticed_beforehand(start, project, commands, monkeypatch, capsys):
    """Too little room is said before anything is fetched."""
    usage = namedtuple("usage", "total used free")
    monkeypatch.setattr(start.shutil, "disk_usage", lambda _: usage(10**9, 9 * 10**8, 10**8))
    assert start.main([], project) == 1
    assert "only 100 MB are free" in capsys.readouterr().err
    assert commands == []


def test_a_python_without_its_venv_module_names_the_package(start, project, monkeypatch, capsys):
    """Debian ships venv apart; the message names what to install."""
    monkeypatch.setattr(start.importlib.util, "find_spec",
                        lambda name: None if name == "ensurepip" else object())
    assert start.main([], project) == 1
    words = capsys.readouterr().err
    assert "apt-get install python{}.{}-venv".format(*sys.version_info[:2]) in words


def test_an_incomplete_copy_is_said_to_be_one(start, project, capsys):
    """A missing lock is named."""
    (project / "requirements.lock").unlink()
    assert start.main([], project) == 1
    assert "requirements.lock is missing" in capsys.readouterr().err


@pytest.mark.parametrize("version", [(3, 8, 18), (3, 10, 13)])
def test_an_older_python_is_told_plainly(start, version):
    """The sentence says what is needed, what this is, and which other one would do."""
    words = start.too_old(version, runs=lambda name: name == "python3.12")
    assert "needs Python 3.11 or newer; this is Python {}.{}.".format(*version) in words
    assert words.endswith("Run it as: python3.12 start.py")
    assert "Install a newer one" in start.too_old(version, runs=lambda name: False)


def test_a_newer_python_passes(start):
    """3.11 and later, and a 4.0, are not refused."""
    assert not any(start.too_old(version) for version in [(3, 11, 0), (3, 14, 1), (4, 0, 0)])


def test_an_older_python_can_read_the_file_and_needs_nothing_installed():
    """The file parses as Python 3.8 and imports the standard library only."""
    tree = ast.parse((ROOT / "start.py").read_text(encoding="utf-8"), feature_version=(3, 8))
    names = {alias.name.split(".")[0] for node in ast.walk(tree) if isinstance(node, ast.Import)
             for alias in node.names}
    names |= {node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    assert len(names) > 5
    assert names <= sys.stdlib_module_names


@pytest.mark.parametrize("arguments", [["--nobrowser"], ["tests"], ["--no-browser", "test"]])
def test_an_unknown_argument_is_refused(start, project, commands, capsys, arguments):
    """Exit code 2, the word and the usage; nothing is set up."""
    assert start.main(arguments, project) == 2
    words = capsys.readouterr().err
    assert repr(arguments[-1]) in words
    assert "usage:" in words
    assert commands == []


@pytest.mark.parametrize("arguments", [["--help"], ["-h"], ["--no-browser", "-h"]])
def test_help_is_shown_without_setting_up(start, project, commands, capsys, arguments):
    """Both commands stand in it."""
    assert start.main(arguments, project) == 0
    words = capsys.readouterr().out
    assert "start.py [--no-browser]" in words
    assert "start.py test" in words
    assert commands == []


@pytest.fixture
def runs(start, commands, monkeypatch):
    """What the finished environment's Python was asked to run; a quote leaves its documents."""
    asked = []

    def run(house, *arguments):
        asked.append(arguments)
        if "quote" in arguments:
            out = house.root / arguments[arguments.index("--out") + 1]
            out.mkdir(parents=True)
            for name in start.PRODUCED:
                (out / name).touch()
        return 0

    monkeypatch.setattr(start.House, "run", run)
    return asked


def test_the_first_command_quotes_the_demo_and_opens_the_pages(start, project, runs, capsys):
    """Where each document is gets printed; the pages come last."""
    assert start.main([], project) == 0
    assert [line[2] for line in runs] == ["quote", "pages"]
    assert runs[0][3:] == ("data/demo/survey.csv", "--level", "full-restoration",
                           "--out", "out/demo")
    words = capsys.readouterr().out
    for name in ("quote.pdf", "estimate.xlsx", "parts-budget.csv"):
        assert str(project / "out" / "demo" / name) in words


def test_without_a_browser_it_ends_after_the_documents(start, project, runs):
    """--no-browser opens nothing."""
    assert start.main(["--no-browser"], project) == 0
    assert [line[2] for line in runs] == ["quote"]


def test_a_failed_quote_opens_no_pages(start, project, runs, monkeypatch):
    """The command's own exit code comes out and nothing else is tried."""
    monkeypatch.setattr(start.House, "run", lambda house, *arguments: runs.append(arguments) or 2)
    assert start.main([], project) == 2
    assert len(runs) == 1


def test_a_missing_document_is_noticed(start, project, runs, monkeypatch, capsys):
    """A quote that says it went well but left no PDF is a fault."""
    monkeypatch.setattr(start, "PRODUCED", {"quote.pdf": "", "other.pdf": ""})
    monkeypatch.setattr(start.House, "run", lambda house, *arguments: 0)
    assert start.main([], project) == 1
    assert "quote.pdf, other.pdf" in capsys.readouterr().err


def test_ctrl_c_is_the_way_to_end_the_pages(start, project, runs, monkeypatch, capsys):
    """It ends well and says so."""
    really = start.House.run

    def run(house, *arguments):
        if "pages" in arguments:
            raise KeyboardInterrupt
        return really(house, *arguments)

    monkeypatch.setattr(start.House, "run", run)
    assert start.main([], project) == 0
    assert "The pages are closed." in capsys.readouterr().out


def test_the_second_command_passes_its_options_to_pytest(start, project, runs, commands):
    """`start.py test -x -k money` runs pytest with -x -k money, after the tests' own set-up."""
    assert start.main(["test", "-x", "--help", "-k", "money"], project) == 0
    assert runs == [("-m", "pytest", "-x", "--help", "-k", "money")]
    assert kinds(commands) == ["venv", "lock", "tests", "project"]


@posix
@pytest.mark.parametrize(("sent", "code"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)])
def test_a_command_never_outlives_start(project, tmp_path, sent, code):
    """Stopped from the keyboard or by the system, it takes its command along."""
    shutil.copy(ROOT / "start.py", project)
    script = (
        f"import signal, sys; sys.path.insert(0, {str(project)!r}); import start\n"
        "signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))\n"
        f"house = start.House({str(project)!r})\n"
        "try: house._wait([sys.executable, '-c', "
        "'import os, time; print(os.getpid(), flush=True); time.sleep(60)'])\n"
        "except KeyboardInterrupt: sys.exit(130)\n"
    )
    with subprocess.Popen([sys.executable, "-B", "-c", script], stdout=subprocess.PIPE, text=True,
                          stderr=subprocess.DEVNULL, start_new_session=True) as parent:
        child = int(parent.stdout.readline())
        if sent is signal.SIGINT:
            os.killpg(parent.pid, sent)  # as a keyboard does: to both
        else:
            parent.send_signal(sent)
        assert parent.wait(20) == code
    for _ in range(100):
        try:
            os.kill(child, 0)
        except ProcessLookupError:
            return
        time.sleep(0.05)
    pytest.fail("the command is still running")


def test_commands_use_only_the_environment_made_for_them(start, project, monkeypatch):
    """A PYTHONPATH of the user's cannot put other versions in front; text is UTF-8."""
    monkeypatch.setenv("PYTHONPATH", "/somewhere/else")
    house = start.House(project)
    env = house.environment()
    assert "PYTHONPATH" not in env
    assert env["PYTHONUTF8"] == "1"
    assert env["PATH"].split(os.pathsep)[0] == str(house.python.parent)


def test_the_record_of_a_set_up_holds_no_more_than_it_needs(start, project, commands):
    """It names the files by their hashes, the Python and the place."""
    start.House(project).set_up()
    made = json.loads((project / ".venv" / "setup.json").read_text(encoding="utf-8"))
    assert set(made) == {"requirements.lock", "pyproject.toml", "setup", "python", "place"}
    assert made["place"] == str(project.resolve() / ".venv")
