"""What every page is laid out with: boxes, headings, and scripts and looks that lie beside."""

from __future__ import annotations

from pathlib import Path

import ipywidgets as widgets

_HERE = Path(__file__).parent


def asset(name: str) -> str:
    """The text of a script or a style sheet of ours."""
    return (_HERE / name).read_text(encoding="utf-8")


def heading(said: str) -> widgets.HTML:
    """A heading of the second order."""
    return widgets.HTML(f"<h2>{said}</h2>")


def box(name: str, *children: widgets.Widget) -> widgets.Box:
    """Widgets in a box of a class that the style sheet knows."""
    found = widgets.Box(list(children))
    found.add_class(name)
    return found
