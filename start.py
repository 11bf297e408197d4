"""Set up the restoration estimator in this folder and do its main job.

Needs Python 3.11 or newer and nothing else; works on Linux, macOS and Windows. Everything it
installs goes into .venv beside this file. The syntax is kept plain so that an older Python
can read the file far enough to say that it is too old.
"""

import contextlib
import errno
import hashlib
import importlib.util
import json
import os
import platform
import re
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

USAGE = """\
usage: python3 start.py [--no-browser]     quote the demo survey, then open the pages
       python3 start.py test [OPTIONS]     run the tests; OPTIONS go to pytest
       python3 start.py --help             show this text

The first run makes .venv in this folder and installs the exact versions listed in
requirements.lock; that takes a minute or two and needs a network. Later runs start at once.
End the pages with Ctrl-C.
"""

OLDEST = (3, 11)
SETUP = 1  # raise it when this file sets up differently, so that every .venv is made anew
NEEDED_MB = 900  # what a finished .venv takes on the disk, and a little
BEAT_S = 10  # between two signs of life
LOCK, TEST_LOCK, PROJECT = "requirements.lock", "tests/requirements.lock", "pyproject.toml"
SURVEY, OUT = "data/demo/survey.csv", "out/demo"
PRODUCED = {
    "quote.pdf": "the quote, for the customer",
    "estimate.xlsx": "the estimate behind it, for the shop",
    "parts-budget.csv": "what to buy",
}
AGAIN = "Run the same command again when that is put right."


def say(text):
    """Tell the person at the keyboard at once, in step with what commands print."""
    print(text, flush=True)


def complain(text):
    """The same for what is wrong."""
    print(text, file=sys.stderr, flush=True)


class Trouble(Exception):
    """Something a person has to put right; the text says what and how."""


def runs(name):
    """Whether a command of that name is there and works."""
    return bool(shutil.which(name)) and not subprocess.call(
        [name, "-c", ""], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )


def too_old(version, runs=runs):
    """Why this Python will not do, or an empty text; names a newer one where there is one."""
    if tuple(version[:2]) >= OLDEST:
        return ""
    need = "The restoration estimator needs Python {}.{} or newer; this is Python {}.{}.".format(
        *OLDEST, *version[:2]
    )
    for minor in range(19, OLDEST[1] - 1, -1):
        name = f"python3.{minor}"
        if runs(name):
            return f"{need} Run it as: {name} start.py"
    return need + " Install a newer one and run this again with it."


