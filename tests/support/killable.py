"""A run that a test may kill: says on a pipe which readings were shown and what was asked.

Usage: python -m tests.support.killable STATION begin|RUN PIPE-DESCRIPTOR
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

from daq.clock import SystemClock
from daq.log.writer import LogWriter
from daq.roles import Answer, Operator, Prompt, WatchCommand, WatchView
from daq.station import load_station
from procedures.cli import wiring
from procedures.engine.runner import Crew, begin, resume


class Shown:
    """Tells the pipe what the inner operator is shown and asked."""

    def __init__(self, inner: Operator, pipe: int) -> None:
        self._inner = inner
        self._pipe = pipe

    @property
    def name(self) -> str:
        return self._inner.name

    def answer(self, prompt: Prompt) -> Answer:
        answer = self._inner.answer(prompt)
        os.write(self._pipe, f"answered {prompt.key}\n".encode())
        return answer

    def watching(self, view: WatchView) -> WatchCommand:
        os.write(self._pipe, f"shown {view.reading.mono_ns}\n".encode())
        return self._inner.watching(view)

    def tell(self, text: str) -> None:
        self._inner.tell(text)


def main() -> None:
    station = load_station(Path(sys.argv[1]))
    pipe = int(sys.argv[3])
    clock = SystemClock()
    with LogWriter(station.log_path, clock) as writer:
        run = writer.next_run() if sys.argv[2] == "begin" else int(sys.argv[2])
        with (
            wiring.open_instruments(station, clock) as instruments,
            wiring.operator_for("sim", station, writer, run, quiet=True) as inner,
        ):
            crew = Crew(instruments, Shown(inner, pipe), clock, writer)
            if sys.argv[2] == "begin":
                begin("monitor-baseline", station, crew)
            else:
                resume(run, station, crew)
    os.write(pipe, b"ended\n")


if __name__ == "__main__":
    main()
