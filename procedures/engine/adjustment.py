"""What came of a control that was turned while the readings were watched."""

from __future__ import annotations

from dataclasses import dataclass

from daq.measurement import Measurement


@dataclass(frozen=True, slots=True)
class Adjustment:
    """A control was turned while the readings were watched.

    Attributes
    ----------
    before, after
        The measurement before the hand touched the control, and the captured one.
    in_band
        The captured value lies within the band.
    readings
        How many readings were shown.
    elapsed_s
        How long it took.
    best
        The shown value closest to the target.
    """

    before: Measurement
    after: Measurement
    in_band: bool
    readings: int
    elapsed_s: float
    best: float
