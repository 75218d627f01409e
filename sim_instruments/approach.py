"""How a hand brings a reading to its target: try, judge, overshoot, come back, smaller and smaller.

Knows nothing of the plant. It sees readings, says by how much to turn, and feels the stops.
"""

from __future__ import annotations

import math
import statistics
from enum import Enum, auto
from typing import Final

FIRST_TRY: Final = 0.02
LARGEST_TRY: Final = 0.2
LARGEST_TURN: Final = 0.25
OVERSHOOTS: Final = (1.25, 1.12)
TURNS: Final = 20
COARSE_READINGS: Final = 3
FINE_READINGS: Final = 7


class Step(Enum):
    """What to do after a reading, other than turning."""

    LOOK = auto()
    DONE = auto()


class Approach:
    """One adjustment of one control.

    Parameters
    ----------
    target, band
        Wanted value and accepted distance from it, unit of the readings; the hand is content
        within a quarter of the band.
    position
        Where the control stands, 0 to 1: the first try goes away from the nearer stop.
    """

    def __init__(self, target: float, band: float, position: float) -> None:
        self._target = target
        self._content = band / 4
        self._try = FIRST_TRY if position < 0.5 else -FIRST_TRY
        self._seen: list[float] = []
        self._spread = 0.0
        self._slope: float | None = None
        self._before = 0.0
        self._turned = 0.0
        self._turns = 0
        self._aims = 0
        self._at_stop = False

    def see(self, value: float) -> float | Step:
        """Take one reading; return by how much to turn (part of the range), or a `Step`."""
        self._seen.append(value)
        # The first reading after a turn may have begun while the hand was still moving.
        seen = self._seen[1:] if self._turns else self._seen
        if len(seen) < COARSE_READINGS - 1:
            return Step.LOOK
        mean = statistics.fmean(seen)
        self._spread = max(self._spread * 0.8, statistics.stdev(seen))
        doubt = self._spread / math.sqrt(len(seen))
        distance = self._target - mean
        near = abs(distance) < self._content + 3 * doubt
        if near and len(seen) < FINE_READINGS:
            return Step.LOOK
        if abs(distance) <= self._content or self._turns >= TURNS:
            return Step.DONE
        self._learn(mean, doubt)
        return self._next_turn(mean, distance)

    def felt(self, *, at_stop: bool) -> None:
        """Hear whether the last turn met a stop."""
        self._at_stop = at_stop

    def _learn(self, mean: float, doubt: float) -> None:
        """Judge the last turn by what it did, when that stands out of the noise."""
        change = mean - self._before
        if self._turned and abs(change) > 6 * doubt + 1e-12:
            self._slope = change / self._turned

    def _next_turn(self, mean: float, distance: float) -> float | Step:
        if self._slope is None:
            if self._turned:
                self._try *= 3
            if abs(self._try) > LARGEST_TRY:
                return Step.DONE
            turn = self._try
        else:
            overshoot = OVERSHOOTS[self._aims] if self._aims < len(OVERSHOOTS) else 1.0
            self._aims += 1
            wanted = overshoot * distance / self._slope
            turn = math.copysign(min(abs(wanted), LARGEST_TURN), wanted)
        if self._at_stop and turn * self._turned > 0:
            return Step.DONE
        self._before, self._turned = mean, turn
        self._turns += 1
        self._seen.clear()
        return turn
