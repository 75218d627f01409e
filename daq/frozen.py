"""Find readings that no longer follow the signal: frozen ones and stale ones.

Frozen
    A value that repeats itself to the last digit, where the instrument's own noise would have
    moved it. Rounded to a resolution r, a reading with Gaussian noise of standard deviation s
    repeats the same figure with a probability of at most ``P = erf(r / (2 sqrt(2) s))`` (the
    mean in the middle of a step; anything else, a hand on the control included, makes it less).
    So n equal readings in a row have a probability of at most ``P**(n - 1)``; they count as
    frozen when that falls below one in ten million. With r = 0.0001 that takes 18 readings at
    s = 0.0001, 74 at s = 0.00005 and over a thousand at s = 0.00002: a receiver that really is
    that quiet is never accused on little evidence, and one whose noise is not known never at all.
Stale
    A time stamp from the instrument that came with one of the readings just before: an old answer
    told again. Only the last few are looked at, since a stamp may count round.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass
from typing import Final

from daq.reading import Quality

FALSE_ALARM: Final = 1e-7
"""Greatest probability that a stretch of honest readings is taken for frozen ones."""
REMEMBERED: Final = 8
"""Stamps that are looked back on; a stamp that counts round does so after ten at least."""


@dataclass(frozen=True, slots=True)
class NoiseFloor:
    """What is known of an instrument's noise.

    Attributes
    ----------
    sigma
        Least standard deviation of single readings, in the answer's unit: a lower bound.
    resolution
        Step of the last digit, same unit.
    update_s
        Seconds between fresh values; a repeated value within them says nothing.
    """

    sigma: float
    resolution: float
    update_s: float = 0.0

    @property
    def limit(self) -> int:
        """How many equal readings in a row are more than chance allows."""
        stay = math.erf(self.resolution / (2.0 * math.sqrt(2.0) * self.sigma))
        if stay <= FALSE_ALARM:
            return 2
        # Beyond double precision a value never moves, and no number of repeats says anything.
        most = math.log(FALSE_ALARM) / math.log(stay) if stay < 1.0 else math.inf
        return 1 + math.ceil(most) if math.isfinite(most) else 2**63


class FrozenWatch:
    """Looks at one quantity of one instrument on one channel, reading by reading.

    Parameters
    ----------
    floor
        The noise that is always there; None when it is not known, and then only time stamps
        are looked at.
    """

    def __init__(self, floor: NoiseFloor | None) -> None:
        self._update_ns = round(floor.update_s * 1e9) if floor else 0
        self._limit = floor.limit if floor else 0
        self._text = ""
        self._stamps: deque[str] = deque(maxlen=REMEMBERED)
        self._counted_ns = 0
        self._equal = 0

    def see(self, text: str, mono_ns: int, *, stamp: str = "") -> Quality:
        """Return ``OK``, ``FROZEN`` or ``STALE`` for the newest reading.

        Parameters
        ----------
        text
            The value's figures as the instrument sent them.
        mono_ns
            When; monotonic time, ns.
        stamp
            The instrument's own time stamp or count; empty where it sends none.
        """
        if stamp:
            if stamp in self._stamps:
                return Quality.STALE
            self._stamps.append(stamp)
        if not self._limit:
            return Quality.OK
        if text != self._text:
            self._text, self._equal, self._counted_ns = text, 1, mono_ns
        elif mono_ns - self._counted_ns >= self._update_ns:
            self._equal, self._counted_ns = self._equal + 1, mono_ns
        return Quality.FROZEN if self._equal >= self._limit else Quality.OK
