"""The sinusoids that a localizer's envelope may hold, each a whole-number mix of few frequencies.

Four frequencies are free: the two tones, the ident and the mains. Everything else is a harmonic
or a product of them, so its frequency follows.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
import numpy.typing as npt

from daq.samples.lowpass import Floats

F90, F150, IDENT, MAINS = range(4)
"""Places of the free frequencies in a frequency vector."""


@dataclass(frozen=True, slots=True, eq=False)
class Term:
    """One sinusoid; there is one object of each, so they are compared by identity.

    Attributes
    ----------
    name
        What a technician would call it.
    mix
        Multiples of the free frequencies ``(f90, f150, ident, mains)`` that add up to its own.
    """

    name: str
    mix: tuple[int, int, int, int]


TONE_90: Final = Term("90 Hz tone", (1, 0, 0, 0))
TONE_150: Final = Term("150 Hz tone", (0, 1, 0, 0))
IDENT_TONE: Final = Term("ident", (0, 0, 1, 0))
HUM: Final = Term("hum", (0, 0, 0, 1))
HUM_2: Final = Term("second harmonic of the mains", (0, 0, 0, 2))
HARMONICS_90: Final = tuple(Term(f"{k} x 90 Hz", (k, 0, 0, 0)) for k in (2, 3, 4))
HARMONICS_150: Final = tuple(Term(f"{k} x 150 Hz", (0, k, 0, 0)) for k in (2, 3, 4))
PRODUCTS: Final = (
    Term("sum of the tones", (1, 1, 0, 0)),
    Term("difference of the tones", (-1, 1, 0, 0)),
    Term("2 x 150 Hz - 90 Hz", (-1, 2, 0, 0)),
    Term("2 x 90 Hz - 150 Hz", (2, -1, 0, 0)),
)
TIED: Final = HARMONICS_90 + HARMONICS_150 + PRODUCTS
"""Candidates whose frequencies follow from the tones'."""


@dataclass(frozen=True, slots=True)
class Mixes:
    """How the frequencies of some terms follow from the free ones.

    Attributes
    ----------
    mix
        Multiples of the free frequencies, shape (j, 4).
    used
        Places of the free frequencies that any term contains.
    derived
        The columns of `mix` at `used`.
    keyed
        Which terms contain the ident, shape (j,).
    """

    mix: Floats
    used: tuple[int, ...]
    derived: Floats
    keyed: npt.NDArray[np.bool_]


@lru_cache(maxsize=64)
def mixes(terms: tuple[Term, ...]) -> Mixes:
    """Return how the frequencies of `terms` follow from the free ones."""
    mix = np.array([term.mix for term in terms], dtype=np.float64)
    used = tuple(int(k) for k in np.flatnonzero(mix.any(axis=0)))
    both = Mixes(mix, used, mix[:, used], mix[:, IDENT] != 0)
    for table in (both.mix, both.derived, both.keyed):
        table.flags.writeable = False
    return both
