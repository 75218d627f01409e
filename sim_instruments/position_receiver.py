"""Navelin GP-5, a position receiver that speaks NMEA 0183, as its programming manual has it."""

from __future__ import annotations

import math
import threading
from datetime import UTC, datetime, timedelta
from functools import reduce
from typing import Final

import numpy as np

from sim_instruments.clock import Clock
from sim_instruments.connections import Connections
from sim_instruments.geometry import Position
from sim_instruments.plant import Plant

INTERVAL_S: Final = 0.2
WANDER_M: Final = 1.0
"""Standard deviation of the error in each axis."""
WANDER_S: Final = 30.0
"""Time over which the error forgets itself."""
SATELLITES: Final = 9
DILUTION: Final = 0.9


def sentence(body: str) -> bytes:
    r"""Return `body` as a sentence: ``$``, body, ``*``, exclusive or of the body in hex, CR LF.

    NMEA 0183 version 4.10, 5.3 (from memory).
    """
    checksum = reduce(lambda so_far, byte: so_far ^ byte, body.encode("ascii"), 0)
    return f"${body}*{checksum:02X}\r\n".encode("ascii")


def angle(value_deg: float, digits: int, letters: str) -> str:
    """Return an angle as ``dddmm.mmmmm,h``; `letters` are those of positive and negative."""
    # Rounded before it is split, so that there are never 60 minutes.
    minutes = round(abs(value_deg) * 60, 5)
    whole, rest = divmod(minutes, 60)
    return f"{int(whole):0{digits}d}{rest:08.5f},{letters[0 if value_deg >= 0 else 1]}"


class NavelinGp5:
    """The position receiver; hands carry it with the navigation receiver."""

    def __init__(self, plant: Plant, connections: Connections, clock: Clock) -> None:
        self._plant = plant
        self._connections = connections
        self._clock = clock
        self._noise = np.random.default_rng((plant.given.seed, 4))
        self._error_m = WANDER_M * self._noise.standard_normal(2)
        self._lock = threading.Lock()

    def session(self) -> NavelinSession:
        """Return a new client's line."""
        return NavelinSession(self, self._clock)

    def sentences(self) -> bytes:
        """Return one GGA and one RMC for this moment."""
        moment = datetime.fromtimestamp(0, tz=UTC) + timedelta(
            microseconds=self._clock.utc_ns() // 1000
        )
        clock = f"{moment:%H%M%S}.{moment.microsecond // 10_000:02d}"
        place = self._connections.place
        if place == Position(0.0):
            return sentence(f"GPGGA,{clock},,,,,0,00,,,M,,M,,") + sentence(
                f"GPRMC,{clock},V,,,,,,,{moment:%d%m%y},,,N"
            )
        site = self._plant.given.site
        latitude_deg, longitude_deg = site.latitude_longitude(self._wandered(place))
        where = f"{angle(latitude_deg, 2, 'NS')},{angle(longitude_deg, 3, 'EW')}"
        gga = (
            f"GPGGA,{clock},{where},1,{SATELLITES:02d},{DILUTION},{site.elevation_m:.1f},M,40.0,M,,"
        )
        rmc = f"GPRMC,{clock},A,{where},0.0,,{moment:%d%m%y},,,A"
        return sentence(gga) + sentence(rmc)

    def _wandered(self, place: Position) -> Position:
        """Return `place` with an error that wanders: a first-order autoregression each interval."""
        keep = math.exp(-INTERVAL_S / WANDER_S)
        with self._lock:
            fresh = WANDER_M * math.sqrt(1 - keep**2) * self._noise.standard_normal(2)
            self._error_m = keep * self._error_m + fresh
            error_m = self._error_m
        return Position(place.along_m + error_m[0], place.lateral_m + error_m[1])


class NavelinSession:
    """A line on which it speaks five times a second."""

    def __init__(self, receiver: NavelinGp5, clock: Clock) -> None:
        self._receiver = receiver
        self._clock = clock

    def feed(self, data: bytes) -> bytes:
        """Take bytes; it has no commands."""
        del data
        return b""

    def speak(self, gone: threading.Event) -> bytes:
        """Wait for the next fifth of a second; see `sessions.Speaks`."""
        self._clock.sleep(INTERVAL_S)
        return b"" if gone.is_set() else self._receiver.sentences()
