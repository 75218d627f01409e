"""Latitude and longitude of a place near another one, to a millimetre within a few kilometres.

From the plane that touches WGS-84 at the first place into earth-centred coordinates, and from there
back to latitude and longitude in closed form (Bowring, Survey Review 23, 323, 1976). Two radii of
curvature alone would forget that meridians draw together: 0.7 m over 3 km at 57 degrees north.
"""

from __future__ import annotations

import math
from typing import Final

_EQUATOR_M: Final = 6_378_137.0
_ECCENTRICITY_2: Final = 6.694_379_990_14e-3
"""Semi-major axis and first eccentricity squared of WGS-84 (NIMA TR8350.2)."""
_POLE_M: Final = _EQUATOR_M * math.sqrt(1 - _ECCENTRICITY_2)


def latitude_longitude(
    latitude_deg: float, longitude_deg: float, *, east_m: float, north_m: float
) -> tuple[float, float]:
    """Return WGS-84 latitude and longitude, deg, of the place so far east and north of another.

    Parameters
    ----------
    latitude_deg, longitude_deg
        Where the plane touches the ellipsoid, north and east positive.
    east_m, north_m
        In that plane.
    """
    lat, lon = math.radians(latitude_deg), math.radians(longitude_deg)
    across_m = _EQUATOR_M / math.sqrt(1 - _ECCENTRICITY_2 * math.sin(lat) ** 2)
    out_m = across_m * math.cos(lat) - north_m * math.sin(lat)
    x = out_m * math.cos(lon) - east_m * math.sin(lon)
    y = out_m * math.sin(lon) + east_m * math.cos(lon)
    z = across_m * (1 - _ECCENTRICITY_2) * math.sin(lat) + north_m * math.cos(lat)
    axis_m = math.hypot(x, y)
    reduced = math.atan2(z * _EQUATOR_M, axis_m * _POLE_M)
    second_2 = _ECCENTRICITY_2 / (1 - _ECCENTRICITY_2)
    latitude = math.atan2(
        z + second_2 * _POLE_M * math.sin(reduced) ** 3,
        axis_m - _ECCENTRICITY_2 * _EQUATOR_M * math.cos(reduced) ** 3,
    )
    return math.degrees(latitude), math.degrees(math.atan2(y, x))
