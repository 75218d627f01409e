"""What is drawn for one view of a watched value: a block of lines, or one line.

Pure: a view and a width in, text out. No line is wider than the width asked for.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

from rich.cells import cell_len, set_cell_size

from daq.reading import Quality
from daq.roles import WatchView
from procedures.terminal.bar import ASCII, MIN_WIDTH, UNICODE, bar
from procedures.terminal.digits import large
from procedures.terminal.format import (
    Displayed,
    called_out,
    displayed,
    distance_words,
    elapsed_words,
    in_words,
    printable,
    reference_words,
)

Weight = Literal["plain", "strong", "good"]

_ENDS: Final = ("90 Hz", "150 Hz")
_NO_BAND_SHARE: Final = 0.01
"""Band that scales the bar when none was given: this share of the target."""

_NO_BAND_DDM: Final = 0.001
"""The same for DDM: what common practice takes as a null (no source)."""

_NUMBER_COLUMN: Final = 24
"""Columns kept for the large number, so that the words beside it stand still."""


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the screen; the weight only stresses what the words already say."""

    text: str
    weight: Weight = "plain"


def block(view: WatchView, width: int, *, note: str = "", unicode: bool = True) -> list[Line]:
    """Return the lines for a screen that is redrawn in place.

    Parameters
    ----------
    width
        Columns of the screen.
    note
        A question or an advice of the moment, shown last.
    unicode
        Whether large digits and line drawing can be shown.
    """
    weight: Weight = "good" if _in_band(view) else "strong"
    lines = [Line(text, weight) for text in _head(view, width, unicode=unicode)]
    if view.target is not None or view.reading.quantity == "ddm":
        lines.append(Line(_bar_line(view, width, unicode=unicode), weight))
    if view.target is not None:
        lines.append(Line(f" {_distance(view)}", weight))
    if view.reference is not None:
        lines.append(Line(f" {_reference(view, view.reference)}"))
    lines.append(Line(" " + "   ".join(part for part in _facts(view) if part)))
    if note:
        lines.append(Line(f">>> {printable(note)}", "strong"))
    return [Line(fit(line.text, width), line.weight) for line in lines]


def one_line(view: WatchView, width: int, *, bar_width: int = 21) -> str:
    """Return a single line in plain ASCII for a terminal that cannot redraw, or a file.

    The unit is left out before words are cut; a bar is added where there is room for one.
    """
    texts = (_sentence(view, units=True), _sentence(view, units=False))
    line = next((text for text in texts if cell_len(text) <= width), texts[-1])
    if view.target is not None and cell_len(line) + 2 + bar_width <= width:
        line = f"{line}  {bar(_offset(view), _band(view), bar_width)}"
    return fit(line, width)


def reference_line(view: WatchView, width: int) -> str:
    """Return what goes under `one_line`: the reference value and the difference from it.

    Empty where there is no reference value.
    """
    if view.reference is None:
        return ""
    indent = " " * (len(elapsed_words(view.elapsed_s)) + 2)
    return fit(f"{indent}{_reference(view, view.reference)}", width)


def _sentence(view: WatchView, *, units: bool) -> str:
    time = elapsed_words(view.elapsed_s)
    words = _why_no_value(view)
    if words:
        return f"{time}  {words.upper()}"
    shown = displayed(view.reading.quantity, view.shown)
    if view.reading.quantity != "ddm":
        parts = [f"{shown.number} {shown.unit}", _distance(view)]
    else:
        value = f"{shown.number} thousandths" if units else shown.number
        parts = [value, shown.meaning, _distance(view).replace(" thousandths", "")]
    return f"{time}  " + ", ".join(part for part in parts if part)


def fit(text: str, width: int) -> str:
    """Return `text` cut to `width` columns; what is cut off is told by ``~`` at the end."""
    if cell_len(text) <= width:
        return text
    return set_cell_size(text, max(0, width - 1)) + "~" if width > 0 else ""


def _why_no_value(view: WatchView) -> str:
    """Return in words why there is nothing to show, empty when there is a value."""
    words = in_words(view.reading)
    return words if words or math.isfinite(view.shown) else str(Quality.NO_VALUE)


def _head(view: WatchView, width: int, *, unicode: bool) -> list[str]:
    words = _why_no_value(view)
    if words:
        return ["", f"  {words.upper()}  from {printable(view.reading.source)}", ""]
    shown = displayed(view.reading.quantity, view.shown)
    digits = large(shown.number) if unicode else None
    beside = _beside(view, shown)
    if digits is not None:
        column = max(_NUMBER_COLUMN, len(digits[0]) + 2)
        if column + max(map(cell_len, beside)) <= width:
            return [
                f"{digit.rjust(column - 2)}  {text}"
                for digit, text in zip(digits, beside, strict=True)
            ]
    return [f"  {shown.number} {beside[0]}", f"  {beside[1]}", f"  {beside[2]}".rstrip()]


def _beside(view: WatchView, shown: Displayed) -> tuple[str, str, str]:
    state = "steady" if view.steady else "moving"
    if shown.meaning:
        return shown.unit, shown.meaning, f"{shown.also}, {state}"
    return shown.unit, shown.also, state


def _distance(view: WatchView) -> str:
    if view.target is None or _why_no_value(view):
        return ""
    words = distance_words(view.reading.quantity, view.shown, view.target, view.band)
    return words.replace("in the band", "IN THE BAND")


def _reference(view: WatchView, reference: float) -> str:
    shown = math.nan if _why_no_value(view) else view.shown
    return reference_words(view.reading.quantity, shown, reference)


def _facts(view: WatchView) -> list[str]:
    quantity = view.reading.quantity
    target = "" if view.target is None else f"target {called_out(quantity, view.target)}"
    best = "" if view.best is None else f"best {called_out(quantity, view.best)}"
    return [elapsed_words(view.elapsed_s), target, best, f"{view.rate_hz:.0f}/s"]


def _bar_line(view: WatchView, width: int, *, unicode: bool) -> str:
    ddm = view.reading.quantity == "ddm"
    left, right = _ENDS if ddm else ("low", "high")
    room = width - len(left) - len(right) - 4
    if room < MIN_WIDTH:
        return ""
    style = UNICODE if unicode else ASCII
    drawn = bar(_offset(view), _band(view), room - (room + 1) % 2, style=style)
    return f" {left} {drawn} {right}"


def _offset(view: WatchView) -> float:
    """Return shown value minus the middle of the bar; NaN when there is no value."""
    if _why_no_value(view):
        return math.nan
    return view.shown - (view.target or 0.0)


def _band(view: WatchView) -> float:
    if view.band is not None and view.band > 0.0:
        return view.band
    if view.reading.quantity == "ddm":
        return _NO_BAND_DDM
    return abs(_NO_BAND_SHARE * (view.target or 0.0)) or _NO_BAND_SHARE


def _in_band(view: WatchView) -> bool:
    return view.in_band and not _why_no_value(view)
