"""A reading: a value with its time, unit, standard uncertainty and source.

Also the table of quantities that the program knows, each with its one SI unit.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

from daq.rounding import fixed

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

UA_PER_DDM: Final = 150.0 / 0.155
"""Deviation current for one unit of localizer DDM: 0.155 DDM = 150 uA (967.742 uA per DDM)."""

QUANTITIES: Final = MappingProxyType(
    {
        "ddm": "1",
        "sdm": "1",
        "depth_90": "1",
        "depth_150": "1",
        "ident_depth": "1",
        "tone_90": "Hz",
        "tone_150": "Hz",
        "rf_level": "dBm",
        "power": "W",
        "alarm": "1",
        "frequency": "Hz",
        "vpp": "V",
        "voltage": "V",
    }
)
"""Quantity name -> SI unit in which every reading of it is kept (``dBm`` for levels)."""

RESULTS: Final = MappingProxyType(
    {
        "phase": "deg",
        "alignment": "m",
        "sensitivity change": "1",
        "course width": "deg",
        "symmetry": "1",
        "linearity": "1",
        "clearance": "1",
        "capture ratio": "dB",
        "excess phase": "deg",
        "standing wave ratio": "1",
        "insulation": "ohm",
        "alarm point": "1",
        "alarm time": "s",
        "carrier offset": "1",
        "carrier separation": "Hz",
        "power against normal": "dB",
        "tone phase": "deg",
        "harmonic content": "1",
        "ident dot": "s",
        "ident tone": "Hz",
        "identifications per minute": "1/min",
        "difference": "1",
    }
)
"""What is computed from readings, or typed, and judged -> its unit."""

BALANCED_DDM: Final = 0.00005 * (1.0 - 1e-14)
"""Up to this a DDM is printed 0.0000, so that no tone is said to predominate."""

IMPOSSIBLE_DDM: Final = 0.4
"""Beyond about 2 m = 0.4 a tone's depth has folded and DDM says nothing about position."""


class Quality(StrEnum):
    """Whether a reading may be judged; only `OK` may."""

    OK = "ok"
    OVER = "over range"
    UNDER = "under range"
    NO_VALUE = "no value"
    FLAGGED = "flagged by the instrument"
    FROZEN = "frozen"
    STALE = "stale"
    IMPOSSIBLE = "impossible"


@dataclass(frozen=True, slots=True)
class Reading:
    """One value from one instrument at one moment.

    Attributes
    ----------
    quantity
        A name in `QUANTITIES`.
    value
        In the quantity's SI unit; NaN when the quality says that there is none.
    u
        Standard uncertainty of one reading by the instrument's specification, same unit.
    source
        Alias of the instrument.
    point
        The test point, such as ``width``; empty when not stated.
    utc_ns, mono_ns
        Calendar and monotonic time at the end of the query, ns.
    took_ns
        How long the query took, ns.
    quality
        Whether the value may be judged.
    raw
        The instrument's answer as text.
    """

    quantity: str
    value: float
    u: float
    source: str
    point: str
    utc_ns: int
    mono_ns: int
    took_ns: int = 0
    quality: Quality = Quality.OK
    raw: str = ""

    @property
    def unit(self) -> str:
        """The SI unit of the quantity."""
        return QUANTITIES[self.quantity]

    @property
    def usable(self) -> bool:
        """Whether the value may be averaged and judged."""
        return self.quality is Quality.OK and math.isfinite(self.value)


@dataclass(frozen=True, slots=True)
class Waveform:
    """A record of samples from an oscilloscope.

    Attributes
    ----------
    samples_v
        Shape (n,), volts.
    rate_hz
        Samples per second.
    source, point
        As in `Reading`.
    utc_ns, mono_ns
        Time at the end of the transfer, ns.
    clipped
        The instrument said that the record left its range.
    """

    samples_v: npt.NDArray[np.float64]
    rate_hz: float
    source: str
    point: str
    utc_ns: int
    mono_ns: int
    clipped: bool = False


def impossible_ddm(ddm: float, u: float) -> bool:
    """Say whether a DDM is beyond what two tones can make, its uncertainty (k=2) allowed for."""
    return abs(ddm) > IMPOSSIBLE_DDM + 2.0 * (u if math.isfinite(u) else 0.0)


def predominance(ddm: float, *, null: float = 0.0) -> str:
    """Return which tone predominates, as people call it out.

    Parameters
    ----------
    ddm
        m150 - m90, a ratio.
    null
        Magnitude up to which neither tone is said to predominate.
    """
    if abs(ddm) <= null:
        return "balanced"
    return "150 Hz predominates" if ddm > 0 else "90 Hz predominates"


def describe_ddm(ddm: float) -> str:
    """Return a DDM as it is spoken and written: ``0.0140, 150 Hz predominates``."""
    return f"{fixed(abs(ddm), 4)}, {predominance(ddm, null=BALANCED_DDM)}"