class House:
    """One project folder and the .venv in it."""

    def __init__(self, root):
        self.root = Path(root).resolve()
        self.venv = self.root / ".venv"
        self.log = self.venv / "setup.log"
        self.stamp = self.venv / "setup.json"
        self.python = self.venv / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
        self.began = time.monotonic()

    # What is there, what is wanted.

    def wanted(self, test):
        """What the finished .venv must have been made from."""
        files = [LOCK, PROJECT] + ([TEST_LOCK] if test else [])
        wanted = {name: self._digest(name) for name in files}
        wanted["setup"] = SETUP
        wanted["python"] = "{} {}.{} {}".format(
            platform.python_implementation(), *sys.version_info[:2], platform.machine()
        )
        wanted["place"] = str(self.venv)
        return wanted

    def _digest(self, name):
        try:
            return hashlib.sha256((self.root / name).read_bytes()).hexdigest()
        except FileNotFoundError:
            raise Trouble(f"{name} is missing from {self.root}. Fetch a full copy again.") from None

    def made_from(self):
        """What the .venv was made from; empty when it is missing, half-made or has no Python."""
        try:
            made = json.loads(self.stamp.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return {}
        return made if isinstance(made, dict) and self.python.exists() else {}

    def changed(self, test):
        """Names of what is wanted and differs from what is there."""
        made = self.made_from()
        return [name for name, value in self.wanted(test).items() if made.get(name) != value]

    # Making it so.

    def set_up(self, test=False):
        """Make .venv, or bring it up to date; at once when nothing changed."""
        changed = self.changed(test)
        if not changed:
            return
        made = self.made_from()
        anew = any(name in changed for name in ("setup", "python", "place"))
        if anew:
            self._check_machine()
            made, changed = {}, list(self.wanted(test))
            self._progress(f"making {self.venv}")
            self._clear()
            self.venv.mkdir()
            self.log.write_text("", encoding="utf-8")
            # The Python outside, even where this file is run by the one inside.
            outside = getattr(sys, "_base_executable", None) or sys.executable
            self._do([outside, "-m", "venv", str(self.venv)])
        self.stamp.unlink(missing_ok=True)  # from here on it is half-made
        for lock in (LOCK, TEST_LOCK):
            if lock in changed:
                self._install(lock)
        if PROJECT in changed:
            self._progress("installing the estimator itself")
            self._pip("--no-deps", "--no-build-isolation", "--no-index", "-e", ".")
        made.update(self.wanted(test))
        draft = self.stamp.with_suffix(".new")
        draft.write_text(json.dumps(made, indent=1), encoding="utf-8")
        draft.replace(self.stamp)
        self._progress("set up")

    def _check_machine(self):
        missing = [name for name in ("venv", "ensurepip") if not importlib.util.find_spec(name)]
        if missing:
            package = "python{}.{}-venv".format(*sys.version_info[:2])
            raise Trouble(
                f"This Python comes without {' and '.join(missing)}. On Debian and Ubuntu: "
                f"apt-get install {package} (or python3-venv). {AGAIN}"
            )
        free_mb = shutil.disk_usage(self.root).free // 10**6
        if free_mb < NEEDED_MB:
            raise Trouble(
                f"The set-up takes about {NEEDED_MB} MB and only {free_mb} MB are free "
                f"on the disk that holds {self.root}. Free some space. {AGAIN}"
            )

    def _clear(self):
        """Take an old .venv away; one that something else made is kept aside."""
        if not os.path.lexists(str(self.venv)):
            return
        ours = self.log.exists() or self.stamp.exists()
        plain = self.venv.is_dir() and not self.venv.is_symlink()
        if plain and (ours or not any(self.venv.iterdir())):
            shutil.rmtree(str(self.venv))
            return
        number = 1
        while os.path.lexists(str(self.root / f".venv-kept-{number}")):
            number += 1
        kept = self.root / f".venv-kept-{number}"
        self.venv.rename(kept)
        say(f"The .venv that stood here was made by something else; it is now {kept.name}.")

    def _install(self, lock):
        text = (self.root / lock).read_text(encoding="utf-8")
        count = len(re.findall(r"^[a-z0-9].*==", text, re.M))
        self._progress(f"installing about {count} packages at the exact versions in {lock}")
        # Ready-built files only: building one would fetch tools that no lock names.
        self._pip("--require-hashes", "--only-binary=:all:", "-r", lock)

    def _pip(self, *options):
        quiet = ["--disable-pip-version-check", "--progress-bar=off"]
        self._do([str(self.python), "-m", "pip", "install", *quiet, *options])

    def _do(self, command):
        """Run one command, its words into setup.log; Trouble, with the end of them, if it fails."""
        with open(self.log, "ab") as log:
            log.write(("\n$ " + " ".join(command) + "\n").encode())
            log.flush()
            start = log.tell()
            code = self._wait(command, lambda: self._beat(start), stdin=subprocess.DEVNULL,
                              stdout=log, stderr=subprocess.STDOUT)
        if code:
            words = self._words(start)
            raise Trouble(f"{why(words, command)}\n\n{self._end_of(words)}")

    def _words(self, start):
        with open(self.log, "rb") as log:
            log.seek(start)
            return log.read().decode("utf-8", "replace")

    def _beat(self, start):
        words = self._words(start)
        if "Installing collected packages" in words:
            self._progress("... unpacking")
        else:
            found = re.findall(r"^(?:Collecting|Processing|Requirement already)", words, re.M)
            self._progress(f"... {len(found)} packages fetched" if found else "...")

    def _end_of(self, words, lines=15):
        end = [line.rstrip() for line in words.splitlines() if line.strip()][-lines:]
        return "\n".join([f"The last lines of {self.log}:", *(f"  | {line:.200}" for line in end)])

    def _progress(self, text):
        say(f"{time.monotonic() - self.began:5.0f} s  {text}")

    # Running things in it.

    def environment(self):
        """Environment of every command: the .venv's packages only, text as UTF-8 everywhere."""
        env = {k: v for k, v in os.environ.items() if k not in ("PYTHONPATH", "PYTHONHOME")}
        # UTF-8 also lets an older Python on Windows find this folder when its path has accents.
        env.update(PYTHONUTF8="1", PIP_USER="0", VIRTUAL_ENV=str(self.venv))
        env["PATH"] = os.pathsep.join([str(self.python.parent), env.get("PATH", "")])
        return env

    def run(self, *arguments):
        """Run the .venv's Python in the project folder, in the open; its exit code."""
        return self._wait([str(self.python), *arguments])

    def _wait(self, command, beat=None, **streams):
        """Exit code of a command that never outlives this process, however that is stopped."""
        child = subprocess.Popen(command, cwd=self.root, env=self.environment(), **streams)
        try:
            while True:
                with contextlib.suppress(subprocess.TimeoutExpired):
                    return child.wait(BEAT_S)
                if beat:
                    beat()
        except KeyboardInterrupt:
            # The keyboard told the child as well: give it time to put its things away.
            with contextlib.suppress(subprocess.TimeoutExpired, KeyboardInterrupt):
                child.wait(10)
            raise
        finally:
            if child.poll() is None:
                child.terminate()
                with contextlib.suppress(subprocess.TimeoutExpired):
                    child.wait(10)
                child.kill()


# The likely reason by what pip and venv print; the first that fits counts.
REASONS = [
    ("No space left|Errno 28|not enough space|Disk quota exceeded",
     "The disk is full. Free some space (about {mb} MB are needed)."),
    ("(?i)do not match the hashes",
     "A package that was fetched is not the one that the lock names: its hash differs. "
     "Nothing was installed from it. Clear pip's cache, or ask whoever runs your package index."),
    ("NewConnectionError|ConnectTimeout|ConnectionError|ReadTimeout|ProtocolError|ProxyError|"
     "Max retries exceeded|Failed to establish|connection broken|getaddrinfo|name resolution|"
     "Network is unreachable|Could not fetch URL",
     "pip could not reach a package index, and the first run has to fetch packages from one. "
     "Try again when this computer is online; behind a proxy or with an index of your own, "
     "set it up for pip first (pip config)."),
    ("Permission denied|Read-only file system|Errno 13|Errno 30",
     "This folder cannot be written to. Move the project to a folder of your own."),
    (r"requirement (?P<name>\S+).*from versions: none",
     "pip found no release of {name} at all. Either it could not reach a package index "
     "(offline, or kept from it by pip's own settings), or none is ready-built for this Python "
     "({python}) on this computer. Try again when online, then with another Python version."),
    (r"No matching distribution found for (?P<name>\S+)",
     "The package index has no ready-built {name} for this Python ({python}) on this computer. "
     "Try another Python version."),
]


def why(words, command):
    """The likely reason that a set-up command failed, from what it said, and what was tried."""
    for pattern, text in REASONS:
        found = re.search(pattern, words)
        if found:
            names = {"name": "", **found.groupdict()}
            reason = text.format(mb=NEEDED_MB, python=platform.python_version(), **names)
            break
    else:
        reason = "The set-up stopped at a command that failed."
    return f"{reason}\nTried: {' '.join(command)}"


def why_os(error, folder):
    """What an error of the operating system means to the person at the keyboard."""
    if error.errno in (errno.ENOSPC, getattr(errno, "EDQUOT", None)):
        return f"The disk that holds {folder} is full. Free some space (about {NEEDED_MB} MB)."
    where = error.filename or folder
    if error.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
        return (f"{where} cannot be written to or removed. Close what uses it, "
                "or move the project to a folder of your own.")
    return f"{error.strerror or error}: {where}."


def quote_demo(house, browser):
    """The main job: from the demo survey to the three documents, then the pages."""
    say("Quoting the demo survey: full restoration of one machine.")
    code = house.run("-m", "estimator", "quote", SURVEY,
                     "--level", "full-restoration", "--out", OUT)
    if code:
        return code
    folder = house.root / OUT
    missing = [name for name in PRODUCED if not (folder / name).is_file()]
    if missing:
        raise Trouble(f"The estimator ended well but left no {', '.join(missing)} in {folder}.")
    say("\nReady:")
    for name, what in PRODUCED.items():
        say(f"  {folder / name}   {what}")
    if not browser:
        return 0
    say("\nOpening the pages in your browser. Ctrl-C here ends them.")
    try:
        return house.run("-m", "estimator", "pages")
    except KeyboardInterrupt:
        say("\nThe pages are closed.")
        return 0


def main(arguments, root=None):
    """Exit code: 0 done, 1 something is in the way, 2 arguments not understood."""
    testing = arguments[:1] == ["test"]
    if not testing:
        if "-h" in arguments or "--help" in arguments:
            say(USAGE)
            return 0
        for word in arguments:
            if word != "--no-browser":
                complain(f"start.py does not know {word!r}.\n\n{USAGE}")
                return 2
    house = House(root or Path(__file__).parent)
    try:
        house.set_up(test=testing)
        if testing:
            return house.run("-m", "pytest", *arguments[1:])
        return quote_demo(house, browser=not arguments)
    except Trouble as trouble:
        complain(f"\n{trouble}")
        return 1
    except OSError as error:
        complain(f"\n{why_os(error, house.root)} {AGAIN}")
        return 1
    except KeyboardInterrupt:
        complain("\nStopped. Run the same command again to go on.")
        return 130


if __name__ == "__main__":
    refusal = too_old(sys.version_info)
    if refusal:
        sys.exit(refusal)
    for stream in (sys.stdout, sys.stderr):
        stream.reconfigure(errors="replace")  # a console that lacks a letter shows "?"
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))  # commands end with this one
    sys.exit(main(sys.argv[1:]))
