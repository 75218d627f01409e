"""Least-squares lines through DDM against position, with what each reading does to the result.

Every result comes with its partial derivative by each reading, shape (n,). The uncertainty of
anything computed from several results is then a sum of squares over the readings, which is the full
covariance without a matrix (JCGM 100:2008, 5.1.2, readings independent).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from daq.errors import InputError
from procedures.trims.width import COURSE_EDGE_DDM

Floats = npt.NDArray[np.float64]

MAX_STEPS: Final = 50


@dataclass(frozen=True, slots=True)
class Line:
    """A fitted line with the sensitivity of its results to each reading, shapes (n,)."""

    slope: float
    zero: float
    slope_by_reading: Floats
    zero_by_reading: Floats
    residuals: Floats


@dataclass(frozen=True, slots=True)
class HalfWidth:
    """From the course line to one 0.155 point, and its sensitivity to each reading."""

    size: float
    by_reading: Floats

    @classmethod
    def of(cls, slope: float, slope_by_reading: Floats) -> HalfWidth:
        """Return the half width on a side with that slope."""
        size = COURSE_EDGE_DDM / abs(slope)
        return cls(size, -size / slope * slope_by_reading)


def fit_line(x: Floats, y: Floats, weights: Floats) -> Line:
    """Return the weighted least-squares line through `y` against `x`, shapes (n,).

    Raises
    ------
    InputError
        All `x` are equal, or the line is level and so has no zero.
    """
    mean_by = weights / np.sum(weights)
    centre = float(mean_by @ x)
    spread = x - centre
    size = float(weights @ spread**2)
    if size == 0.0:
        raise InputError("All readings in the linear region were taken at one position.")
    slope_by = weights * spread / size
    slope, mean = float(slope_by @ y), float(mean_by @ y)
    if slope == 0.0:
        raise InputError("DDM does not change across the traverse.")
    return Line(
        slope=slope,
        zero=centre - mean / slope,
        slope_by_reading=slope_by,
        zero_by_reading=-mean_by / slope + mean / slope**2 * slope_by,
        residuals=y - mean - slope * spread,
    )


def half_widths(x: Floats, y: Floats, weights: Floats, line: Line) -> tuple[HalfWidth, HalfWidth]:
    """Return the left and right half widths from a line with a bend where it crosses zero.

    A straight line would make both halves equal by force. Gauss-Newton on the crossing and the two
    slopes; starts at the straight line and is there after a few steps.
    """
    zero, slopes = line.zero, np.full(2, line.slope)
    by_reading = np.zeros((3, len(x)))
    for _ in range(MAX_STEPS):
        away = x - zero
        left, right = np.minimum(away, 0.0), np.maximum(away, 0.0)
        if not (np.any(left < 0.0) and np.any(right > 0.0)):
            raise InputError(
                f"No reading lies {'right' if np.any(left < 0.0) else 'left'} of the course line.",
                hint="take readings on both sides of the course line.",
            )
        by_zero = np.where(away < 0.0, -slopes[0], -slopes[1])
        design = np.stack([by_zero, left, right], axis=1)
        try:
            by_reading = np.linalg.solve(design.T @ (weights[:, None] * design), design.T * weights)
        except np.linalg.LinAlgError as error:
            raise InputError(
                "The readings lie at too few positions to tell the two sides apart.",
            ) from error
        step = by_reading @ (y - slopes[0] * left - slopes[1] * right)
        zero, slopes = zero + float(step[0]), slopes + step[1:]
        if abs(float(step[0])) <= 1e-9 * float(np.ptp(x)):
            break
    if np.any(slopes * line.slope <= 0.0):
        raise InputError(
            "The two sides of the course line slope in opposite directions; this is no course.",
        )
    return HalfWidth.of(float(slopes[0]), by_reading[1]), HalfWidth.of(
        float(slopes[1]), by_reading[2]
    )


def quadratic_term(x: Floats, y: Floats, u: Floats) -> tuple[float, float]:
    """Return the coefficient of x squared in a parabola, and how many of its uncertainties it is.

    Zero and zero where fewer than four positions leave nothing to tell a parabola by.
    """
    if len(np.unique(x)) < 4:
        return 0.0, 0.0
    centre = float(np.mean(x))
    scale = float(np.max(np.abs(x - centre)))
    z = (x - centre) / scale
    design = np.stack([np.ones_like(z), z, z**2], axis=1) / u[:, None]
    covariance = np.linalg.inv(design.T @ design)
    coefficient = float((covariance @ design.T @ (y / u))[2])
    return coefficient / scale**2, coefficient / math.sqrt(float(covariance[2, 2]))
