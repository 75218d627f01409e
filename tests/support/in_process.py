"""A whole bench in one process: the real drivers, the simulated instruments, no wire between.

Profiles, conversations, parsing and errors are the real ones; only the socket or the serial line
is replaced by a link that hands bytes to the simulated device. Time is a `ManualClock`, which the
devices move on while they acquire.
"""

from __future__ import annotations

import threading
from collections.abc import Mapping
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Protocol, Self

from daq.clock import Clock, ManualClock
from daq.errors import LinkTimeout
from daq.link import Chunk
from daq.log.writer import LogWriter
from daq.roles import Instrument, InstrumentClass, Operator
from daq.station import Station
from drivers.conversation import Conversation
from drivers.oscilloscope import ProfiledOscilloscope
from drivers.position import ProfiledPositionReceiver
from drivers.profiled import Place, ProfiledInstrument
from drivers.registry import find_profile
from procedures.engine.runner import Crew, RunEnd, begin, resume
from sim_instruments.bench import SimulatedBench
from sim_instruments.operator import SimulatedOperator
from sim_instruments.sessions import Speaks


class Session(Protocol):
    def feed(self, data: bytes) -> bytes: ...


class DirectLink:
    """Bytes to a device and back."""

    marks_end = False

    def __init__(self, resource: str, session: Session, clock: Clock) -> None:
        self.resource = resource
        self._session = session
        self._clock = clock
        self._waiting = b""

    def write(self, data: bytes, timeout_s: float) -> None:
        self._waiting += self._session.feed(data)

    def read(self, timeout_s: float) -> Chunk:
        if not self._waiting and timeout_s > 0.0 and isinstance(self._session, Speaks):
            self._waiting = self._session.speak(threading.Event())
        if not self._waiting:
            self._clock.sleep(timeout_s)
            raise LinkTimeout("nothing arrived")
        data, self._waiting = self._waiting, b""
        return Chunk(data)

    def clear(self, timeout_s: float) -> None:
        self._waiting = b""

    def close(self) -> None:
        self._waiting = b""


class _Direct(ProfiledInstrument):
    """A profiled instrument whose link is a `DirectLink`."""

    def __init__(self, profile: str, place: Place, session: Session) -> None:
        self._direct_session = session
        super().__init__(find_profile(profile, place.base), place)

    def _open(self) -> Conversation:
        place = self._place
        return Conversation(
            DirectLink(place.resource, self._direct_session, place.clock),
            self._profile.link.message_format(),
            clock=place.clock,
            instrument=place.label,
            transcript=self._transcript,
            recovery_s=place.recovery_s,
        )


class DirectInstrument(_Direct, ProfiledOscilloscope):
    """Any instrument but a position receiver."""


class DirectPositionReceiver(_Direct, ProfiledPositionReceiver):
    """An instrument that knows where it is."""


@dataclass
class InProcessBench:
    """A station, its simulated plant and instruments, and its log; a context manager."""

    station: Station
    sim: SimulatedBench
    clock: ManualClock
    writer: LogWriter
    instruments: dict[str, Instrument]
    _stack: ExitStack

    @classmethod
    def make(
        cls, station: Station, plant: Mapping[str, object] | None = None, *, log: Path
    ) -> Self:
        clock = ManualClock()
        sim = SimulatedBench({**station.simulation.plant, **(plant or {})}, clock)
        stack = ExitStack()
        writer = stack.enter_context(LogWriter(log, clock))
        instruments: dict[str, Instrument] = {}
        for entry in station.instruments:
            place = Place(entry.alias, entry.resource, clock, station.path.parent)
            session = sim.device(entry.profile).session()
            here = entry.instrument_class is InstrumentClass.POSITION_RECEIVER
            kind = DirectPositionReceiver if here else DirectInstrument
            instrument = kind(entry.profile, place, session)
            stack.callback(instrument.close)
            instruments[entry.alias] = instrument
        return cls(station, sim, clock, writer, instruments, stack)

    def technician(self, run: int) -> SimulatedOperator:
        return SimulatedOperator(self.sim.hands, f"run {run}")

    def crew(self, operator: Operator | None = None) -> Crew:
        who = operator or self.technician(self.writer.next_run())
        return Crew(self.instruments, who, self.clock, self.writer)

    def run(self, procedure: str, operator: Operator | None = None) -> RunEnd:
        return begin(procedure, self.station, self.crew(operator))

    def resume(self, run: int, operator: Operator | None = None) -> RunEnd:
        return resume(run, self.station, self.crew(operator or self.technician(run)))

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._stack.close()
