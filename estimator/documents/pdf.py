"""The quote as the customer reads and signs it: a tagged PDF.

The page is laid out by `quote.typ`; what stands on it is said by `estimator.documents.page`.
"""

from __future__ import annotations

import functools
import importlib.util
import json
import threading
from datetime import UTC, datetime
from importlib import resources
from pathlib import Path

from estimator.documents.page import page
from estimator.documents.wording import cleaned, held
from estimator.quote import Quote

_LOCK = threading.Lock()


def render(offer: Quote) -> bytes:
    """`quote.pdf`: PDF/UA-1 with its structure tagged, the same bytes for the same quote."""
    return laid_out("quote.typ", page(offer))


def laid_out(template: str, data: dict) -> bytes:
    """The paper that a template makes of its data, which says its date as year, month and day.

    Examples
    --------
    >>> from estimator.demo import small_quote
    >>> laid_out("quote.typ", page(small_quote()))[:5]
    b'%PDF-'
    """
    said = json.dumps(cleaned(data), ensure_ascii=False)
    here = resources.files("estimator.documents")
    files = {
        # Text goes in as data and is never read as markup.
        "main": (here / template).read_bytes(),
        "look.typ": (here / "look.typ").read_bytes(),
        "data.json": said.encode(),
    }
    made = datetime(*data["date"], tzinfo=UTC)
    with _LOCK:
        return _compiler(held(said)).compile(
            input=files, format="pdf", pdf_standards=["ua-1"], timestamp=int(made.timestamp())
        )


@functools.lru_cache(maxsize=2)
def _compiler(ours_alone: bool):
    import typst

    # The typeface comes with typst, what it lacks from the plotting library's folder: the page is
    # the same on every machine. For other scripts those of the machine are looked through too.
    package = importlib.util.find_spec("matplotlib").submodule_search_locations[0]
    fonts = Path(package) / "mpl-data" / "fonts" / "ttf"
    return typst.Compiler(font_paths=[str(fonts)], ignore_system_fonts=ours_alone)


__all__ = ["laid_out"]
