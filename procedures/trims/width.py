"""Course width from the distance between the localizer and the threshold.

W = 2 atan(half width at the threshold / distance). Three half widths are in use and differ by up
to 1.8 per cent: 105 m (210 m in all, the default here), 106.68 m (350 ft) and 106.897 m
(0.155 DDM / 0.00145 DDM/m). The full sector does not exceed 6 degrees (Annex 10 Attachment C,
Fig. C-9); where it would, category I runways of codes 1 and 2 reach the nominal sensitivity at
ILS point B, 1050 m before the threshold (Annex 10, 3.1.3.7.1, read in a secondary text).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from daq.errors import InputError

COURSE_EDGE_DDM: Final = 0.155
"""DDM at the edge of the course sector (14 CFR 171.107)."""

HALF_WIDTH_M: Final = 105.0
"""Default half width of the course sector at the threshold."""

MAX_WIDTH_DEG: Final = 6.0
POINT_B_M: Final = 1050.0


@dataclass(frozen=True, slots=True)
class CourseWidth:
    """The course sector that a distance asks for.

    Attributes
    ----------
    course_width_deg
        Full width, the 6 degree limit applied.
    course_width_u_deg
        Its standard uncertainty, from that of the distance; zero where the limit decided.
    tailored_deg
        Full width before the limit.
    half_width_m
        Half width asked for.
    at_point_b
        The half width was placed at point B rather than at the threshold.
    limited
        The 6 degree limit decided.
    sensitivity_per_m
        Displacement sensitivity at the threshold for `course_width_deg`, DDM/m.
    """

    course_width_deg: float
    course_width_u_deg: float
    tailored_deg: float
    half_width_m: float
    at_point_b: bool
    limited: bool
    sensitivity_per_m: float


def course_width(
    distance_m: float,
    *,
    half_width_m: float = HALF_WIDTH_M,
    point_b: bool = False,
    u_distance_m: float = 0.0,
) -> CourseWidth:
    """Return the course width for a localizer `distance_m` from the threshold.

    Parameters
    ----------
    distance_m
        From the localizer antenna to the threshold.
    half_width_m
        From the course line to the 0.155 DDM point, at the threshold.
    point_b
        Where the width would exceed 6 degrees, ask for the half width at point B instead.
    u_distance_m
        Standard uncertainty of the distance.

    Raises
    ------
    InputError
        A length is not positive, or the uncertainty negative.
    """
    for name, value in (("distance", distance_m), ("half width", half_width_m)):
        if not (math.isfinite(value) and value > 0.0):
            raise InputError(f"The {name} has to be positive, not {value:g} m.")
    if not (math.isfinite(u_distance_m) and u_distance_m >= 0.0):
        raise InputError(
            f"The uncertainty of the distance is zero or more, not {u_distance_m:g} m."
        )
    tailored = _width_deg(half_width_m, distance_m)
    at_point_b = point_b and tailored > MAX_WIDTH_DEG
    tailored_at_m = distance_m + POINT_B_M if at_point_b else distance_m
    tailored = _width_deg(half_width_m, tailored_at_m)
    limited = tailored > MAX_WIDTH_DEG
    width = min(tailored, MAX_WIDTH_DEG)
    by_distance = math.degrees(2.0 * half_width_m / (tailored_at_m**2 + half_width_m**2))
    half_at_threshold_m = distance_m * math.tan(math.radians(width / 2.0))
    return CourseWidth(
        course_width_deg=width,
        course_width_u_deg=0.0 if limited else by_distance * u_distance_m,
        tailored_deg=tailored,
        half_width_m=half_width_m,
        at_point_b=at_point_b,
        limited=limited,
        sensitivity_per_m=COURSE_EDGE_DDM / half_at_threshold_m,
    )


def _width_deg(half_width_m: float, distance_m: float) -> float:
    return math.degrees(2.0 * math.atan(half_width_m / distance_m))
