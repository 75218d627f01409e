"""A technician at work, for the pseudo-terminal tests: run as a script, never imported.

It asks one number, then watches a value until it is captured or stopped. With ``error`` it fails
in the middle of the watch and never leaves its operator in good order.
"""

from __future__ import annotations

import sys

from rich.console import Console

from daq.clock import SystemClock
from daq.errors import Aborted
from daq.reading import Reading
from daq.roles import Prompt, WatchView
from procedures.terminal.keys import Keyboard
from procedures.terminal.operator import TerminalOperator


def view(clock: SystemClock, start_ns: int, count: int) -> WatchView:
    """Return one more view of a value that stands still."""
    now_ns = clock.monotonic_ns()
    reading = Reading("ddm", 0.1427, 0.0003, "receiver", "width", clock.utc_ns(), now_ns)
    elapsed_s = (now_ns - start_ns) / 1e9
    return WatchView(
        key="width",
        instruction="Turn the control.",
        control="SBO level",
        reading=reading,
        shown=0.1427,
        target=0.155,
        band=0.001,
        steady=True,
        slope_per_s=0.0,
        rate_hz=100.0,
        best=None,
        count=count,
        elapsed_s=elapsed_s,
    )


def main(how: str) -> int:
    """Ask, then watch; ``error`` breaks it off without closing anything."""
    clock = SystemClock()
    console = Console(highlight=False)
    operator = TerminalOperator(console, Keyboard())
    try:
        length_m = operator.answer(Prompt("cut", "number", "Length cut?", unit="m"))
        console.print(f"GOT {length_m}")
        count, start_ns = 0, clock.monotonic_ns()
        while True:
            count += 1
            command = operator.watching(view(clock, start_ns, count))
            if how == "error":
                raise RuntimeError("broken off")
            if command in ("capture", "abort"):
                console.print(f"COMMAND {command}")
                return 0
            clock.sleep(0.01)
    except Aborted as stopped:
        console.print(f"ABORTED {stopped}")
        return stopped.exit_code
    except KeyboardInterrupt:
        operator.close()
        console.print("INTERRUPTED")
        return 130


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
