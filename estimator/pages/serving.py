"""Serve the pages to a browser on this computer, and clean up behind them."""

from __future__ import annotations

import contextlib
import html
import importlib.util
import os
import secrets
import signal
import socket
import subprocess
import sys
import tempfile
import time
import webbrowser
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from estimator.errors import BadInput, Fault
from estimator.outside import private_file
from estimator.pages.listening import HOST, READY, TOKEN_VARIABLE

SHOP_VARIABLE = "ESTIMATOR_SHOP"
"""Environment variable with the shop folder; set but empty: none, so nothing is kept."""

FIRST = "quote.ipynb"
LEADS = "open-the-pages.html"
"""File that leads a browser to the first page; there while the pages are served."""

# On Windows and macOS the address is handed to the browser unseen.
_LISTED = os.name != "nt" and sys.platform != "darwin"
_LEADING = """<!doctype html><meta charset="utf-8"><meta name="referrer" content="no-referrer">
<title>The pages</title><meta http-equiv="refresh" content="0; url={0}">
<p><a href="{0}">The pages of the workshop</a></p>
"""
_HERE = Path(__file__).resolve().parent
_START_SECONDS = 60
_STOP_SECONDS = 15


@dataclass(frozen=True)
class _Server:
    """A running server: its address, the word that lets a browser in, and its process."""

    address: str
    token: str
    process: subprocess.Popen
    log: Path

    def page(self, notebook: str, query: str = "") -> str:
        """Address of a page, with the word that lets a browser in."""
        more = f"&{query}" if query else ""
        return f"{self.address}/voila/render/{notebook}?token={self.token}{more}"


def _notebooks_folder() -> Path:
    """Folder of the pages: inside an installed package, beside it in a checkout."""
    package = _HERE.parent
    inside = package / "notebooks"
    return inside if inside.is_dir() else package.parent / "notebooks"


def serve(shop_folder: Path | str | None = None, notebooks: Path | str | None = None,
          port: int | None = None, browser: bool = True) -> int:
    """Open the pages in a browser and serve them until Ctrl-C; returns the exit code.

    Parameters
    ----------
    shop_folder
        Made if it is missing; None takes ESTIMATOR_SHOP, else ./shop. If it cannot be written,
        the pages work but keep nothing, and say so.
    notebooks
        Folder of notebooks; None takes the program's own.
    port
        Port on this computer; None takes a free one.
    browser
        Open the first page; else only print its address.

    Raises
    ------
    BadInput
        If the port is taken or the server does not start.
    """
    folder = prepare_shop(shop_folder)
    with _ends_on_signal(), running(folder, notebooks, port) as server:
        address = server.page(FIRST)
        kept = f"Shop folder: {folder}" if folder else "There is no shop folder: nothing is kept."
        print(f"{kept}\nThe page: {address}\nCtrl-C ends it.", flush=True)
        try:
            with _shown(address, folder) if browser else contextlib.nullcontext():
                code = server.process.wait()
        except KeyboardInterrupt:
            print("Closing the pages.", flush=True)
            return 0
        print(f"The server ended by itself; {server.log} says why.", file=sys.stderr)
        return code or 1


@contextlib.contextmanager
def _shown(address: str, folder: Path | None) -> Iterator[None]:
    """Open an address in the browser, for as long as the block lasts.

    Where every user can list what others run, and with which words, the browser is given a file
    that leads to the address, which holds the word, and that nobody else can read.
    """
    if not _LISTED:
        webbrowser.open(address)
        yield
        return
    with tempfile.TemporaryDirectory(prefix="estimator-pages-") as made:
        # Beside the shop's files where there are some: a browser in a box of its own sees no /tmp.
        leads = (folder or Path(made)).absolute() / LEADS
        try:
            with private_file(leads) as file:
                file.write(_LEADING.format(html.escape(address)).encode())
            webbrowser.open(leads.as_uri())
        except OSError as error:
            print(f"No browser is opened ({error.strerror or error}); open the page's address.",
                  file=sys.stderr)
        try:
            yield
        finally:
            with contextlib.suppress(OSError):
                leads.unlink(missing_ok=True)


def prepare_shop(folder: Path | str | None = None) -> Path | None:
    """The shop folder, made if it is missing; None, with a word about it, if that cannot be."""
    from estimator.shop import new_shop
    if folder is None:
        told = os.environ.get(SHOP_VARIABLE)
        if told == "":
            return None
        folder = told or "shop"
    folder = Path(folder).absolute()
    try:
        return folder if (folder / "shop.toml").is_file() else new_shop(folder)
    except BadInput as error:
        print(error, file=sys.stderr)
        return None


