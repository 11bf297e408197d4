"""The program speaks to no other computer: read from its source, and watched while it works."""

import ast
import functools
import json
import os
import re
import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest

import estimator

PACKAGE = Path(estimator.__file__).parent
# What can reach another computer or another program, and who may have it for what.
REACHING = {"socket", "ssl", "http", "urllib", "ftplib", "smtplib", "imaplib", "poplib",
            "telnetlib", "xmlrpc", "socketserver", "asyncio", "webbrowser", "subprocess",
            "requests", "httpx", "aiohttp", "tornado", "websockets", "websocket", "zmq",
            "distributed", "psycopg", "voila", "jupyter_server"}
MAY = {
    "pages/serving.py": {"socket", "subprocess", "webbrowser"},  # a free port, server, browser
    "pages/listening.py": {"voila", "jupyter_server"},  # this computer's browser
    "pages/opening.py": {"urllib"},  # reads the address that a page was asked for
    "pages/beside.py": {"asyncio"},  # waits for a thread
    "pages/later.py": {"asyncio"},  # waits for a moment
    "auction/running.py": {"socket", "distributed"},  # a Dask scheduler that was named
}
# Reading these runs what is in them, or hands words to a shell or to a compiler.
UNSAFE = {"pickle", "shelve", "marshal", "dill", "joblib", "cloudpickle", "yaml", "runpy", "code"}
CALLS = {"eval", "exec", "compile", "system", "popen", "read_pickle", "load_extension"}

# Run in a process of its own: a hook cannot be taken away again.
WATCHED = """
import json, os, sys

ASKS = {"socket.connect", "socket.sendto", "socket.bind", "socket.getaddrinfo",
        "socket.gethostbyname", "socket.gethostbyaddr", "urllib.Request", "http.client.connect",
        "ftplib.connect", "smtplib.connect", "subprocess.Popen", "os.system", "webbrowser.open"}

def watch(event, said):
    # A path is the address of a pipe on this computer.
    if event in ASKS and not (event.startswith("socket.") and isinstance(said[-1], (str, bytes))
                              and event in ("socket.connect", "socket.bind")):
        os.write(2, f"{event} {said!r}\\n".encode())
        os._exit(77)

sys.addaudithook(watch)
if __name__ == "__main__":
    import warnings
    from estimator.cli import main
    for words in json.loads(sys.argv[1]):
        code = main(words)
        if code:
            sys.exit(f"{words} ended with {code}")
        print("done", words[0], file=sys.stderr)
"""


@functools.cache
def sources():
    """Every module by its place in the package."""
    return tuple((path.relative_to(PACKAGE).as_posix(), ast.parse(path.read_bytes()))
                 for path in sorted(PACKAGE.rglob("*.py")))


def imported(tree):
    """First names of what a module imports, wherever it does."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name.partition(".")[0] for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            yield node.module.partition(".")[0]


def test_only_few_modules_can_reach_out_at_all():
    """A module that imports what can speak to others is named here with its reason."""
    found = {place: names for place, tree in sources() if (names := set(imported(tree)) & REACHING)}
    assert found == MAY


def test_nothing_that_is_read_is_run():
    """No pickle, no YAML, no eval, no shell: files of others are data."""
    for place, tree in sources():
        assert not set(imported(tree)) & UNSAFE, place
        for node in ast.walk(tree):
            if isinstance(node, ast.Call):
                name = getattr(node.func, "attr", getattr(node.func, "id", ""))
                # re.compile is another thing, and so is the compiler of our own templates.
                own = isinstance(node.func, ast.Attribute) and name == "compile"
                assert own or name not in CALLS, f"{place}, line {node.lineno}"
                assert not any(word.arg == "shell" for word in node.keywords), place


def test_templates_and_scripts_ask_for_nothing():
    """Typst imports our own files only; scripts make elements of words, and call nobody."""
    for path in PACKAGE.rglob("*.typ"):
        said = path.read_text(encoding="utf-8")
        assert set(re.findall(r'#import "([^"]*)"', said)) <= {"look.typ"}
        assert set(re.findall(r'\bjson\(([^)]*)\)', said)) <= {'"data.json"'}
        assert not re.search(r"\b(eval|read|plugin|include|yaml|toml|csv|xml)\s*\(", said), path
    for path in PACKAGE.rglob("*.js"):
        said = path.read_text(encoding="utf-8")
        assert not re.search(
            r"innerHTML|outerHTML|insertAdjacentHTML|document\.write|\beval\(|new Function"
            r"|\bfetch\(|XMLHttpRequest|WebSocket|sendBeacon|EventSource|\bimport\(|https?://(?!www\.w3\.org)",
            said), path


@pytest.mark.skipif(sys.platform == "win32", reason="processes are made otherwise there")
def test_commands_speak_to_nobody(tmp_path):
    """From a new shop to its papers, with every connection and every program watched for."""
    (tmp_path / "watched.py").write_text(WATCHED, encoding="utf-8")
    shop = ["--shop", "shop"]
    today, few = date.today().isoformat(), ["--trials", "200"]
    commands = [
        ["new-shop", "shop"], ["template", "dot-matrix", "-o", "a.xlsx"], ["check", "a.xlsx"],
        ["quote", "a.xlsx", "--level", "shop-job", "--out", "quote", *few, *shop],
        ["quotes", *shop],
        ["plan", "a.xlsx", "--level", "shop-job", "--start", today, "--seconds", "1", "--out",
         "plan", *few, *shop],
        ["resell", "a.xlsx", "--value", "5000", "--asking", "2000", "--out", "decision", *few],
        ["lot", "--example", "lot.csv"], ["lot", "lot.csv", "--out", "sale"],
        ["backup", "kept.sqlite", *shop], ["restore", "kept.sqlite", *shop],
        ["export", "plain", *shop], ["job", "list", *shop]]
    done = subprocess.run(
        [sys.executable, "watched.py", json.dumps(commands)], cwd=tmp_path, text=True,
        capture_output=True, env=os.environ | {"PYTHONPATH": str(PACKAGE.parent)})
    assert done.returncode == 0, done.stderr[-2000:]
    assert [line for line in done.stderr.splitlines() if line.startswith("done")] == [
        f"done {words[0]}" for words in commands]


@pytest.mark.skipif(sys.platform == "win32", reason="as above")
@pytest.mark.parametrize("call", [
    "socket.create_connection(('192.0.2.1', 80))", "socket.getaddrinfo('example.org', 80)",
    "__import__('subprocess').run(['true'])"])
def test_the_watch_would_see_it(tmp_path, call):
    """A connection, a question for a name, another program: each ends the process at once."""
    (tmp_path / "watched.py").write_text(WATCHED, encoding="utf-8")
    done = subprocess.run([sys.executable, "-c", f"import socket, watched; {call}"], cwd=tmp_path)
    assert done.returncode == 77
