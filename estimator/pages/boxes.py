"""What every page is laid out with: boxes and headings."""

from __future__ import annotations

import ipywidgets as widgets


def heading(said: str) -> widgets.HTML:
    """A heading of the second order."""
    return widgets.HTML(f"<h2>{said}</h2>")


def box(name: str, *children: widgets.Widget) -> widgets.Box:
    """Widgets in a box of a class that the style sheet knows."""
    found = widgets.Box(list(children))
    found.add_class(name)
    return found
