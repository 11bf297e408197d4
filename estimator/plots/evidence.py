"""What single jobs say of a figure of the book, and what follows from them together."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from estimator.plots._looks import (
    BLUE,
    GOLDEN,
    GREEN,
    INK,
    PALE_BLUE,
    area,
    dashed,
    fit,
    line,
    numbers,
    over,
    panel,
    per_point,
    points,
    reach,
    scale,
    wide,
    width,
    write,
)
from estimator.plots.against import ACROSS


def evidence(jobs: Sequence[float], book: float, ax=None, *,
             says: tuple[float, float, float] | None = None,
             said: Callable[[float], str] = "{:g} h".format, of: str = "Hours of one",
             book_said: str = "Book"):
    """A dot for each job, the book, and what is proposed with its range.

    Parameters
    ----------
    jobs
        What each job says, 0 or more, in the unit of the book.
    book
        What the table says today, over 0.
    ax
        Axes to draw on; None makes new ones.
    says
        What is proposed, and the low and high end of its range; None draws none.
    said
        How a figure is written.
    of, book_said
        What the figures are, and what the book is called.

    Raises
    ------
    ValueError
        If there are no jobs, or a figure is not finite or under 0.

    Examples
    --------
    >>> ax = evidence([0.9, 1.0, 1.1], 0.75, says=(0.98, 0.85, 1.12))
    >>> [text.get_text() for text in ax.texts][:2]
    ['Book 0.75 h', 'Proposed 0.98 h (0.85 h to 1.12 h)']
    """
    found = numbers(jobs, "jobs")
    marks = numbers([book, *(says or ())], "figures")
    if min(found.min(), marks.min()) < 0:
        raise ValueError("figures are 0 or more")
    # One job far off must not press the others into a line.
    far = max(*(1.05 * marks), 4 * sorted(found)[len(found) // 2])
    beyond = int((found > far).sum())
    ax = panel(ax, (12, 12, 34, 44), 170, ACROSS)
    reach(ax, min(found.min(), marks.min()), max(marks.max(), min(far, found.max())), 8, 12)
    ax.set_ylim(0, 1)
    strewn = (0.44 + 0.5 * ((n + 1) * GOLDEN % 1) for n in range(len(found)))
    if says is not None:
        low, high = says[1:]
        area(ax, [(low, 0), (high, 0), (high, 1), (low, 1)], facecolor=PALE_BLUE, edgecolor=GREEN,
             linewidth=0.6, zorder=0.5)
        line(ax, [low, high], [0.18, 0.18], color=GREEN, linewidth=3)
        for end in (low, high):
            line(ax, [end, end], [0.1, 0.26], color=GREEN, linewidth=2)
        line(ax, [says[0]], [0.18], color=GREEN, marker="D", markersize=9)
    dots = [(value, height) for value, height in zip(found, strewn, strict=True) if value <= far]
    line(ax, *zip(*dots, strict=True), color=BLUE, linestyle="", marker="o", markersize=6,
         markeredgecolor="white")
    dashed(ax, [book, book], [0, 1], linewidth=1.8)
    over(ax, book, f"{book_said} {said(book)}", 8)
    if says is not None:
        words = f"Proposed {said(says[0])} ({said(says[1])} to {said(says[2])})"
        line(ax, [5], [30], color=GREEN, marker="D", markersize=8, transform=points(ax, 0, 1))
        write(ax, 14, 30, words, transform=points(ax, 0, 1))
    if beyond:
        words = f"{beyond} beyond →"
        write(ax, ax.get_xlim()[1] - width(words) * per_point(ax), 0.94, words, color=INK)
    scale(ax, said, fit(f"{of}, a dot for each job", wide(ax)), least=0, finest=0.001)
    return ax


__all__ = ["evidence"]
