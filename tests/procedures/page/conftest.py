"""A page over a small real run: the bench, the log, the terminal's operator, and a hand."""

from __future__ import annotations

import io
import math
import os
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from rich.console import Console

from daq.clock import Clock, ManualClock, SystemClock
from daq.errors import Aborted, TrimbenchError
from daq.journal import Journal
from daq.log.entry import Kind
from daq.log.writer import LogWriter
from daq.reading import Reading
from daq.roles import Identity, InstrumentClass
from daq.station import Station, load_station
from procedures.engine.bench import Bench
from procedures.engine.run_started import started_body
from procedures.page.server import LivePage, PageOptions
from procedures.terminal.operator import TerminalOperator

STATION = Path(__file__).parent / "tarnholt.toml"
IDENTITY = Identity("HALVORSUND", "NR-2", "20417", "3.1")
READING_S = 0.03

Script = Callable[[Bench], object]


@dataclass
class Meter:
    """An instrument that reads whatever `value` is, thirty times a second."""

    alias: str
    clock: Clock
    value: float = 0.1
    wobble: float = 0.00002
    instrument_class: InstrumentClass = InstrumentClass.NAVIGATION_RECEIVER
    identity: Identity = IDENTITY
    quantities: frozenset[str] = frozenset({"ddm", "vpp"})
    count: int = 0
    paused: threading.Event = field(default_factory=threading.Event)

    def measure(self, quantity: str, *, point: str = "", channel: str = "") -> Reading:
        while self.paused.is_set():
            self.clock.sleep(0.01)
        self.clock.sleep(READING_S)
        self.count += 1
        value = self.value + self.wobble * math.sin(self.count)
        now = self.clock.utc_ns(), self.clock.monotonic_ns()
        return Reading(quantity, value, 0.0003, self.alias, point, *now)

    def close(self) -> None:
        self.paused.clear()


@dataclass
class Rig:
    """A page over a run that a script does in a thread of its own."""

    station: Station
    page: LivePage
    meter: Meter
    writer: LogWriter
    console: Console
    keyboard: int
    run: int = 1
    hands: Callable[[Rig], None] | None = None
    result: object = None
    _thread: threading.Thread | None = None

    def start(self, script: Script) -> None:
        """Begin the script; its result, or the error that ended it, is in `result`."""
        self._thread = threading.Thread(target=self._work, args=(script,), daemon=True)
        self._thread.start()

    def finish(self, timeout_s: float = 10.0) -> object:
        """Wait for the script and return its result."""
        assert self._thread is not None
        self._thread.join(timeout_s)
        assert not self._thread.is_alive(), "the run still waits for somebody"
        return self.result

    def type(self, text: str) -> None:
        """Type at the keyboard."""
        os.write(self.keyboard, text.encode())

    def stop(self) -> None:
        """Stop a run that still goes on, as a person would."""
        while self._thread is not None and self._thread.is_alive():
            self.type("q\nq\ny\n")
            self._thread.join(0.2)

    @property
    def said(self) -> str:
        """What the terminal showed."""
        assert isinstance(self.console.file, io.StringIO)
        return self.console.file.getvalue()

    def _work(self, script: Script) -> None:
        body = started_body(
            "monitor-baseline", 1, self.station, (self.meter,), operator="technician"
        )
        self.writer.append(self.run, Kind.RUN_STARTED, "monitor-baseline", body)
        keys = self.page.keys(self._descriptor)
        operator = self.page.shown(TerminalOperator(self.console, keys), acts=True)
        instruments = {"receiver": self.meter, "scope": self.meter}
        bench = Bench(
            self.station, instruments, operator, self.meter.clock, Journal(self.writer, self.run)
        )
        try:
            self.result = script(bench)
        except (TrimbenchError, Aborted) as error:
            self.result = error
        end = {"result": "finished", "message": "", "open_hazards": []}
        self.writer.append(self.run, Kind.RUN_ENDED, "finished", end)

    _descriptor: int = -1


MakeRig = Callable[..., Rig]


@pytest.fixture
def station(tmp_path: Path) -> Station:
    """Return the tests' own station in a folder of its own."""
    path = tmp_path / "tarnholt-16.toml"
    path.write_text(STATION.read_text(encoding="utf-8"), encoding="utf-8")
    return load_station(path)


@pytest.fixture
def rig(station: Station) -> Iterator[Rig]:
    """Return a rig on the loopback address."""
    yield from _rig(station, PageOptions(port=0))


@pytest.fixture
def lan_rig(station: Station) -> Iterator[Rig]:
    """Return a rig as for other machines, at an address that every machine has."""
    yield from _rig(station, PageOptions(lan=True, port=0, address="127.0.0.1"))


def _rig(station: Station, options: PageOptions) -> Iterator[Rig]:
    clock = SystemClock()
    reading, typing = os.pipe()
    with (
        LogWriter(station.log_path, clock) as writer,
        LivePage(station, 1, clock, options, writer) as page,
    ):
        console = Console(file=io.StringIO(), width=80, _environ={})
        meter = Meter("receiver", clock)
        made = Rig(station, page, meter, writer, console, typing, _descriptor=reading)
        yield made
        meter.close()
        made.stop()
    os.close(typing)
    os.close(reading)


@pytest.fixture
def manual_clock() -> ManualClock:
    """Return a clock that moves when told."""
    return ManualClock()
