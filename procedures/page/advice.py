"""Which way it goes while a hand turns a control, in words, from the fitted response.

A straight line is fitted to the newest readings; what it says counts only where its slope exceeds
three times its own standard uncertainty, so noise hardly ever gives advice.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

from daq.steadiness import SHOWN
from procedures.page.fit import Line, fit_line

HISTORY_S: Final = 6.0
"""How long a hand's movement is remembered."""

FIT_S: Final = 1.2
"""Span of the newest readings to which the line is fitted."""

FEWEST: Final = 4
"""Readings below which a line through them says nothing."""

NEAR_S: Final = 1.5
"""Time to the target at the present rate below which the hand should slow down."""

Code = Literal["", "hold", "closer", "near", "past", "away", "still"]


@dataclass(frozen=True, slots=True)
class Sample:
    """One reading: monotonic time in s, value in the SI unit of its quantity."""

    at_s: float
    value: float


@dataclass(frozen=True, slots=True)
class Advice:
    """What to do with the hand.

    Attributes
    ----------
    code
        For a program; empty when there is nothing to say.
    words
        For a person.
    """

    code: Code
    words: str


NOTHING: Final = Advice("", "")
_WORDS: Final[dict[Code, str]] = {
    "hold": "in the band: hold it",
    "closer": "closer",
    "near": "nearly there: slowly",
    "past": "past it: back a little",
    "away": "going away: turn the other way",
    "still": "not moving",
}


def advise(samples: Sequence[Sample], *, target: float | None, band: float | None) -> Advice:
    """Return the advice for the newest of `samples`.

    Parameters
    ----------
    samples
        Usable readings, oldest first, of the last `HISTORY_S` seconds.
    target, band
        Wanted value and accepted distance, same unit; without them there is no advice.
    """
    if target is None or band is None or not samples:
        return NOTHING
    newest = [s for s in samples if s.at_s >= samples[-1].at_s - FIT_S]
    if len(newest) < FEWEST:
        return NOTHING
    shown = math.fsum(s.value for s in newest[-SHOWN:]) / SHOWN
    if abs(shown - target) <= band:
        return Advice("hold", _WORDS["hold"])
    line = fit_line([s.at_s for s in newest], [s.value - target for s in newest])
    if line is None:
        return NOTHING
    crossed = any(
        abs(s.value - target) > band and (s.value - target) * line.at_end < 0.0 for s in samples
    )
    code = _code(line, band, crossed=crossed)
    return Advice(code, _WORDS[code])


def _code(line: Line, band: float, *, crossed: bool) -> Code:
    """Return the advice for a line through the distances from the target.

    Parameters
    ----------
    crossed
        The value was on the other side, beyond the band, not long ago.
    """
    distance, slope = line.at_end, line.slope
    if abs(distance) <= band:
        return "hold"
    moving = abs(slope) > 3.0 * line.u_slope and abs(slope) * FIT_S > 0.25 * band
    if moving and slope * distance < 0.0:
        return "near" if abs(distance) / abs(slope) < NEAR_S else "closer"
    if crossed:
        return "past"
    return "away" if moving else "still"
