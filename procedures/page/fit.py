"""A straight line through a few points, with the uncertainty of its slope.

Source: ordinary least squares (textbook), u(slope) = s / sqrt(sum (t - mean t)^2) with
s^2 = sum of squared residuals / (n - 2).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Line:
    """A fitted line.

    Attributes
    ----------
    slope, u_slope
        Change per second and its standard uncertainty, in the unit of the values per s.
    at_end
        The line's value at the last point.
    """

    slope: float
    u_slope: float
    at_end: float


def fit_line(times_s: Sequence[float], values: Sequence[float]) -> Line | None:
    """Return the line through the points; None for fewer than three or no span of time."""
    n = len(times_s)
    if n < 3:
        return None
    mean_t, mean_v = math.fsum(times_s) / n, math.fsum(values) / n
    spread = math.fsum((t - mean_t) ** 2 for t in times_s)
    if spread <= 0.0:
        return None
    slope = (
        math.fsum((t - mean_t) * (v - mean_v) for t, v in zip(times_s, values, strict=True))
        / spread
    )
    rest = math.fsum(
        (v - mean_v - slope * (t - mean_t)) ** 2 for t, v in zip(times_s, values, strict=True)
    )
    return Line(
        slope=slope,
        u_slope=math.sqrt(rest / (n - 2) / spread),
        at_end=mean_v + slope * (times_s[-1] - mean_t),
    )
