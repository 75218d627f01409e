"""Hands that drive the logging receiver along a traverse and leave its files beside the station's.

A line runs across the centreline at a distance, a circle round the array; both at one speed, with
a rest at each end (`drive.Trip`). The files are the receiver's log and the NMEA 0183 text of the
position receiver in the same car, called like the log but for its ending. No file that is there is
ever written over: a name that is taken is refused, and without a name a free one is chosen.
"""

from __future__ import annotations

import itertools
import os
import re
from pathlib import Path
from typing import Final

import numpy as np

from sim_instruments.arguments import Arguments, number
from sim_instruments.clock import Clock
from sim_instruments.drive import CarPosition, Circle, OstrelDl4, Road, Straight, Trip
from sim_instruments.geometry import Position
from sim_instruments.plant import Plant

LOG: Final = ".csv"
TRACK: Final = ".nmea"
SPEED_M_S: Final = 15.0
SMOOTHING_S: Final = 0.5
PASSES: Final = 2
LONGEST_S: Final = 900.0
_NAME: Final = re.compile(rf"[A-Za-z0-9][A-Za-z0-9 _-]{{0,59}}{re.escape(LOG)}")
_LINE: Final = ("along_m", "from_m", "to_m")
_CIRCLE: Final = ("radius_m", "from_deg", "to_deg")


class DriveHands:
    """Hands at the wheel.

    Parameters
    ----------
    plant, clock
        What is driven through, and whose time the files have.
    rng
        Of the position receiver's errors.
    """

    def __init__(self, plant: Plant, clock: Clock, rng: np.random.Generator) -> None:
        self._plant = plant
        self._clock = clock
        self._rng = rng

    def drive(self, given: Arguments, folder: Path) -> dict[str, object]:
        """Drive, write both files into `folder`, and say what they are called.

        The drive takes none of the plant's time: its last row is of now.

        Raises
        ------
        ValueError
            What is asked for cannot be driven, or its files cannot be written.
        """
        trip = self._trip(given)
        receiver = OstrelDl4(_within(given, "smoothing_s", SMOOTHING_S, 0.0, 10.0))
        car = CarPosition(seed=int(self._rng.integers(2**31)))
        begin_s = self._clock.utc_ns() / 1e9 - trip.duration_s
        log = receiver.log(self._plant, trip, begin_s)
        track = car.track(self._plant.given.site, trip, begin_s)
        name = _save(folder, str(given.get("file", "")), log, track)
        return {"text": name, "track": track_of(name), "duration_s": round(trip.duration_s, 1)}

    def _trip(self, given: Arguments) -> Trip:
        road = _road(given)
        for place in (road.place(part * road.length_m) for part in (0.0, 0.5, 1.0)):
            if not self._plant.can_receive(place):
                raise ValueError("a receiver is not driven in among the elements")
        passes = _within(given, "passes", PASSES, 1, 8)
        if not passes.is_integer():
            raise ValueError(f"'passes' is to be a whole number, not {passes:g}")
        trip = Trip(road, _within(given, "speed_m_s", SPEED_M_S, 0.5, 40.0), int(passes))
        if trip.duration_s > LONGEST_S:
            raise ValueError(
                f"that takes {trip.duration_s:.0f} s; the receiver's memory lasts {LONGEST_S:g} s"
            )
        return trip


def track_of(log: str) -> str:
    """Return what the track beside a log is called.

    Raises
    ------
    ValueError
        `log` is no name that a log can have.
    """
    if not _NAME.fullmatch(log):
        raise ValueError(
            f"a log is called by letters, digits, spaces, '-' and '_', and ends in {LOG}; "
            f"not {log[:80]!r}"
        )
    return log.removesuffix(LOG) + TRACK


def _road(given: Arguments) -> Road:
    named = [keys for keys in (_LINE, _CIRCLE) if any(key in given for key in keys)]
    if len(named) != 1 or not all(key in given for key in named[0]):
        ways = ", or ".join(f"{a}, {b} and {c}" for a, b, c in (_LINE, _CIRCLE))
        raise ValueError(f"what is driven along is {ways}")
    first, second, third = (number(given, key) for key in named[0])
    if abs(first) > 20_000 or max(abs(second), abs(third)) > 20_000:
        raise ValueError("nobody drives farther out than 20 km")
    if second == third:
        raise ValueError("a drive that ends where it begins is none")
    if named[0] == _CIRCLE:
        if max(abs(second), abs(third)) > 90.0:
            raise ValueError("azimuths of a circle are -90 to 90 degrees")
        return Circle(first, second, third)
    return Straight(Position(first, second), Position(first, third))


def _save(folder: Path, asked: str, log: str, track: str) -> str:
    """Write both files under the asked name, or under the first that is free; the log's name."""
    names = [asked] if asked else (f"drive-{number}{LOG}" for number in itertools.count(1))
    for name in names:
        beside = folder / track_of(name)
        if os.path.lexists(folder / name) or os.path.lexists(beside):
            continue
        try:
            # Made new or not at all, so that no link and no other hand's file is written through.
            for path, text in ((beside, track), (folder / name, log)):
                with path.open("x", encoding="utf-8", newline="") as file:
                    file.write(text)
        except OSError as error:
            raise ValueError(f"{name} cannot be written: {error.strerror}") from error
        return name
    raise ValueError(f"there is a file of the name {asked!r}, or the track beside it, already")


def _within(given: Arguments, key: str, default: float, low: float, high: float) -> float:
    value = number(given, key) if key in given else float(default)
    if not low <= value <= high:
        raise ValueError(f"{key!r} is {low:g} to {high:g}, not {value:g}")
    return value
