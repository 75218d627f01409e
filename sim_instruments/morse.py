"""Keying of the ident in International Morse code (Recommendation ITU-R M.1677-1)."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from types import MappingProxyType
from typing import Final, Literal

import numpy as np

from sim_instruments.signals import FloatArray, Timebase

IdentMode = Literal["code", "continuous", "off"]
MODES: Final[tuple[IdentMode, ...]] = ("code", "continuous", "off")

_CODE: Final = (
    "A.- B-... C-.-. D-.. E. F..-. G--. H.... I.. J.--- K-.- L.-.. M-- "
    "N-. O--- P.--. Q--.- R.-. S... T- U..- V...- W.-- X-..- Y-.-- Z--.."
)
LETTERS: Final = MappingProxyType({word[0]: word[1:] for word in _CODE.split()})
"""M.1677-1, part I, 1.1.1. A dash is three dots, a gap in a letter one, between letters three
(part I, 2.1 to 2.3)."""


@dataclass(frozen=True)
class Keyer:
    """Keys `text` again and again.

    Attributes
    ----------
    text
        Letters A to Z.
    dot_s
        Length of a dot, s.
    repeat_s
        From one beginning to the next, s; ICAO Annex 10 wants six a minute or more.
    mode
        ``"code"``, ``"continuous"`` (key down) or ``"off"``.
    late_s
        How late every second one begins, s, from 0 to what leaves it its silence.
    """

    text: str
    dot_s: float = 0.12
    repeat_s: float = 8.0
    mode: IdentMode = "code"
    late_s: float = 0.0

    def down(self, time: Timebase) -> FloatArray | float:
        """Return 1 where the key is down, 0 where it is up, shape ``(n,)`` when it is keyed."""
        if self.mode != "code":
            return 1.0 if self.mode == "continuous" else 0.0
        t_s = (time.t0_s + np.arange(time.n) / time.rate_hz) % (2 * self.repeat_s)
        index = np.searchsorted(self._edges_s, t_s, side="right")
        return (index % 2).astype(np.float64)

    @cached_property
    def _edges_s(self) -> FloatArray:
        """Times at which the key goes down and up, in turn, s: of two transmissions."""
        edges, now = [], 0.0
        for letter in self.text:
            for mark in LETTERS[letter]:
                length = 1.0 if mark == "." else 3.0
                edges += [now, now + length]
                now += length + 1
            now += 2
        first = np.array(edges) * self.dot_s
        return np.concatenate([first, first + self.repeat_s + self.late_s])
