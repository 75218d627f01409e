"""A trend as a picture: what was found and left, the limits, the reference, the fit and its band.

Drawn for paper: everything is told by line style and shape, nothing by colour.
"""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Final

from daq.errors import InputError
from procedures.history.drift import Drift
from procedures.history.model import NS_PER_DAY, NS_PER_YEAR, Parameter
from procedures.history.steps import levels
from procedures.history.trend import Trend
from procedures.record.atomic import replacing
from procedures.record.figures import name_of

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.typing import RcKeyType

FORMATS: Final = ("svg", "png")
_SIZE_IN: Final = (6.5, 2.6)
_AHEAD_YR: Final = 1.0
"""The fit is drawn so far beyond the last reading, and no further than the history is long."""

_POINTS_A_YEAR: Final = 60
_EDGE: Final = 0.12
"""Share of the picture's height that is kept free above and below."""


def write_plot(trend: Trend, path: Path) -> None:
    """Write a trend's picture to `path`: ``.svg`` or ``.png`` by its name.

    Raises
    ------
    InputError
        The name ends in neither.
    LogFull, LogError
        The disk is full, or the file cannot be written.
    """
    write_picture(path, lambda kind: trend_picture(trend, kind))


def write_picture(path: Path, picture: Callable[[str], bytes]) -> None:
    """Write what `picture` returns for the kind of file that the name of `path` says.

    Raises
    ------
    InputError, LogFull, LogError
        As `write_plot`.
    """
    kind = path.suffix.lower().removeprefix(".")
    if kind not in FORMATS:
        raise InputError(f"{path}: a plot is an .svg or a .png file.")
    content = picture(kind)
    with replacing(path) as file:
        file.write(content)


def trend_picture(trend: Trend, kind: str = "svg") -> bytes:
    """Return a trend's picture as SVG or PNG; the same trend gives the same bytes."""

    def draw(figure: Figure) -> None:
        axes = figure.subplots()
        draw_trend(axes, trend)
        axes.set_ylabel(axis_name(trend.parameter))

    return rendered(_SIZE_IN, draw, kind)


def rendered(
    size_in: tuple[float, float], draw: Callable[[Figure], None], kind: str, *, font_pt: float = 9.0
) -> bytes:
    """Return a picture of that size, width and height in inches; equal drawings, equal bytes."""
    import matplotlib as mpl
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    style: dict[RcKeyType, object] = {
        "font.family": "STIXGeneral",  # ships with matplotlib and goes with the record's type
        "mathtext.fontset": "stix",
        "font.size": font_pt,
        "axes.linewidth": 0.6,
        "svg.fonttype": "path",
        "svg.hashsalt": "trimbench trend",
    }
    buffer = io.BytesIO()
    with mpl.rc_context(style):
        figure = Figure(figsize=size_in, layout="constrained")
        FigureCanvasAgg(figure)
        draw(figure)
        nothing = {"Date": None, "Creator": None} if kind == "svg" else {"Software": None}
        figure.savefig(buffer, format=kind, dpi=200, metadata=nothing)
    return buffer.getvalue()


def draw_trend(axes: Axes, trend: Trend) -> None:
    """Draw a trend on axes of its own, which stay without a name."""
    factor = 1e3 if trend.parameter.quantity == "ddm" else 1.0
    if trend.drift is not None:
        _fit(axes, trend.drift, factor)
    _limits(axes, trend, factor)
    _readings(axes, trend, factor)
    for step in trend.steps:
        middle = (step.after_utc_ns + step.seen_utc_ns) // 2
        axes.axvline(_when(middle), color="0.35", linewidth=0.9, linestyle=":")
    _scale(axes, trend, factor)
    axes.xaxis_date()
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    axes.tick_params(width=0.6, length=3)


