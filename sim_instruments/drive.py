"""A receiver that is driven across the course line and stores by itself, and its position receiver.

As its manual has it, the Ostrel DL-4 integrates for a tenth of a second, smooths what comes out
with a time constant that is set on it, and stores every so many of them with the time of its own
clock: ``UTC`` (ISO 8601), ``Deviation uA`` (positive when 90 Hz predominates), ``Sum %``, ``Level
dBm`` and ``State`` (``OK``, ``LOW`` below its squelch, ``OVR`` over-modulated). A Navelin in the
same car writes GGA and RMC sentences five times a second.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Final, Protocol

import numpy as np

from sim_instruments.geometry import Position, Site
from sim_instruments.plant import Plant
from sim_instruments.position_receiver import DILUTION, SATELLITES, angle, sentence
from sim_instruments.receiver_dsp import RATE_HZ, Demodulated, demodulate
from sim_instruments.receivers import OVER_MODULATED_SDM, UA_PER_DDM, level_dbm, usable

INTEGRATION_S: Final = 0.1
HEADER: Final = "UTC,Deviation uA,Sum %,Level dBm,State"
RTK_FIXED: Final = 4
"""Kind of fix in a GGA sentence (NMEA 0183 version 4.10, from memory)."""


class Road(Protocol):
    """What is driven along."""

    @property
    def length_m(self) -> float:
        """From one end to the other."""

    def place(self, driven_m: float) -> Position:
        """Return the place so far from its beginning."""


@dataclass(frozen=True, slots=True)
class Straight:
    """From one place straight to another."""

    start: Position
    end: Position

    @property
    def length_m(self) -> float:
        """See `Road`."""
        along, lateral = (
            getattr(self.end, name) - getattr(self.start, name) for name in ("along_m", "lateral_m")
        )
        return math.hypot(along, lateral)

    def place(self, driven_m: float) -> Position:
        """See `Road`."""
        part = driven_m / self.length_m
        return Position(
            self.start.along_m + part * (self.end.along_m - self.start.along_m),
            self.start.lateral_m + part * (self.end.lateral_m - self.start.lateral_m),
        )


@dataclass(frozen=True, slots=True)
class Circle:
    """Round the array from one azimuth to another, degrees."""

    radius_m: float
    from_deg: float
    to_deg: float

    @property
    def length_m(self) -> float:
        """See `Road`."""
        return self.radius_m * math.radians(abs(self.to_deg - self.from_deg))

    def place(self, driven_m: float) -> Position:
        """See `Road`."""
        part = driven_m / self.length_m
        azimuth_deg = self.from_deg + part * (self.to_deg - self.from_deg)
        return Position.at_azimuth(self.radius_m, azimuth_deg)


@dataclass(frozen=True, slots=True)
class Trip:
    """A drive along a road at one speed, with a rest at each end.

    Attributes
    ----------
    road
        What is driven along.
    speed_m_s
        On the way.
    passes
        How many times: there, back, there again.
    rest_s
        At the beginning, at each end, and after the last pass.
    """

    road: Road
    speed_m_s: float
    passes: int = 2
    rest_s: float = 2.0

    @property
    def duration_s(self) -> float:
        """Of all of it."""
        one_s = self.road.length_m / self.speed_m_s
        return self.rest_s + self.passes * (one_s + self.rest_s)

    def place(self, after_s: float) -> Position:
        """Return where the car is so long after the beginning."""
        one_s = self.road.length_m / self.speed_m_s
        number, within_s = divmod(max(0.0, after_s - self.rest_s), one_s + self.rest_s)
        if number >= self.passes:
            number, within_s = self.passes - 1, one_s
        driven_m = min(within_s, one_s) * self.speed_m_s
        return self.road.place(driven_m if number % 2 == 0 else self.road.length_m - driven_m)


@dataclass(frozen=True, slots=True)
class OstrelDl4:
    """The logging receiver.

    Attributes
    ----------
    smoothing_s
        Time constant of its smoothing; zero for none.
    every
        It stores every so many integrations.
    clock_ahead_s
        By how much its clock is ahead of UTC.
    gain_error, zero_ddm
        Its own errors: a part of each deviation, and one for all, positive to the 150 Hz side.
    """

    smoothing_s: float = 0.0
    every: int = 2
    clock_ahead_s: float = 0.0
    gain_error: float = 0.0
    zero_ddm: float = 0.0

    @property
    def lag_s(self) -> float:
        """By how much its values are late on a ramp: half an integration and the smoothing."""
        if self.smoothing_s == 0.0:
            return INTEGRATION_S / 2
        return INTEGRATION_S / 2 + INTEGRATION_S / math.expm1(INTEGRATION_S / self.smoothing_s)

    def log(self, plant: Plant, trip: Trip, begin_utc_s: float) -> str:
        """Return the file that it stores on a trip that begins at that time, s since 1970."""
        lines = [HEADER]
        smoothed = _Smoothed(self.smoothing_s)
        for number, seen in enumerate(_integrations(plant, trip), start=1):
            ddm = seen.ddm * (1 + self.gain_error) + self.zero_ddm
            deviation_ua, sdm = smoothed.see(-ddm * UA_PER_DDM, seen.sdm)
            if number % self.every:
                continue
            at_s = begin_utc_s + number * INTEGRATION_S + self.clock_ahead_s
            state = "LOW" if not usable(seen) else "OVR" if sdm > OVER_MODULATED_SDM else "OK"
            shown = f"{deviation_ua:+.2f},{100 * sdm:.1f}" if usable(seen) else "----,----"
            lines.append(
                f"{_moment(at_s):%Y-%m-%dT%H:%M:%S.%f}Z,{shown},{level_dbm(seen):.1f},{state}"
            )
        return "\n".join(lines) + "\n"


class _Smoothed:
    """First-order smoothing of deviation and sum."""

    def __init__(self, smoothing_s: float) -> None:
        self._part = -math.expm1(-INTEGRATION_S / smoothing_s) if smoothing_s else 1.0
        self._now: tuple[float, float] | None = None

    def see(self, deviation_ua: float, sdm: float) -> tuple[float, float]:
        new = (deviation_ua, sdm)
        before = self._now or new
        first, second = (b + self._part * (n - b) for b, n in zip(before, new, strict=True))
        self._now = first, second
        return self._now


def _integrations(plant: Plant, trip: Trip) -> Iterator[Demodulated]:
    """Yield what each tenth of a second on the way gives, taken where the car is in its middle."""
    samples = round(INTEGRATION_S * RATE_HZ)
    start_s = plant.now_s()
    for number in range(int(trip.duration_s / INTEGRATION_S)):
        at_s = number * INTEGRATION_S
        place = trip.place(at_s + INTEGRATION_S / 2)
        yield demodulate(plant.baseband(place, start_s + at_s, RATE_HZ, samples))


@dataclass(frozen=True, slots=True)
class CarPosition:
    """The position receiver in the car.

    Attributes
    ----------
    interval_s
        Between two fixes.
    noise_m
        Standard deviation of each fix in each axis, independent of the others.
    shift_m
        To the 150 Hz side, the same in all fixes.
    quality
        Kind of fix, as GGA counts it.
    seed
        Of the noise.
    """

    interval_s: float = 0.2
    noise_m: float = 0.02
    shift_m: float = 0.0
    quality: int = RTK_FIXED
    seed: int = 0

    def track(self, site: Site, trip: Trip, begin_utc_s: float) -> str:
        """Return its sentences on a trip that begins at that time, s since 1970."""
        noise = np.random.default_rng((self.seed, 11))
        found = []
        for number in range(int(trip.duration_s / self.interval_s) + 1):
            at_s = number * self.interval_s
            place = trip.place(at_s)
            along_m, lateral_m = self.noise_m * noise.standard_normal(2)
            seen = Position(place.along_m + along_m, place.lateral_m + lateral_m + self.shift_m)
            latitude_deg, longitude_deg = site.latitude_longitude(seen)
            where = f"{angle(latitude_deg, 2, 'NS')},{angle(longitude_deg, 3, 'EW')}"
            moment = _moment(begin_utc_s + at_s)
            clock = f"{moment:%H%M%S}.{moment.microsecond // 10_000:02d}"
            gga = (
                f"GPGGA,{clock},{where},{self.quality},{SATELLITES:02d},{DILUTION},"
                f"{site.elevation_m:.1f},M,40.0,M,,"
            )
            rmc = f"GPRMC,{clock},A,{where},0.0,,{moment:%d%m%y},,,A"
            found.append(sentence(gga) + sentence(rmc))
        return b"".join(found).decode("ascii")


def _moment(utc_s: float) -> datetime:
    return datetime.fromtimestamp(0, tz=UTC) + timedelta(microseconds=round(utc_s * 1e6))
