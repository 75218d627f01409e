"""All trends of a station on one page, small, the parameter that needs attention most at the top.

Drawn for paper like the single picture, and on one scale of time, so that what happened to several
parameters in the same week stands in one line.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

from daq.errors import InputError
from procedures.history.plot import axis_name, draw_trend, rendered, write_picture
from procedures.history.trend import SAID, Attention, Trend

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.lines import Line2D

COLUMNS: Final = 2
ROWS: Final = 7
PANELS: Final = COLUMNS * ROWS
"""As many as fit a sheet of A4 and can still be read."""

_WIDTH_IN: Final = 7.5
_ROW_IN: Final = 1.42
_MARGIN_IN: Final = 0.95
"""For the heading and the key."""

_URGENT: Final = Attention.WITHIN_A_YEAR
"""From here up a panel's title is in bold."""


def write_page(trends: Sequence[Trend], heading: str, path: Path) -> None:
    """Write the page to `path`: ``.svg`` or ``.png`` by its name.

    Raises
    ------
    InputError
        There is no trend, or the name ends in neither.
    LogFull, LogError
        The disk is full, or the file cannot be written.
    """
    if not trends:
        raise InputError("Nothing was measured as found yet: there is no trend to draw.")
    write_picture(path, lambda kind: trends_page(trends, heading, kind))


def trends_page(trends: Sequence[Trend], heading: str, kind: str = "svg") -> bytes:
    """Return the page as SVG or PNG; equal trends give equal bytes.

    Parameters
    ----------
    trends
        Most urgent first, at least one; those beyond `PANELS` are counted in the heading.
    heading
        Whose they are, and of which day.
    """
    rows = math.ceil(min(len(trends), PANELS) / COLUMNS)
    size_in = (_WIDTH_IN, _MARGIN_IN + rows * _ROW_IN)
    return rendered(size_in, lambda figure: draw_page(figure, trends, heading), kind, font_pt=7.0)


def draw_page(figure: Figure, trends: Sequence[Trend], heading: str) -> None:
    """Draw the page on an empty figure; see `trends_page`."""
    shown = trends[:PANELS]
    rows = math.ceil(len(shown) / COLUMNS)
    panels = figure.subplots(rows, COLUMNS, squeeze=False, sharex=True).ravel()
    for axes, trend in zip(panels, shown, strict=False):
        _panel(axes, trend)
    for axes in panels[len(shown) :]:
        axes.set_visible(False)
    # The last panel of a column has the dates, whether or not its row is full.
    for axes in panels[max(0, len(shown) - COLUMNS) : len(shown)]:
        axes.tick_params(labelbottom=True)
    figure.suptitle(_plain(f"{heading}\n{_count(len(shown), len(trends))}"), fontsize=9)
    figure.legend(handles=_key(), loc="outside lower center", ncols=4, frameon=False)


def _panel(axes: Axes, trend: Trend) -> None:
    from matplotlib.dates import AutoDateLocator, ConciseDateFormatter

    draw_trend(axes, trend)
    # The library's dates have no types.
    locator = AutoDateLocator(minticks=2, maxticks=6)  # type: ignore[no-untyped-call]
    axes.xaxis.set_major_locator(locator)
    axes.xaxis.set_major_formatter(ConciseDateFormatter(locator))  # type: ignore[no-untyped-call]
    axes.set_title(
        _plain(f"{trend.parameter.name}: {SAID[trend.attention]}"),
        loc="left",
        fontsize=7.5,
        fontweight="bold" if trend.attention <= _URGENT else "normal",
    )
    axes.set_ylabel(axis_name(trend.parameter))


def _key() -> list[Line2D]:
    """Return the key to what `draw_trend` draws."""
    from matplotlib.lines import Line2D

    def line(label: str, **look: object) -> Line2D:
        return Line2D([], [], label=label, **{"color": "black", **look})  # type: ignore[arg-type]

    def mark(label: str, marker: str, face: str, size: float) -> Line2D:
        return line(label, marker=marker, linestyle="none", markerfacecolor=face, markersize=size)

    return [
        mark("as found", "o", "black", 2.6),
        mark("as left, where adjusted", "^", "white", 4.5),
        mark("stands apart", "x", "black", 4.5),
        line("fit, 95 % band grey", linewidth=0.9),
        line("limit", linewidth=1.3),
        line("reference", color="0.35", linewidth=0.8, linestyle=(0, (6, 3))),
        line("a step", color="0.35", linewidth=0.9, linestyle=":"),
    ]


def _count(shown: int, all_of_them: int) -> str:
    if shown == all_of_them:
        return f"{shown} parameters, the most urgent first"
    return f"the {shown} most urgent of {all_of_them} parameters; by its name any other is drawn"


def _plain(text: str) -> str:
    """Return text in which no dollar sign starts mathematics."""
    return text.replace("$", "")
