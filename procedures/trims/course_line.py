"""The course line from a traverse with an instrument whose errors are common to all its readings.

A traverse is fitted as `procedures.trims.traverse` does. Its uncertainty there is that of readings
that err independently; but what a receiver's specification allows is one error for the whole
traverse, which does not shrink with the number of readings. It is taken as fully correlated
(JCGM 100:2008, 5.2.2, note 1) and put through the whole fit twice: every reading moved the same
way by what is allowed near zero, which shifts the course line, and every reading moved away from
zero by all that is allowed it, which changes the sensitivity. Both effects are added in squares.

Positions are carried over to the threshold along lines through the antenna, so that every result
is one of the threshold, in metres: x' = D tan(azimuth). In the near field DDM is divided by the
station's factor and azimuths are moved by its shift first.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from daq.errors import InputError
from procedures.trims.line_fit import Floats
from procedures.trims.place import Offset
from procedures.trims.traverse import Traverse, TraverseFit, fit_traverse

FINEST_DDM: Final = 3e-5
"""Least random uncertainty of a reading: the last digit of a common receiver, 0.0001 / sqrt(12)."""


@dataclass(frozen=True, slots=True)
class Walked:
    """Readings of one traverse.

    Attributes
    ----------
    places
        Where the receiver stood.
    ddm
        Shape (n,), ratios.
    u_scatter, u_common
        Shape (n,): standard uncertainty by the scatter of each reading, and by the instrument's
        specification, which all readings have in common.
    u_place_m, u_common_place_m
        Standard uncertainty of one position to the side, and the part that all have in common.
    """

    places: Sequence[Offset]
    ddm: Floats
    u_scatter: Floats
    u_common: Floats
    u_place_m: float
    u_common_place_m: float


@dataclass(frozen=True, slots=True)
class NearFieldCorrection:
    """What the near field adds, and how well that is known; see `daq.station_ground.NearField`."""

    sensitivity_factor: float = 1.0
    sensitivity_factor_u: float = 0.0
    alignment_shift_deg: float = 0.0
    alignment_shift_u_deg: float = 0.0


@dataclass(frozen=True, slots=True)
class CourseLine:
    """What the traverse says, at the threshold; each with its standard uncertainty.

    Attributes
    ----------
    alignment_m, alignment_u_m
        Where the course line crosses the threshold, positive on the 150 Hz side.
    sensitivity_per_m, sensitivity_u_per_m
        Displacement sensitivity, DDM/m.
    half_width_left_m, half_width_right_m
        From the course line to 0.155 DDM.
    course_width_deg, course_width_u_deg
        Full width.
    symmetry, symmetry_u
        The left half's share of the full width, less one half.
    linearity_ddm, linearity_u_ddm
        The greatest distance of a fitted reading from the line.
    fit
        The fit itself, without what is common to all readings.
    """

    alignment_m: float
    alignment_u_m: float
    sensitivity_per_m: float
    sensitivity_u_per_m: float
    half_width_left_m: float
    half_width_right_m: float
    course_width_deg: float
    course_width_u_deg: float
    symmetry: float
    symmetry_u: float
    linearity_ddm: float
    linearity_u_ddm: float
    fit: TraverseFit


def course_line(
    walked: Walked, distance_m: float, near_field: NearFieldCorrection | None = None
) -> CourseLine:
    """Return the course line at the threshold.

    Parameters
    ----------
    walked
        The readings, in any order.
    distance_m
        From the antenna to the threshold.
    near_field
        Correction of the readings; none for a traverse in the far field.

    Raises
    ------
    InputError
        As `fit_traverse`; or the places lie behind the antenna or twice at one spot.
    """
    correction = near_field or NearFieldCorrection()
    at = _Threshold(walked, distance_m, correction)
    fit = at.fit(np.zeros_like(at.ddm))
    shifted = at.fit(np.full_like(at.ddm, np.min(at.u_common)))
    scaled = at.fit(np.copysign(at.u_common, at.ddm))

    def common(of: str) -> float:
        value, by_shift, by_scale = (float(getattr(f, of)) for f in (fit, shifted, scaled))
        return math.hypot(by_shift - value, by_scale - value)

    relative = math.hypot(
        correction.sensitivity_factor_u / correction.sensitivity_factor,
        walked.u_common_place_m / at.along_m,
    )
    width_deg, width_u_deg = fit.course_width_deg or 0.0, fit.course_width_deg_u or 0.0
    return CourseLine(
        alignment_m=fit.alignment,
        alignment_u_m=math.hypot(fit.alignment_u, common("alignment"), at.common_place_m()),
        sensitivity_per_m=fit.sensitivity,
        sensitivity_u_per_m=math.hypot(
            fit.sensitivity_u, common("sensitivity"), relative * fit.sensitivity
        ),
        half_width_left_m=fit.half_width_left,
        half_width_right_m=fit.half_width_right,
        course_width_deg=width_deg,
        course_width_u_deg=math.hypot(
            width_u_deg, common("course_width_deg"), relative * width_deg
        ),
        symmetry=fit.symmetry_percent / 100.0 - 0.5,
        symmetry_u=math.hypot(_symmetry_u(fit), common("symmetry_percent") / 100.0),
        linearity_ddm=_farthest(at, fit),
        linearity_u_ddm=at.random_u(fit.sensitivity),
        fit=fit,
    )


class _Threshold:
    """The readings carried over to the threshold, sorted by position."""

    def __init__(self, walked: Walked, distance_m: float, near: NearFieldCorrection) -> None:
        along = np.array([place.along_m for place in walked.places])
        lateral = np.array([place.lateral_m for place in walked.places])
        if not np.all(along > 0.0):
            raise InputError("A place of the traverse does not lie before the antenna.")
        angle = np.arctan2(lateral, along) - math.radians(near.alignment_shift_deg)
        order = np.argsort(angle)
        self.x = distance_m * np.tan(angle[order])
        if np.any(np.diff(self.x) <= 0.0):
            raise InputError("Two places of the traverse are one and the same.")
        self.ddm = walked.ddm[order] / near.sensitivity_factor
        self.u_common = walked.u_common[order] / near.sensitivity_factor
        self.along_m = float(np.min(along))
        # Scatter is estimated from few readings a place: pooled, it does not make one place
        # weigh a hundred times another by luck.
        pooled = float(np.sqrt(np.mean(walked.u_scatter**2))) / near.sensitivity_factor
        self._reading_u = math.hypot(pooled, FINEST_DDM)
        self._place_m = walked.u_place_m * distance_m / self.along_m
        self._common_m = walked.u_common_place_m * distance_m / self.along_m
        self._shift_m = distance_m * math.radians(near.alignment_shift_u_deg)
        self._distance_m = distance_m

    def random_u(self, slope_per_m: float) -> float:
        """Return the independent part of a reading's standard uncertainty, its place included."""
        return math.hypot(self._reading_u, slope_per_m * self._place_m)

    def common_place_m(self) -> float:
        """Return what is common to all positions, at the threshold."""
        return math.hypot(self._common_m, self._shift_m)

    def fit(self, moved_by: Floats) -> TraverseFit:
        """Fit with every reading moved by so much."""
        traverse = Traverse(
            "offset_m",
            self.x,
            self.ddm + moved_by,
            u_ddm=np.full_like(self.ddm, self._reading_u),
            u_position=np.full_like(self.ddm, self._place_m),
        )
        return fit_traverse(traverse, distance_m=self._distance_m)


def _symmetry_u(fit: TraverseFit) -> float:
    """Return the standard uncertainty of left / (left + right), the halves taken as independent."""
    left, right = fit.half_width_left, fit.half_width_right
    whole = (left + right) ** 2
    return math.hypot(right * fit.half_width_left_u, left * fit.half_width_right_u) / whole


def _farthest(at: _Threshold, fit: TraverseFit) -> float:
    line = fit.sensitivity * (at.x - fit.alignment)
    used = np.abs(at.ddm) <= 0.18
    return float(np.max(np.abs(at.ddm - line)[used]))
