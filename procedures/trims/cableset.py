"""A set of cables matched to its electrically shortest, with what error is left.

A cable can only be shortened, so the shortest gives the length. What a cable is cut by is its
excess delay as a length of that cable, less what is left on for the connector.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from daq.errors import InputError
from daq.units import METRES_PER_INCH
from procedures.trims.cable import length_for_phase_m, phase_for_length_deg
from procedures.trims.sweep import CableSweep

EXCESS_LOSS_DB: Final = 0.5
"""Loss above the median of the set that flags a cable. Common practice, no source."""

MAX_RIPPLE_DB: Final = 0.5
"""Ripple, peak to peak, that flags a cable. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class CableMatch:
    """One cable of the set.

    Attributes
    ----------
    cable
        What its sweep says.
    excess_deg, excess_u_deg
        Delay beyond the shortest of the set, and its standard uncertainty.
    cut_m, cut_in
        What to take off; zero for the shortest.
    error_left_deg
        Delay beyond the shortest that remains after that cut.
    velocity_factor
        What was used to turn delay into length.
    damaged
        Why the cable looks damaged, in words; empty when it does not.
    """

    cable: CableSweep
    excess_deg: float
    excess_u_deg: float
    cut_m: float
    cut_in: float
    error_left_deg: float
    velocity_factor: float
    damaged: tuple[str, ...]


def match_cables(
    cables: Sequence[CableSweep],
    frequency_hz: float,
    *,
    velocity_factor: float | None = None,
    allowance_m: float = 0.0,
) -> tuple[CableMatch, ...]:
    """Return the cut list, in the order of `cables`.

    Parameters
    ----------
    cables
        Two or more.
    frequency_hz
        Carrier.
    velocity_factor
        Used for cables whose sweep gave none.
    allowance_m
        What to leave on at each cut.

    Raises
    ------
    InputError
        Fewer than two cables, or a cable whose velocity factor nobody knows.
    """
    if len(cables) < 2:
        raise InputError("A set to be matched has two cables or more.")
    if not (math.isfinite(allowance_m) and allowance_m >= 0.0):
        raise InputError(f"The length to leave on is zero or more, not {allowance_m:g} m.")
    shortest = min(cables, key=lambda cable: cable.delay_deg)
    median_loss = statistics.median(cable.loss_db for cable in cables)
    return tuple(
        _match(cable, shortest, median_loss, frequency_hz, velocity_factor, allowance_m)
        for cable in cables
    )


def _match(
    cable: CableSweep,
    shortest: CableSweep,
    median_loss_db: float,
    frequency_hz: float,
    velocity_factor: float | None,
    allowance_m: float,
) -> CableMatch:
    factor = cable.velocity_factor if cable.velocity_factor is not None else velocity_factor
    if factor is None:
        raise InputError(
            f"{cable.name}: neither its velocity factor nor its physical length is known, so its "
            "excess delay is no length.",
            hint="give the velocity factor, or the length by the tape measure.",
        )
    excess_deg = cable.delay_deg - shortest.delay_deg
    cut_m = max(0.0, length_for_phase_m(excess_deg, frequency_hz, factor) - allowance_m)
    same = cable is shortest
    return CableMatch(
        cable=cable,
        excess_deg=excess_deg,
        excess_u_deg=0.0 if same else math.hypot(cable.delay_u_deg, shortest.delay_u_deg),
        cut_m=cut_m,
        cut_in=cut_m / METRES_PER_INCH,
        error_left_deg=excess_deg - phase_for_length_deg(cut_m, frequency_hz, factor),
        velocity_factor=factor,
        damaged=_damage(cable, median_loss_db),
    )


def _damage(cable: CableSweep, median_loss_db: float) -> tuple[str, ...]:
    found = []
    if cable.loss_db > median_loss_db + EXCESS_LOSS_DB:
        found.append(
            f"loss of {cable.loss_db:.2f} dB, {cable.loss_db - median_loss_db:.2f} dB above the "
            "middle of the set"
        )
    if cable.ripple_db > MAX_RIPPLE_DB:
        found.append(f"loss ripples by {cable.ripple_db:.2f} dB over the sweep")
    return tuple(found)
