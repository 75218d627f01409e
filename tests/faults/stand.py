"""A whole bench with one receiver on one link: what was shown, asked and logged is all kept."""

from __future__ import annotations

import gc
import io
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from rich.console import Console

from daq.clock import SystemClock
from daq.journal import Journal
from daq.log.entry import Entry, Kind
from daq.log.reader import LogReader
from daq.log.writer import LogWriter
from daq.measurement import Measurement
from daq.roles import Answer, Prompt, WatchCommand, WatchView
from daq.station import parse_station
from drivers.profiled import Place, ProfiledInstrument
from procedures.cli.wiring import gap_into
from procedures.engine.bench import Bench
from procedures.terminal.observer import NarratingOperator
from sim_instruments.bench import ServedBench
from sim_instruments.clock import SystemClock as SimulatorsClock
from sim_instruments.fault_panel import FaultPanel
from tests.faults.ramp import RampReceiver, ramp_profile

LINKS: Final[Mapping[str, str]] = {
    "socket": "TCPIP::127.0.0.1::0::SOCKET",
    "serial": "ASRL./ramp.tty::INSTR",
    "VXI-11": "TCPIP::127.0.0.1,0::inst0::INSTR",
    "HiSLIP": "TCPIP::127.0.0.1::hislip0,0::INSTR",
}
TIMEOUT_S: Final = 0.4
RECOVERY_S: Final = 1.0
OPEN_S: Final = 2.0
SLACK_S: Final = 1.5
"""For a machine that does other things."""
POINT: Final = "course width"
MOST_TRIES: Final = 12

STATION: Final = """
[station]
name = "Tarnholt aerodrome"
runway = "16"
ident = "ITN"
category = "II"
frequency = "109.35 MHz"
log = "faults.tblog"

[geometry]
distance_to_threshold = "3120 m"

[conventions]
alarm_basis = "sensitivity"

[[instruments]]
alias = "receiver"
class = "navigation receiver"
profile = "ramp.toml"
resource = "TCPIP::127.0.0.1::5025::SOCKET"

[[points]]
name = "course width"
quantity = "ddm"
instrument = "receiver"
target = "0.155"
adjust_to = "0.001"
control = "monitor width"
"""


@dataclass
class Technician:
    """Captures after a dozen readings; mends what is broken, and tries again up to a limit.

    Attributes
    ----------
    mend
        What is done before the first new try.
    questions
        What was asked after a failure, and when.
    views
        What was shown of each reading.
    """

    mend: Callable[[], None]
    questions: list[tuple[str, int]] = field(default_factory=list)
    views: list[WatchView] = field(default_factory=list)
    looks: int = 12
    name: str = "technician"

    def answer(self, prompt: Prompt) -> Answer:
        if "/retry " not in prompt.key:
            return True
        self.questions.append((prompt.text, time.monotonic_ns()))
        self.mend()
        return len(self.questions) < MOST_TRIES

    def watching(self, view: WatchView) -> WatchCommand:
        self.views.append(view)
        if not view.reading.usable and len(self.views) > self.looks:
            self.mend()  # a display that says there is no value is looked into, too
        return "capture" if view.count > self.looks and view.steady else "go on"

    def tell(self, text: str) -> None:
        pass


@dataclass
class Stand:
    """The bench, and everything that can be held against it."""

    bench: Bench
    instrument: ProfiledInstrument
    device: RampReceiver
    panel: FaultPanel
    technician: Technician
    screen: io.StringIO
    log: Path
    resource: str

    def as_found(self, key: str = "width") -> Measurement:
        """Measure at the point."""
        return self.bench.measure(f"{key}/as found", POINT, label="as found")

    def adjust(self, before: Measurement, key: str = "width") -> Measurement:
        """Watch the point live until it is captured, and return what was captured."""
        adjusted = self.bench.adjust(
            key,
            POINT,
            target=0.155,
            band=0.5,
            control="monitor width",
            instruction="Turn it.",
            before=before,
        )
        return adjusted.after

    def rows(self, kind: Kind) -> list[Entry]:
        with LogReader(self.log) as reader:
            return list(reader.entries(run=1, kind=kind))

    def wrong(self) -> list[Entry]:
        """Good readings in the log that are not the device's answer to that very question."""
        return [row for row in self.rows(Kind.READING) if self.good(row) and not self._true(row)]

    @staticmethod
    def good(row: Entry) -> bool:
        """Whether a logged reading may be judged."""
        return row.body["quality"] == "ok"

    def _true(self, row: Entry) -> bool:
        began_ns = row.mono_ns - int(str(row.body["took_ns"]))
        return any(
            began_ns <= given.at_ns <= row.mono_ns and row.body["value"] == given.value
            for given in self.device.given
        )

    def events(self, name: str) -> list[Mapping[str, object]]:
        """Bodies of the events of that name."""
        return [row.body for row in self.rows(Kind.EVENT) if row.body["event"] == name]


@contextmanager
def stand(link: str, folder: Path, *, stamped: bool = False) -> Iterator[Stand]:
    """Serve the receiver on a link and open a bench on it; leaves nothing behind."""
    device = RampReceiver(stamped=stamped)
    served = ServedBench(SimulatorsClock())
    clock = SystemClock()
    screen = io.StringIO()
    with ExitStack() as stack:
        stack.callback(served.close)
        served.open("ramp", device, LINKS[link], folder)
        panel, resource = served.panels["ramp"], served.resources[LINKS[link]]
        writer = stack.enter_context(LogWriter(folder / "faults.tblog", clock))
        place = Place(
            "receiver",
            resource,
            clock,
            folder,
            gap_into(writer, 1),
            open_limit_s=OPEN_S,
            recovery_s=RECOVERY_S,
        )
        profile = ramp_profile(folder, timeout_s=TIMEOUT_S, stamped=stamped)
        instrument = ProfiledInstrument(profile, place)
        stack.callback(instrument.close)
        technician = Technician(mend=panel.clear)
        narrated = stack.enter_context(
            NarratingOperator(technician, Console(file=screen, width=100, highlight=False))
        )
        station = parse_station(STATION, folder / "faults.toml")
        bench = Bench(station, {"receiver": instrument}, narrated, clock, Journal(writer, 1))
        yield Stand(bench, instrument, device, panel, technician, screen, writer.path, resource)
        panel.clear()


def threads_and_descriptors() -> tuple[int, int]:
    """What this process holds."""
    return threading.active_count(), len(list(Path("/proc/self/fd").iterdir()))


def settled(before: tuple[int, int], limit_s: float = 2.0) -> tuple[int, int]:
    """Return what this process holds once it is no more than before, or after a while at most."""
    end = time.monotonic() + limit_s
    while True:
        now = threads_and_descriptors()
        if (now[0] <= before[0] and now[1] <= before[1]) or time.monotonic() > end:
            return now
        gc.collect()  # pyvisa-py leaves sockets of failed openings to the collector
        time.sleep(0.005)
