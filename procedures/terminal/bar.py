"""The bar: target in the middle, the accepted band around it, a marker for the value.

The scale is logarithmic to both sides, like ``log(1 + |x| / band)``: a value a hundred bands away
and one a tenth of a band away are both told from their neighbours, so one bar serves for the
coarse turn and the fine one, and its scale never jumps while somebody looks at it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

FULL_SCALE_BANDS: Final = 100.0
"""Distance at the ends of the bar, in bands."""

MIN_WIDTH: Final = 9
"""Fewest characters in which band, middle and marker can be told apart."""


@dataclass(frozen=True, slots=True)
class BarStyle:
    """The characters of a bar; each stands for one thing, so no colour is needed."""

    track: str
    inside: str
    opens: str
    closes: str
    middle: str
    marker: str
    beyond_left: str
    beyond_right: str


ASCII: Final = BarStyle("-", "=", "[", "]", "|", "#", "<", ">")
UNICODE: Final = BarStyle("─", "═", "╞", "╡", "┼", "█", "◀", "▶")


def bar(offset: float, band: float, width: int, *, style: BarStyle = ASCII) -> str:
    """Return a bar of exactly `width` characters (at least `MIN_WIDTH`).

    Parameters
    ----------
    offset
        Value minus target; NaN draws no marker.
    band
        Accepted distance from the target, same unit, positive; it also sets the scale.
    width
        Characters; made odd by one blank at the end, so that there is a true middle.
    """
    half = (max(width, MIN_WIDTH) - 1) // 2
    cells = [style.track] * (2 * half + 1)
    edge = max(1, _place(band, band, half))
    cells[half - edge : half + edge + 1] = [style.inside] * (2 * edge + 1)
    cells[half - edge], cells[half + edge] = style.opens, style.closes
    cells[half] = style.middle
    if not math.isnan(offset):
        place = marker_place(offset, band, width)
        cells[place] = style.marker
        if abs(offset) > FULL_SCALE_BANDS * band:
            cells[place] = style.beyond_right if offset > 0 else style.beyond_left
    return "".join(cells).ljust(max(width, MIN_WIDTH))


def marker_place(offset: float, band: float, width: int) -> int:
    """Return the index of the marker's character; never falls as `offset` rises.

    A value outside the band is never drawn on the band's edge or inside it, nor the other way
    round.
    """
    half = (max(width, MIN_WIDTH) - 1) // 2
    edge = max(1, _place(band, band, half))
    steps = _place(offset, band, half)
    steps = min(steps, edge) if abs(offset) <= band else max(steps, edge + 1)
    return half + (steps if offset > 0 else -steps)


def _place(offset: float, band: float, half: int) -> int:
    """Return the distance from the middle in characters, 0 to `half`."""
    share = math.log1p(abs(offset) / band) / math.log1p(FULL_SCALE_BANDS) if band > 0 else 1.0
    return round(half * min(1.0, share))
