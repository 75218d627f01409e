"""The monitor's alarm unit: is it in alarm, and which of its parameters is it.

Each look is a reading like any other and stands in the log: 1 says that there is an alarm, 0 that
there is none. The state point tells of the worst of all parameters. A parameter has a point of its
own, called after what it watches: ``course width alarm`` for ``course width``. Where the station
file has none for what is tried, any alarm is taken for it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final, Literal, Self

from daq.errors import AnswerError
from daq.log.entry import Body
from daq.reading import Quality, Reading
from daq.station import Point
from daq.station_equipment import AlarmEntry, Alarms
from procedures.engine.bench import Bench
from procedures.engine.taking import take

NS_PER_S: Final = 1e9
UNNAMED: Final = "a parameter that the station file does not name"

Found = Literal["none", "own", "another"]
"""Whether there is an alarm, and whether it is that of the parameter which is tried."""


@dataclass(frozen=True, slots=True)
class AlarmUnit:
    """The station's alarm unit while one of its parameters is tried.

    Attributes
    ----------
    state
        Where the worst of all parameters is asked for.
    own
        The parameter that is tried; None where the station file does not name it.
    rest
        Every other parameter that it names.
    """

    bench: Bench
    state: Point
    own: Point | None
    rest: tuple[Point, ...]

    @classmethod
    def trying(cls, bench: Bench, table: Alarms, entry: AlarmEntry) -> Self:
        """Return it for the trial of `entry`."""
        state = bench.station.point(table.state_point)
        parameters = [
            point
            for point in bench.station.points
            if point.name != state.name
            and (point.instrument, point.quantity) == (state.instrument, state.quantity)
        ]
        own_name = f"{entry.point or entry.name} alarm"
        own = next((point for point in parameters if point.name == own_name), None)
        return cls(bench, state, own, tuple(point for point in parameters if point != own))

    def look(self, key: str) -> Found:
        """Ask whether there is an alarm, and of what.

        Raises
        ------
        AnswerError
            The unit does not say whether it is in alarm.
        BenchError
            It cannot be asked.
        """
        if not self._says_alarm(key, self.state):
            return "none"
        return "own" if self.own is None or self._says_alarm(key, self.own) else "another"

    def names(self, key: str) -> tuple[str, ...]:
        """Ask each parameter; return the points of those in alarm, `UNNAMED` where none is.

        Raises
        ------
        BenchError
            The unit cannot be asked.
        """
        parameters = (self.own, *self.rest) if self.own is not None else self.rest
        found = tuple(point.name for point in parameters if self._says_alarm(key, point))
        return found or (UNNAMED,)

    def read(self, key: str, point: Point) -> Reading:
        """Take one reading, of the unit or of what is turned, and write it to the log.

        Raises
        ------
        BenchError
            The instrument failed.
        """
        instrument = self.bench.instruments[point.instrument]
        reading = take(instrument, point.quantity, point=point.name, channel=point.channel)
        self.bench.journal.reading(key, reading)
        return reading

    def in_alarm(self, key: str) -> tuple[str, ...]:
        """Return what is in alarm now, for the journal; nothing when the unit is at rest.

        Raises
        ------
        BenchError
            The unit cannot be asked, and it was not mended.
        """

        def live() -> Body:
            alarm = self.look(key) != "none"
            return {"alarm": alarm, "parameters": list(self.names(key)) if alarm else []}

        return self._outcome(key, {"do": "alarm state"}, live)

    def still_in_alarm(self, key: str, limit_s: float, poll_s: float) -> tuple[str, ...]:
        """Wait until the unit is at rest; return what is in alarm even after `limit_s`.

        Raises
        ------
        BenchError
            The unit cannot be asked, and it was not mended.
        """
        clock = self.bench.clock

        def live() -> Body:
            began_ns = clock.monotonic_ns()
            while self.look(key) != "none":
                if clock.monotonic_ns() - began_ns > limit_s * NS_PER_S:
                    return {"quiet": False, "parameters": list(self.names(key))}
                clock.sleep(poll_s)
            return {"quiet": True, "parameters": []}

        return self._outcome(key, {"do": "alarm at rest", "within_s": limit_s}, live)

    def _outcome(self, key: str, request: Body, live: Callable[[], Body]) -> tuple[str, ...]:
        body = self.bench.journal.outcome(key, request, lambda: self.bench.patiently(key, live))
        return parameters_in(body)

    def _says_alarm(self, key: str, point: Point) -> bool:
        reading = self.read(key, point)
        if reading.usable and reading.value in (0.0, 1.0):
            return reading.value == 1.0
        if reading.quality is Quality.NO_VALUE and point != self.state:
            return False  # it is not watched, so it never comes
        raise AnswerError(
            f"At '{point.name}' the alarm unit says neither that there is an alarm (1) nor that "
            f"there is none (0): {reading.quality} ({reading.raw!r}).",
            instrument=reading.source,
            hint="`values` in its profile says which word stands for 1 and which for 0.",
        )


def parameters_in(body: Mapping[str, object]) -> tuple[str, ...]:
    """Return the parameters that an outcome of the journal names."""
    named = body.get("parameters")
    return tuple(str(name) for name in named) if isinstance(named, list | tuple) else ()
