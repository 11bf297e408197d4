"""The pages a craftsperson works with, in a browser.

A notebook holds one line that calls one of these; everything else is in here.
"""

from __future__ import annotations


def quote():
    """Show the page "Quote a machine"; call it as the last thing of a notebook's cell."""
    from estimator.pages.quote_page import show
    show()


def review_hours():
    """Show the page "Review hours"; call it as the last thing of a notebook's cell."""
    from estimator.pages.review_page import show
    show()


def restore_or_resell():
    """Show the page "Restore or resell"; call it as the last thing of a notebook's cell."""
    from estimator.pages.resell_page import show
    show()


def bench_plan():
    """Show the page "Bench plan"; call it as the last thing of a notebook's cell."""
    from estimator.pages.plan_page import show
    show()


def serve(shop_folder=None, notebooks_folder=None, port=None, browser=True) -> int:
    """Open the pages in a browser and serve them until Ctrl-C; see `estimator.pages.serve`."""
    from estimator.pages import serving
    return serving.serve(shop_folder, notebooks_folder, port, browser)


__all__ = ["bench_plan", "quote", "restore_or_resell", "review_hours", "serve"]
