"""Readings at a point, each on the disk before anybody has it, singly or averaged once settled."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from daq.clock import Clock, JumpWatch
from daq.journal import Journal
from daq.measurement import Measurement, combine
from daq.reading import Reading
from daq.roles import Instrument
from daq.station import Point
from daq.steadiness import WINDOW, Watch
from procedures.engine.taking import take
from procedures.engine.watch_view import settle_for

PATIENCE: Final = 6 * WINDOW
"""Readings after which a measurement is taken although it has not settled (and says so)."""


@dataclass
class PointReader:
    """Takes the readings of one run.

    Attributes
    ----------
    instruments
        By the name that the station file gives them.
    journal
        Where each reading is written, and each jump of the calendar clock.
    """

    instruments: Mapping[str, Instrument]
    clock: Clock
    journal: Journal
    _jumps: JumpWatch = field(init=False)

    def __post_init__(self) -> None:
        self._jumps = JumpWatch(self.clock)

    def read(self, key: str, point: Point) -> Reading:
        """Take one reading for step `key`.

        Raises
        ------
        BenchError
            The instrument failed.
        LogError
            The reading could not be written.
        """
        reading = take(
            self.instruments[point.instrument],
            point.quantity,
            point=point.name,
            channel=point.channel,
        )
        if (jump_s := self._jumps.jump_s()) is not None:
            # Monotonic time stands still in a computer that sleeps, which looks like a clock that
            # was set forward.
            what = "the computer slept, or its calendar clock was set"
            event = what if jump_s > 0 else "the calendar clock was set back"
            self.journal.event(key, {"event": event, "seconds": jump_s})
        self.journal.reading(key, reading)
        return reading

    def settled(self, key: str, point: Point) -> Measurement:
        """Average readings once they have settled, or the last ones after `PATIENCE`.

        Raises
        ------
        BenchError
            The instrument failed, or gave nothing that can be averaged.
        LogError
            A reading could not be written.
        """
        if getattr(self.instruments[point.instrument], "by_hand", False):
            # A person who types what a meter shows has already waited until it was steady.
            return combine([self.read(key, point)], steady=True)
        watch = Watch(target=None, settle=settle_for(point.quantity, point.target, None))
        readings: list[Reading] = []
        while len(readings) < PATIENCE:
            readings.append(self.read(key, point))
            watch.add(readings[-1])
            if len(readings) >= WINDOW and watch.steady:
                return watch.measurement()
        return combine(readings[-WINDOW:], steady=False)
