"""Where a position lies before the antenna: along the course line, and to its side.

Both positions are turned from latitude and longitude on the WGS-84 ellipsoid into earth-centred
coordinates, and their difference is looked at in the plane that touches the ellipsoid at the
antenna (east, north). Closed formulas of any textbook of geodesy:

    N = a / sqrt(1 - e2 sin2 lat)
    x = N cos lat cos lon,  y = N cos lat sin lon,  z = N (1 - e2) sin lat

Heights are left out: on an aerodrome they change a distance by parts per million. The plane is
flat: within a millimetre of the geodesic 3 km out, 5 mm at 10 km (checked in the tests against a
library of geodesics).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

_SEMI_MAJOR_M: Final = 6_378_137.0
_ECCENTRICITY_2: Final = 6.694_379_990_14e-3
"""Semi-major axis and first eccentricity squared of WGS-84 (NIMA TR8350.2)."""


@dataclass(frozen=True, slots=True)
class Antenna:
    """The middle of the array and the way the course line runs.

    Attributes
    ----------
    latitude_deg, longitude_deg
        WGS-84, north and east positive.
    course_deg
        True direction of an aircraft that lands on the course line.
    """

    latitude_deg: float
    longitude_deg: float
    course_deg: float


@dataclass(frozen=True, slots=True)
class Offset:
    """A place seen from the middle of the array, m.

    Attributes
    ----------
    along_m
        Along the course line, positive over the threshold out to the approach.
    lateral_m
        To its side, positive to the right of an approaching aircraft.
    """

    along_m: float
    lateral_m: float


def offset_of(antenna: Antenna, latitude_deg: float, longitude_deg: float) -> Offset:
    """Return where a position lies before the antenna."""
    here = _earth_centred_m(antenna.latitude_deg, antenna.longitude_deg)
    there = _earth_centred_m(latitude_deg, longitude_deg)
    x, y, z = (b - a for a, b in zip(here, there, strict=True))
    lat, lon = math.radians(antenna.latitude_deg), math.radians(antenna.longitude_deg)
    east_m = -math.sin(lon) * x + math.cos(lon) * y
    north_m = -math.sin(lat) * (math.cos(lon) * x + math.sin(lon) * y) + math.cos(lat) * z
    # An aircraft that lands flies towards the antenna: what lies before it is behind its tail.
    course = math.radians(antenna.course_deg)
    return Offset(
        along_m=-east_m * math.sin(course) - north_m * math.cos(course),
        lateral_m=east_m * math.cos(course) - north_m * math.sin(course),
    )


def _earth_centred_m(latitude_deg: float, longitude_deg: float) -> tuple[float, float, float]:
    lat, lon = math.radians(latitude_deg), math.radians(longitude_deg)
    across_m = _SEMI_MAJOR_M / math.sqrt(1.0 - _ECCENTRICITY_2 * math.sin(lat) ** 2)
    return (
        across_m * math.cos(lat) * math.cos(lon),
        across_m * math.cos(lat) * math.sin(lon),
        across_m * (1.0 - _ECCENTRICITY_2) * math.sin(lat),
    )
