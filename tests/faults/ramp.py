"""A receiver that never says the same thing twice, so that an answer to another question shows.

Its deviation climbs a little with each question, slowly enough to count as settled. It remembers
what it said and when, on the clock of this process: every good reading in a log can be held against
the one answer that it has to be. Since its gain is halved until its set-up is sent, settings that
were lost and not sent again make a plausible wrong number.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from drivers.profile import Profile, load_profile
from sim_instruments.scpi import ScpiInstrument, ScpiSession, asks, does

START: Final = 0.1540
STEP: Final = 0.00005

PROFILE: Final = r"""
[instrument]
class = "navigation receiver"

[link]
write_terminator = "\n"
read_terminator = "\n"
encoding = "ascii"
timeout_s = {timeout_s}
quiet_s = 0.02

[identification]
query = "*IDN?"
answer = '(?P<maker>LINDMARK),(?P<model>RR-1),(?P<serial>[^,]*),(?P<firmware>.*)'

[setup]
commands = ["SENSe:GAIN:FULL"]

[errors]
queue_query = "SYSTem:ERRor?"
clear = "*CLS"
event_status_query = "*ESR?"

[quantity.ddm]
query = "MEASure:DDM?"
answer = '{answer}'
unit = "ratio"
positive_tone = 150
noise = {{sigma = 0.0001, resolution = 0.000001}}
accuracy = [{{floor = 0.001, coverage = "k=2"}}]
"""
PLAIN: Final = r"(?P<value>[+-]\d+\.\d{6})"
STAMPED: Final = PLAIN + r" (?P<stamp>\d{6})"


@dataclass(frozen=True)
class Given:
    """One answer, before any fault."""

    value: float
    at_ns: int


class RampReceiver:
    """The receiver; serve it with `sim_instruments.bench.ServedBench.open`."""

    def __init__(self, *, stamped: bool = False) -> None:
        self.given: list[Given] = []
        self._stamped = stamped
        self._gain = 0.5
        commands = {
            "SENSe:GAIN:FULL": does(lambda: self._set(1.0)),
            "MEASure:DDM?": asks(self._ddm),
        }
        self.scpi = ScpiInstrument("LINDMARK,RR-1,7,1.0", commands, lambda: self._set(0.5))

    def session(self) -> ScpiSession:
        """Return a new client's line."""
        return ScpiSession(self.scpi)

    def _set(self, gain: float) -> None:
        self._gain = gain

    def _ddm(self) -> str:
        number = len(self.given)
        true = round(START + STEP * (number % 4000), 6)
        self.given.append(Given(true, time.monotonic_ns()))
        stamp = f" {number:06}" if self._stamped else ""
        return f"{self._gain * true:+.6f}{stamp}"


def ramp_profile(folder: Path, *, timeout_s: float, stamped: bool = False) -> Profile:
    """Write the receiver's profile as ``ramp.toml`` and load it."""
    path = folder / "ramp.toml"
    answer = STAMPED if stamped else PLAIN
    path.write_text(PROFILE.format(timeout_s=timeout_s, answer=answer), encoding="utf-8")
    return load_profile(path)