def _fit(axes: Axes, drift: Drift, factor: float) -> None:
    import numpy as np

    seen = drift.seen
    level = levels(seen, drift.steps)
    ahead = min(_AHEAD_YR, seen.span_yr)
    for number in range(drift.last_level + 1):
        inside = np.flatnonzero(level == number)
        begin, end = float(seen.t_yr[inside[0]]), float(seen.t_yr[inside[-1]])
        last = number == drift.last_level
        if last:
            end += ahead
        if end <= begin:
            continue
        t_yr = np.linspace(begin, end, max(8, round((end - begin) * _POINTS_A_YEAR)))
        middle, half = drift.expected(t_yr, number)
        days = [_when(seen.origin_utc_ns + round(t * NS_PER_YEAR)) for t in t_yr]
        low, high = (middle - half) * factor, (middle + half) * factor
        _band(axes, days, low, high)
        axes.plot(days, middle * factor, color="black", linewidth=0.9)


def _band(
    axes: Axes,
    days: list[float],
    low: npt.NDArray[np.float64],
    high: npt.NDArray[np.float64],
) -> None:
    axes.fill_between(days, low, high, facecolor="0.85", edgecolor="0.6", linewidth=0.4)


def _limits(axes: Axes, trend: Trend, factor: float) -> None:
    if trend.limit is not None:
        for end in (trend.limit.low, trend.limit.high):
            if end is not None:
                axes.axhline(end * factor, color="black", linewidth=1.3)
    if trend.reference is not None:
        value = trend.reference.value * factor
        axes.axhline(value, color="0.35", linewidth=0.8, linestyle=(0, (6, 3)))


def _readings(axes: Axes, trend: Trend, factor: float) -> None:
    apart = set(trend.outliers)
    found = [
        (_when(v.found.utc_ns), v.found.value * factor, i in apart)
        for i, v in enumerate(trend.visits)
        if v.found is not None
    ]
    left = [
        (_when(v.left.utc_ns), v.left.value * factor)
        for v in trend.visits
        if v.left is not None and v.adjusted
    ]
    good = [(day, value) for day, value, is_apart in found if not is_apart]
    bad = [(day, value) for day, value, is_apart in found if is_apart]
    for points, marker, face, size in (
        (good, "o", "black", 2.6),
        (left, "^", "white", 4.5),
        (bad, "x", "black", 4.5),
    ):
        if points:
            axes.plot(
                [day for day, _ in points],
                [value for _, value in points],
                linestyle="none",
                marker=marker,
                markersize=size,
                markerfacecolor=face,
                markeredgecolor="black",
                markeredgewidth=0.8,
                zorder=5,
            )


def _scale(axes: Axes, trend: Trend, factor: float) -> None:
    """Show limits and every reading that does not dwarf them."""
    import numpy as np

    shown = [v.found.value for v in trend.visits if v.found is not None]
    shown += [v.left.value for v in trend.visits if v.left is not None and v.adjusted]
    ends = [] if trend.limit is None else [trend.limit.low, trend.limit.high]
    marks = [end for end in ends if end is not None]
    if trend.reference is not None:
        marks.append(trend.reference.value)
    low, high = np.percentile(shown, [5.0, 95.0])
    low, high = min([low, *marks]), max([high, *marks])
    reach = 2.0 * (high - low) or abs(high) or 1.0
    # An installation is found anywhere; years of readings must not shrink to a line for it.
    near = [value for value in shown if low - reach <= value <= high + reach]
    low, high = min([low, *near]), max([high, *near])
    free = _EDGE * (high - low) or 0.1 * abs(high) or 1.0
    axes.set_ylim((low - free) * factor, (high + free) * factor)


def _when(utc_ns: int) -> float:
    """Return a moment as matplotlib counts dates: days since 1970."""
    return utc_ns / NS_PER_DAY


def axis_name(parameter: Parameter) -> str:
    """Return what an axis of the parameter is called, with its unit."""
    if parameter.quantity == "ddm":
        return "DDM, thousandths"
    # The names of results come from a log; a dollar sign would start mathematics.
    words = ", ".join(filter(None, (name_of(parameter.quantity), parameter.printed_unit)))
    return words.replace("$", "")
