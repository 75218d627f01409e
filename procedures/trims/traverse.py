"""Displacement sensitivity and course alignment from a traverse across the course line.

DDM is fitted against position by weighted least squares, in the linear region only. Positions are
positive to the right as an approaching aircraft sees it, where 150 Hz predominates
(Annex 10, 3.1.3.1.1), so a healthy slope is positive.

Which points are fitted: sorted by position, the unbroken run of points with |DDM| <= 0.18 around
the change of sign that lies nearest to position zero. Beyond 0.18 DDM need not be linear
(Annex 10, 3.1.3.7.3, from memory).

Uncertainty: every result is a function of the readings; its sensitivity to each of them is
computed in closed form, and the contributions are added in squares (JCGM 100:2008, 5.1.2). That is
the full covariance of the fit, not the two parameters taken as independent.

An uncertain position is an error in x. It is put to the reading as slope times position, so that a
point weighs 1 / (u_ddm^2 + slope^2 u_position^2), and the slope is fitted again until it stands
still: the effective variance method (Orear, Am. J. Phys. 50, 912, 1982). It leaves the slope too
small by u_position^2 over the variance of the positions, which York's solution (Am. J. Phys. 72,
367, 2004) does not: three parts in ten thousand for one metre over 100 m to each side.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from daq.errors import InputError
from procedures.trims.line_fit import (
    MAX_STEPS,
    Floats,
    HalfWidth,
    Line,
    fit_line,
    half_widths,
    quadratic_term,
)

Axis = Literal["offset_m", "angle_deg"]

LINEAR_DDM: Final = 0.18
FAR: Final = 2.0
"""A half width that many times as far out as the readings reach is worth a warning."""

SIGNIFICANT: Final = 3.0
"""A quadratic term this many standard uncertainties from zero is called significant."""

FINEST_DDM: Final = 1e-6
"""Least standard uncertainty taken for a reading where it is estimated from the scatter."""


@dataclass(frozen=True, slots=True)
class Traverse:
    """Readings across the course line, sorted by position.

    Attributes
    ----------
    axis
        What the positions are: metres to the side, or degrees from the centreline.
    position
        Shape (n,), increasing, m or degrees.
    ddm
        Shape (n,), ratios.
    u_ddm
        Shape (n,), standard uncertainties; None where they are to be taken from the scatter.
    u_position
        Shape (n,), standard uncertainties of the positions, independent of each other; None where
        they are known well enough, or the scatter, which holds their errors too, is taken.
    """

    axis: Axis
    position: Floats
    ddm: Floats
    u_ddm: Floats | None = None
    u_position: Floats | None = None


@dataclass(frozen=True, slots=True)
class TraverseFit:
    """What the traverse says. Per metre and metres, or per degree and degrees, as its axis.

    Attributes
    ----------
    axis
        As in `Traverse`.
    alignment, alignment_u
        Position of the course line (zero DDM) and its standard uncertainty.
    sensitivity, sensitivity_u
        Slope of DDM against position, and its standard uncertainty.
    half_width_left, half_width_right, half_width_left_u, half_width_right_u
        From the course line to the 0.155 DDM point, by a line with a bend where it crosses zero
        (a straight one would make the halves equal by force); positive.
    symmetry_percent
        The left half's share of the full width; 50 = symmetrical.
    course_width_deg, course_width_deg_u
        Full width; None where positions are metres and no distance was given.
    residual_ddm
        Root mean square distance of the fitted points from the line.
    chi2_reduced
        Residuals against the stated uncertainties, 1 when they agree; None where the uncertainties
        come from the residuals.
    quadratic, quadratic_significance
        Coefficient of a quadratic term when one is allowed, and its size in standard
        uncertainties; zero where there are too few points to tell.
    points_used, points_given
        How many points were fitted, and how many there were.
    warnings
        In words.
    """

    axis: Axis
    alignment: float
    alignment_u: float
    sensitivity: float
    sensitivity_u: float
    half_width_left: float
    half_width_left_u: float
    half_width_right: float
    half_width_right_u: float
    symmetry_percent: float
    course_width_deg: float | None
    course_width_deg_u: float | None
    residual_ddm: float
    chi2_reduced: float | None
    quadratic: float
    quadratic_significance: float
    points_used: int
    points_given: int
    warnings: tuple[str, ...] = ()


def fit_traverse(traverse: Traverse, *, distance_m: float | None = None) -> TraverseFit:
    """Fit the linear region of a traverse.

    Parameters
    ----------
    traverse
        The readings.
    distance_m
        From the localizer antenna to where the traverse was made; gives the width in degrees when
        positions are metres.

    Raises
    ------
    InputError
        The readings do not cross the course line, too few lie in the linear region, or a value is
        out of reason.
    """
    if distance_m is not None and not (math.isfinite(distance_m) and distance_m > 0.0):
        raise InputError(f"The distance has to be positive, not {distance_m:g} m.")
    used = linear_region(traverse)
    x, y = traverse.position[used], traverse.ddm[used]
    given_u = _effective_u(traverse, used)
    weights = np.ones_like(y) if given_u is None else 1.0 / given_u**2
    line = fit_line(x, y, weights)
    scatter = float(np.sqrt(np.sum(line.residuals**2) / max(len(x) - 2, 1)))
    u = np.full_like(y, max(scatter, FINEST_DDM)) if given_u is None else given_u
    left, right = halves = half_widths(x, y, weights, line)
    quadratic, significance = quadratic_term(x, y, u)
    width, width_by = _width_deg(traverse.axis, left, right, distance_m)
    chi2 = None
    if given_u is not None and len(x) > 2:
        chi2 = float(np.sum((line.residuals / given_u) ** 2)) / (len(x) - 2)
    return TraverseFit(
        axis=traverse.axis,
        alignment=line.zero,
        alignment_u=_u(line.zero_by_reading, u),
        sensitivity=line.slope,
        sensitivity_u=_u(line.slope_by_reading, u),
        half_width_left=left.size,
        half_width_left_u=_u(left.by_reading, u),
        half_width_right=right.size,
        half_width_right_u=_u(right.by_reading, u),
        symmetry_percent=100.0 * left.size / (left.size + right.size),
        course_width_deg=width,
        course_width_deg_u=None if width_by is None else _u(width_by, u),
        residual_ddm=float(np.sqrt(np.mean(line.residuals**2))),
        chi2_reduced=chi2,
        quadratic=quadratic,
        quadratic_significance=significance,
        points_used=len(x),
        points_given=len(traverse.position),
        warnings=(*_warnings(line, significance, chi2), *_far_out(traverse.axis, x, line, halves)),
    )


def linear_region(traverse: Traverse) -> slice:
    """Return which points lie in the linear region; see the module for the rule.

    Raises
    ------
    InputError
        No change of sign, or fewer than three points or none on one side of the course line.
    """
    y = traverse.ddm
    changes = np.flatnonzero((y[:-1] * y[1:] <= 0.0) & (np.abs(y[:-1]) + np.abs(y[1:]) > 0.0))
    linear = np.abs(y) <= LINEAR_DDM
    changes = changes[linear[changes] & linear[changes + 1]]
    if len(changes) == 0:
        raise InputError(
            "The traverse does not cross the course line: DDM changes its sign nowhere within "
            f"|DDM| <= {LINEAR_DDM}.",
            hint="take readings on both sides of the course line.",
        )
    middle = np.abs(traverse.position[changes] + traverse.position[changes + 1])
    at = int(changes[int(np.argmin(middle))])
    start, stop = at, at + 2
    while start > 0 and linear[start - 1]:
        start -= 1
    while stop < len(y) and linear[stop]:
        stop += 1
    if stop - start < 3:
        raise InputError(
            f"Only {stop - start} points lie within |DDM| <= {LINEAR_DDM}; a line with its "
            "uncertainty needs three.",
        )
    return slice(start, stop)


def _effective_u(traverse: Traverse, used: slice) -> Floats | None:
    """Return the standard uncertainty of each reading with that of its position; see the module."""
    if traverse.u_ddm is None:
        return None
    u = own_u = traverse.u_ddm[used]
    if traverse.u_position is None:
        return u
    x, y = traverse.position[used], traverse.ddm[used]
    slope = 0.0
    for _ in range(MAX_STEPS):
        before, slope = slope, fit_line(x, y, 1.0 / u**2).slope
        u = np.hypot(own_u, slope * traverse.u_position[used])
        if abs(slope - before) <= 1e-9 * abs(slope):
            break
    return u


def _width_deg(
    axis: Axis, left: HalfWidth, right: HalfWidth, distance_m: float | None
) -> tuple[float | None, Floats | None]:
    if axis == "angle_deg":
        return left.size + right.size, left.by_reading + right.by_reading
    if distance_m is None:
        return None, None
    halves = (left, right)
    width = sum(math.degrees(math.atan(half.size / distance_m)) for half in halves)
    by = np.zeros_like(left.by_reading)
    for half in halves:
        by += math.degrees(distance_m / (distance_m**2 + half.size**2)) * half.by_reading
    return width, by


def _u(by_reading: Floats, u: Floats) -> float:
    return float(np.sqrt(np.sum((by_reading * u) ** 2)))


def _warnings(line: Line, significance: float, chi2: float | None) -> tuple[str, ...]:
    found = []
    if line.slope < 0.0:
        found.append(
            "DDM falls to the right: positions are counted the other way round, or the sense is "
            "reversed"
        )
    if abs(significance) > SIGNIFICANT:
        found.append(
            f"the readings are curved: a quadratic term is {abs(significance):.1f} standard "
            "uncertainties from zero"
        )
    if chi2 is not None and chi2 > 4.0:
        found.append(
            f"the readings scatter {math.sqrt(chi2):.1f} times as much as their stated "
            "uncertainties say"
        )
    return tuple(found)


def _far_out(axis: Axis, x: Floats, line: Line, halves: tuple[HalfWidth, HalfWidth]) -> list[str]:
    """Return a warning for each side whose half width lies far beyond its outermost reading."""
    unit = "m" if axis == "offset_m" else "deg"
    reaches = (line.zero - float(x[0]), float(x[-1]) - line.zero)
    return [
        f"the {side} half width, {half.size:.4g} {unit}, is extrapolated: the readings reach to "
        f"{reach:.3g} {unit}, {half.size / reach:.0f} times less, and how the course goes on is "
        "not known"
        for side, reach, half in zip(("left", "right"), reaches, halves, strict=True)
        if reach > 0.0 and half.size > FAR * reach
    ]
