"""Opening a page in a notebook: which pages there are, of which shop this one is, and what stands
there if it cannot open."""

from __future__ import annotations

import gc
import os
from collections.abc import Callable
from pathlib import Path
from urllib.parse import parse_qs

import ipywidgets as widgets

from estimator.errors import BadInput, Fault
from estimator.pages.boxes import box
from estimator.pages.devices import Pulse
from estimator.pages.guard import Alert, log, unexpected
from estimator.pages.serving import SHOP_VARIABLE
from estimator.shop import Shop, new_shop, open_shop

PAGES = {"quote": "Quote a machine", "restore-or-resell": "Restore or resell",
         "bench-plan": "Bench plan", "review-hours": "Review hours"}
"""What pages are called, by the name of their notebook, in the order in which they are offered."""


def link(page: str) -> str:
    """A link to a page, by the name of its notebook.

    Examples
    --------
    >>> link("bench-plan")
    '<a href="bench-plan.ipynb">Bench plan</a>'
    """
    return f'<a href="{page}.ipynb">{PAGES[page]}</a>'


def head(page: str, state: widgets.Widget) -> widgets.Box:
    """The head of a page: its name, how things stand with it, and links to all other pages."""
    others = " · ".join(link(other) for other in PAGES if other != page)
    return box("est-head", widgets.HTML(f"<h1>{PAGES[page]}</h1>"), state,
               widgets.HTML(f'<nav aria-label="Other pages">{others}</nav>'))


def show(page: widgets.Widget) -> None:
    """Put a page into a notebook."""
    from IPython.display import display
    display(page)
    # What the page stands on stays: passed over from now on, it makes the collector's pauses,
    # in which nothing is answered, half as long.
    gc.freeze()


def opened(page: str, make: Callable[[Path | None, Shop], object], *, needs: str = ""
           ) -> widgets.Widget:
    """The widget of the page that `make` gives, or what keeps it from opening, in plain words.

    Parameters
    ----------
    page
        The name of its notebook.
    make
        Gives the page of a shop folder, None where there is none, and its shop.
    needs
        What is kept in the shop folder, where the page is nothing without one: "Jobs are kept".
    """
    alert = Alert("The page cannot be opened.")
    try:
        folder = shop_folder()
        if needs and folder is None:
            raise BadInput(Fault(f"{needs} in a shop folder, and there is none that can be "
                                 "written.", "Start the pages with: estimator pages --shop "
                                 "FOLDER, a folder of yours."))
        return make(folder, open_shop(folder)).widget
    except BadInput as error:
        alert.show(error.faults)
    except Exception as error:
        log.exception("open")
        alert.show([Fault(f"{type(error).__name__}: {error}"), unexpected(None)])
    return box("est-page", Pulse(lambda: None), widgets.HTML(f"<h1>{PAGES[page]}</h1>"),
               alert.widget)


def shop_folder() -> Path | None:
    """The shop folder of this page, made if it is missing; None if there can be none.

    ESTIMATOR_SHOP names it; without, it is `shop` beside the notebooks' folder. Empty: none.
    """
    told = os.environ.get(SHOP_VARIABLE)
    if told == "":
        return None
    here = Path.cwd()
    folder = Path(told) if told else (here.parent if here.name == "notebooks" else here) / "shop"
    if (folder / "shop.toml").is_file():
        return folder
    try:
        return new_shop(folder)
    except BadInput:
        return None


def asked_draft() -> str | None:
    """The draft that the page's address asks for, as Voila hands it on."""
    return parse_qs(os.environ.get("QUERY_STRING", "")).get("draft", [None])[0]
