"""The pages a craftsperson works with, in a browser.

A notebook holds one line that calls one of these; everything else is in here.
"""

from __future__ import annotations


def quote():
    """Show the page "Quote a machine"; call it as the last thing of a notebook's cell."""
    from estimator.pages import opening, quote_page
    opening.show(quote_page.opened())


def review_hours():
    """Show the page "Review hours"; call it as the last thing of a notebook's cell."""
    from estimator.pages import opening, review_page
    opening.show(review_page.opened())


def restore_or_resell():
    """Show the page "Restore or resell"; call it as the last thing of a notebook's cell."""
    from estimator.pages import opening, resell_page
    opening.show(resell_page.opened())


def bench_plan():
    """Show the page "Bench plan"; call it as the last thing of a notebook's cell."""
    from estimator.pages import opening, plan_page
    opening.show(plan_page.opened())


def serve(shop_folder=None, notebooks_folder=None, port=None, browser=True) -> int:
    """Open the pages in a browser and serve them until Ctrl-C; see `estimator.pages.serve`."""
    from estimator.pages import serving
    return serving.serve(shop_folder, notebooks_folder, port, browser)


__all__ = ["bench_plan", "quote", "restore_or_resell", "review_hours", "serve"]
