"""A level change: from what is read to what is wanted.

DDM at a point is proportional to the SBO level (first order), and a voltage to the level that
makes it, so one rule serves both: 20 log10(target / reading) dB.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from daq.errors import InputError

FARTHEST_DB: Final = 120.0
"""No control and no instrument of a localizer spans more; a larger change is a mistyped number."""

FARTHEST_RATIO: Final = math.pow(10.0, FARTHEST_DB / 20.0)


@dataclass(frozen=True, slots=True)
class LevelChange:
    """What to change.

    Attributes
    ----------
    change_db
        Positive = raise.
    change_percent
        Of the present amplitude, positive = raise.
    u_db
        Standard uncertainty of `change_db`, from that of the reading.
    """

    change_db: float
    change_percent: float
    u_db: float


def level_change(reading: float, target: float, *, u_reading: float = 0.0) -> LevelChange:
    """Return the change that takes `reading` to `target`, both in the same unit.

    Raises
    ------
    InputError
        Either is zero or no number, they are too far apart for any level control, or their signs
        differ: a level control cannot turn a sense round.
    """
    for name, value in (("reading", reading), ("target", target)):
        if not math.isfinite(value) or value == 0.0:
            raise InputError(
                f"The {name} is {value:g}; a ratio of levels needs a number that is not zero."
            )
    if reading * target < 0.0:
        raise InputError(
            f"The reading {reading:g} and the target {target:g} have opposite signs: the sense is "
            "reversed, and no level control mends that.",
            hint="half a wavelength of cable in one path turns the sense (trim half-wave).",
        )
    if not (math.isfinite(u_reading) and u_reading >= 0.0):
        raise InputError("The uncertainty of the reading is zero or positive.")
    ratio = target / reading
    if not 1.0 / FARTHEST_RATIO <= ratio <= FARTHEST_RATIO:
        raise InputError(
            f"From {reading:g} to {target:g} is more than {FARTHEST_DB:g} dB: no level control "
            "reaches so far.",
            hint="look at both numbers and at their units.",
        )
    return LevelChange(
        change_db=20.0 * math.log10(ratio),
        change_percent=100.0 * (ratio - 1.0),
        u_db=20.0 / math.log(10.0) * u_reading / abs(reading),
    )


def apply_level_db(level: float, change_db: float) -> float:
    """Return `level` after a change of `change_db` dB."""
    return level * math.pow(10.0, change_db / 20.0)
