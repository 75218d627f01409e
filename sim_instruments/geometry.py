"""Where things stand on the aerodrome, and what that is in latitude and longitude.

The origin is the middle of the antenna array. `along` runs from there over the threshold out to
the approach, `lateral` to the right of somebody who faces the array: to the side where 150 Hz
predominates (ICAO Annex 10, Vol. I, 3.1.3.5.1, from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Self

from sim_instruments.geodesy import latitude_longitude


@dataclass(frozen=True, slots=True)
class Position:
    """A place on the ground, m from the middle of the array (see the module for the axes)."""

    along_m: float
    lateral_m: float = 0.0

    @classmethod
    def at_azimuth(cls, radius_m: float, azimuth_deg: float) -> Self:
        """Return the place at `radius_m` and azimuth (see `azimuth_deg`)."""
        azimuth_rad = math.radians(azimuth_deg)
        return cls(radius_m * math.cos(azimuth_rad), radius_m * math.sin(azimuth_rad))

    @property
    def radius_m(self) -> float:
        """Distance from the middle of the array, m."""
        return math.hypot(self.along_m, self.lateral_m)

    @property
    def azimuth_deg(self) -> float:
        """Angle from the course line, -180 to 180 deg, positive on the 150 Hz side."""
        return math.degrees(math.atan2(self.lateral_m, self.along_m))


@dataclass(frozen=True, slots=True)
class Site:
    """Where the array is on earth; the keys of ``[simulation.plant.site]``.

    The default lies in open sea, so that nobody takes it for an aerodrome that exists.

    Attributes
    ----------
    latitude_deg, longitude_deg
        WGS-84, north and east positive.
    runway_bearing_deg
        True direction of landing, deg.
    elevation_m
        Above mean sea level, m.
    """

    latitude_deg: float = 57.25
    longitude_deg: float = 4.5
    runway_bearing_deg: float = 160.0
    elevation_m: float = 31.0

    def __post_init__(self) -> None:
        if not -80 <= self.latitude_deg <= 80:
            raise ValueError(
                f"simulation.plant.site.latitude_deg: -80 to 80, not {self.latitude_deg}"
            )
        if not -180 <= self.longitude_deg <= 180:
            raise ValueError(
                f"simulation.plant.site.longitude_deg: -180 to 180, not {self.longitude_deg}"
            )

    def position(self, east_m: float, north_m: float) -> Position:
        """Return the place that lies so far east and north of the array."""
        bearing = math.radians(self.runway_bearing_deg)
        sin, cos = math.sin(bearing), math.cos(bearing)
        return Position(-east_m * sin - north_m * cos, east_m * cos - north_m * sin)

    def east_north_m(self, position: Position) -> tuple[float, float]:
        """Return how far east and north of the array `position` lies, m."""
        bearing = math.radians(self.runway_bearing_deg)
        sin, cos = math.sin(bearing), math.cos(bearing)
        along, lateral = position.along_m, position.lateral_m
        return -along * sin + lateral * cos, -along * cos - lateral * sin

    def latitude_longitude(self, position: Position) -> tuple[float, float]:
        """Return WGS-84 latitude and longitude, deg; a millimetre off at 3 km (`geodesy`)."""
        east_m, north_m = self.east_north_m(position)
        return latitude_longitude(
            self.latitude_deg, self.longitude_deg, east_m=east_m, north_m=north_m
        )
