"""What every test may ask for: the default tables, the demo survey, a browser.

A machine without Chromium or poppler skips the tests that need them. Where
ESTIMATOR_REQUIRE_BROWSER is set to something, as on the machine that checks every change, they
fail instead, so that nothing is skipped unseen.
"""

from __future__ import annotations

import contextlib
import ctypes
import gc
import os
import shutil
import signal
import sys
from pathlib import Path

import hypothesis
import pytest

from estimator import catalogue as catalogue_room

# The same examples on every run and machine; a busy machine must not fail a slow one.
hypothesis.settings.register_profile(
    "house", derandomize=True, deadline=None, max_examples=60, database=None
)
hypothesis.settings.load_profile("house")

# A shell that runs the suite in the background lets it ignore Ctrl-C, and all that it starts.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)

# No test reads or changes the shop of whoever runs it; a test that needs one names its own.
os.environ["ESTIMATOR_SHOP"] = ""


@pytest.fixture(scope="module", autouse=True)
def nothing_is_held():
    """What a module's pages and trials kept is gone after it: a whole suite runs in one process.

    Jupyter holds every widget that was not closed, and with it all that its page reckoned; what
    the pages froze, the collector would pass over.
    """
    yield
    if "ipywidgets" in sys.modules:
        sys.modules["ipywidgets"].Widget.close_all()
    for name in ("estimator.simulate.play", "estimator.resale.drawing"):
        if name in sys.modules:
            sys.modules[name]._DRAWN.clear()
    gc.unfreeze()
    gc.collect()
    if sys.platform == "linux":
        # What was freed stays with the process otherwise; not every C library can be asked.
        with contextlib.suppress(AttributeError):
            ctypes.CDLL(None).malloc_trim(0)


@pytest.fixture(scope="session")
def catalogue():
    """The trade's default tables."""
    return catalogue_room.load()


@pytest.fixture(scope="session")
def demo_survey_path() -> Path:
    """The survey that the first command quotes."""
    path = catalogue_room.data_folder() / "demo" / "survey.csv"
    assert path.is_file(), f"{path} is missing"
    return path


def needed(program: str, package: str) -> str:
    """Path of a program that only tests need; without it the test is skipped, or fails."""
    path = shutil.which(program)
    if path:
        return path
    words = f"{program} is not installed (Debian: apt-get install {package})"
    if os.environ.get("ESTIMATOR_REQUIRE_BROWSER"):
        pytest.fail(words, pytrace=False)
    pytest.skip(words)


@pytest.fixture(scope="session")
def chromium() -> str:
    """Path of the browser that page tests drive; $CHROMIUM names another one."""
    return os.environ.get("CHROMIUM") or needed("chromium", "chromium chromium-driver")


@pytest.fixture(scope="session")
def pdftoppm() -> str:
    """Path of the program that draws the pages of a PDF."""
    return needed("pdftoppm", "poppler-utils")
