"""Whether a cut did what a cut of that length does: the phase before it against the phase after."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from procedures.trims.cable import CablePath, advance_of, phase_for_length_deg, wrap_deg
from procedures.trims.phase import FeedPath, PhaseEstimate

COVERAGE: Final = 2.0
"""Coverage factor with which the two phases are compared."""

LENGTH_U_M: Final = 0.002
"""Standard uncertainty of a length by rule and of a refitted connector; common practice, no
source."""


@dataclass(frozen=True, slots=True)
class CutCheck:
    """The phase that was read after a cut beside the one that the cut should have made.

    Attributes
    ----------
    expected_deg, found_deg
        -180 (excluded) to 180; positive = SBO leads.
    u_deg
        Standard uncertainty of the difference, the length and its velocity factor included.
    agrees
        They differ by no more than k = 2 allows.
    as_if_m
        The length that would have made the phase that was read, within half a wavelength of the
        one that was said; negative where the path has become longer.
    """

    expected_deg: float
    found_deg: float
    u_deg: float
    agrees: bool
    as_if_m: float


def check_cut(
    before: PhaseEstimate,
    after: PhaseEstimate,
    *,
    path: FeedPath,
    cut_m: float,
    cable: CablePath,
    frequency_hz: float,
) -> CutCheck:
    """Compare the phases before and after a cut, taken with all else unchanged.

    Parameters
    ----------
    before, after
        Taken as independent, which allows a little more than the truth where the same line and
        receiver served for both.
    path, cut_m, cable
        Which path was shortened, by how much as was said, and what it is made of.
    """
    cut_deg = phase_for_length_deg(cut_m, frequency_hz, cable.velocity_factor)
    deg_per_m = phase_for_length_deg(1.0, frequency_hz, cable.velocity_factor)
    u_deg = math.hypot(
        before.u_deg,
        after.u_deg,
        deg_per_m * LENGTH_U_M,
        cut_deg * cable.u_velocity_factor / cable.velocity_factor,
    )
    expected_deg = wrap_deg(before.phase_deg + advance_of(path) * cut_deg)
    difference_deg = wrap_deg(after.phase_deg - expected_deg)
    return CutCheck(
        expected_deg=expected_deg,
        found_deg=after.phase_deg,
        u_deg=u_deg,
        agrees=abs(difference_deg) <= COVERAGE * u_deg,
        as_if_m=cut_m + advance_of(path) * difference_deg / deg_per_m,
    )