@contextlib.contextmanager
def running(shop_folder: Path | None, notebooks: Path | str | None = None,
            port: int | None = None, log: Path | None = None) -> Iterator[_Server]:
    """Run the server for as long as the block lasts; its kernels end with it.

    It listens to this computer only, and lets in who knows a word that is made anew each time.
    """
    token = secrets.token_hex(32)
    port = _free(port)
    # Nobody else can look into it: keys of the kernels, and the mark that the port is ours.
    with tempfile.TemporaryDirectory(prefix="estimator-pages-",
                                     ignore_cleanup_errors=True) as made:
        private = Path(made)
        log, out = _opened(log or _log(shop_folder))
        with out:
            process = subprocess.Popen(
                _command(port, private), cwd=Path(notebooks or _notebooks_folder()),
                stdin=subprocess.DEVNULL, stdout=out, stderr=subprocess.STDOUT,
                env=_environment(shop_folder, token, private), **_apart())
            try:
                _wait_for(private / READY, process, log)
                yield _Server(f"http://{HOST}:{port}", token, process, log)
            finally:
                _end(process)


def _command(port: int, private: Path) -> list[str]:
    return [sys.executable, "-m", "estimator.pages.listening", str(port), str(private)]


def _environment(shop_folder: Path | None, token: str, private: Path) -> dict[str, str]:
    template = str(_HERE)
    there = os.environ.get("JUPYTER_PATH")
    # Neither where others' settings lie, nor the leave to write keys that everybody can read.
    kept = {name: value for name, value in os.environ.items()
            if name not in ("JUPYTER_CONFIG_PATH", "JUPYTER_ALLOW_INSECURE_WRITES",
                            "JUPYTER_NO_CONFIG")}
    return {
        **kept,
        SHOP_VARIABLE: str(shop_folder or ""),
        "JUPYTER_PATH": os.pathsep.join([template, there] if there else [template]),
        # A kernel of that name in the user's home would not have this program in it.
        "JUPYTER_PREFER_ENV_PATH": "1",
        # What a person's own Jupyter and IPython are told and keep is left alone, and theirs.
        "JUPYTER_CONFIG_DIR": str(private / "config"),
        "JUPYTER_DATA_DIR": str(private / "data"),
        "JUPYTER_RUNTIME_DIR": str(private / "runtime"),
        "IPYTHONDIR": str(private / "ipython"),
        # Charts are drawn as the program means them, and their words by no typesetter.
        "MATPLOTLIBRC": str(_charts_rules()),
        # By environment and not by argument, which other users of the computer can read.
        TOKEN_VARIABLE: token,
        "PYDEVD_DISABLE_FILE_VALIDATION": "1",
    }


def _charts_rules() -> Path:
    """The settings file that the plotting library comes with."""
    (folder,) = importlib.util.find_spec("matplotlib").submodule_search_locations
    return Path(folder) / "mpl-data" / "matplotlibrc"


def _free(port: int | None) -> int:
    with socket.socket() as probe:
        if os.name != "nt":
            # A port whose last connections are still being forgotten is free enough.
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((HOST, port or 0))
        except (OSError, OverflowError):
            raise BadInput(Fault(f"Port {port} is taken or not allowed.",
                                 "Leave --port out, and a free one is taken.")) from None
        return probe.getsockname()[1]


def _log(shop_folder: Path | None) -> Path:
    """Where the server's words go; without a shop a file of its own among those of this user."""
    if shop_folder is not None:
        return shop_folder / "pages.log"
    handle, name = tempfile.mkstemp(prefix="estimator-pages-", suffix=".log")
    os.close(handle)
    return Path(name)


def _opened(log: Path):
    try:
        return log, private_file(log)
    except OSError:
        return Path(os.devnull), Path(os.devnull).open("wb")


def _apart() -> dict:
    """The server stands in a group of its own, so that Ctrl-C reaches us first."""
    if os.name == "nt":
        return {"creationflags": subprocess.CREATE_NEW_PROCESS_GROUP}
    return {"start_new_session": True}


def _wait_for(ready: Path, process: subprocess.Popen, log: Path) -> None:
    """Wait until the server says so itself: on its port another program might answer."""
    end = time.monotonic() + _START_SECONDS
    while not ready.exists():
        if process.poll() is not None or time.monotonic() > end:
            raise BadInput(Fault("The page server did not start.", f"{log} says why."))
        time.sleep(0.05)


def _end(process: subprocess.Popen) -> None:
    """Ask the server to stop, which ends its kernels; insist if it does not."""
    if process.poll() is not None:
        return
    process.terminate() if os.name != "nt" else _end_tree(process)
    try:
        process.wait(_STOP_SECONDS)
    except subprocess.TimeoutExpired:
        if os.name != "nt":
            os.killpg(process.pid, signal.SIGKILL)
        else:
            process.kill()
        process.wait()


def _end_tree(process: subprocess.Popen) -> None:
    """On Windows a process cannot be asked: end it and what it started."""
    subprocess.run(["taskkill", "/PID", str(process.pid), "/T", "/F"], check=False,
                   stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


@contextlib.contextmanager
def _ends_on_signal() -> Iterator[None]:
    """A request to end, as a service manager sends it, works like Ctrl-C."""
    def stop(_number, _frame):
        raise KeyboardInterrupt

    try:
        before = signal.signal(signal.SIGTERM, stop)
    except ValueError:  # Not in the main thread: whoever runs us there ends us.
        yield
        return
    try:
        yield
    except KeyboardInterrupt:
        print("Stopped.", flush=True)
        raise SystemExit(0) from None
    finally:
        signal.signal(signal.SIGTERM, before)
