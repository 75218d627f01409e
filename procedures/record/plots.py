"""One plot for each live adjustment: the value against time, the band, what was captured.

Drawn for paper: everything is told by line style and shape, nothing by colour.
"""

from __future__ import annotations

import io
import math
from typing import TYPE_CHECKING, Final

from daq.reading import UA_PER_DDM
from procedures.record.figures import COVERAGE, name_of, unit_of
from procedures.record.model import AdjustmentLine

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.typing import RcKeyType

_SIZE_IN: Final = (6.5, 1.9)
_MARGIN_OF_BANDS: Final = 1.5
"""The axis shows at least so many bands on each side of the target."""

_CLOSE_UP_BANDS: Final = 4.0
"""A swing that leaves so many bands gets a second drawing, of what happened within them."""


def adjustment_svg(line: AdjustmentLine) -> str:
    """Return a plot of an adjustment as SVG; the same adjustment gives the same text.

    A swing much wider than the band is drawn twice, the second time close up.

    DDM is drawn in thousandths, with microamperes on the right; other quantities in their unit.
    """
    import matplotlib as mpl
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    style: dict[RcKeyType, object] = {
        "font.family": "STIXGeneral",  # ships with matplotlib and goes with the record's type
        "mathtext.fontset": "stix",
        "font.size": 9.0,
        "axes.linewidth": 0.6,
        "svg.fonttype": "path",
        "svg.hashsalt": "trimbench record",
    }
    with mpl.rc_context(style):
        figure = Figure(figsize=_SIZE_IN, layout="constrained")
        FigureCanvasSVG(figure)
        panels = 2 if _swings_wide(line) else 1
        grid = figure.subplots(1, panels, squeeze=False)
        for axes in grid[0]:
            _draw(axes, line)
        _scale(grid[0][0], line)
        if panels == 2:
            _scale_close_up(grid[0][1], line)
        buffer = io.StringIO()
        figure.savefig(buffer, format="svg", metadata={"Date": None, "Creator": None})
    return buffer.getvalue()


def _factor(line: AdjustmentLine) -> float:
    return 1e3 if line.after.quantity == "ddm" else 1.0


def _draw(axes: Axes, line: AdjustmentLine) -> None:
    factor = _factor(line)
    target, band = line.target * factor, line.band * factor
    axes.axhspan(target - band, target + band, facecolor="0.88", edgecolor="0.5", linewidth=0.5)
    axes.axhline(target, color="0.35", linewidth=0.7, linestyle=(0, (6, 3)))
    for restart in line.series.restarts_s:
        axes.axvline(restart, color="0.35", linewidth=0.8, linestyle=":")
    values = [math.nan if v is None else v * factor for v in line.series.values]
    axes.plot(line.series.seconds, values, color="black", linewidth=0.9)
    if line.series.seconds:
        axes.errorbar(
            [line.series.seconds[-1]],
            [line.after.value * factor],
            yerr=[COVERAGE * line.after.u * factor],
            fmt="o",
            markersize=5.5,
            markerfacecolor="white",
            markeredgecolor="black",
            ecolor="black",
            elinewidth=0.9,
            capsize=2.5,
            zorder=5,
        )


def _swings_wide(line: AdjustmentLine) -> bool:
    return any(_is_far(value, line) for value in line.series.values)


def _is_far(value: float | None, line: AdjustmentLine) -> bool:
    return value is not None and abs(value - line.target) > _CLOSE_UP_BANDS * line.band


def _scale(axes: Axes, line: AdjustmentLine) -> None:
    """Show every reading, and the band."""
    factor = _factor(line)
    axes.margins(x=0.02, y=0.08)
    low, high = axes.get_ylim()
    reach = _MARGIN_OF_BANDS * line.band
    axes.set_ylim(
        min(low, (line.target - reach) * factor), max(high, (line.target + reach) * factor)
    )
    _dress(axes, line)


def _scale_close_up(axes: Axes, line: AdjustmentLine) -> None:
    """Show the end of the adjustment, from where the value came near for good."""
    factor = _factor(line)
    reach = _CLOSE_UP_BANDS * line.band
    seconds, values = line.series.seconds, line.series.values
    far = [s for s, value in zip(seconds, values, strict=True) if _is_far(value, line)]
    begin = far[-1] if far[-1] < seconds[-1] else seconds[0]
    axes.set_xlim(begin, seconds[-1] + 0.04 * (seconds[-1] - begin) + 1e-3)
    axes.set_ylim((line.target - reach) * factor, (line.target + reach) * factor)
    _dress(axes, line)


def _dress(axes: Axes, line: AdjustmentLine) -> None:
    axes.set_xlabel("seconds")
    axes.set_ylabel(_axis_name(line.after.quantity))
    axes.spines["top"].set_visible(False)
    axes.tick_params(width=0.6, length=3)
    if line.after.quantity != "ddm":
        axes.spines["right"].set_visible(False)
        return
    right = axes.twinx()
    right.set_ylim(*(end / _factor(line) * UA_PER_DDM for end in axes.get_ylim()))
    right.spines["top"].set_visible(False)
    right.set_ylabel("uA")
    right.tick_params(width=0.6, length=3)


def _axis_name(quantity: str) -> str:
    if quantity == "ddm":
        return "DDM, thousandths"
    unit = unit_of(quantity)
    # Names and units come from fixed tables; a dollar sign would start mathematics.
    words = f"{name_of(quantity)}, {unit}" if unit else name_of(quantity)
    return words.replace("$", "")
