"""A technician who drives the receiver along a traverse and names the files that it made."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from daq.roles import Answer, Operator, Prompt, WatchCommand, WatchView
from sim_instruments.clock import Clock
from sim_instruments.drive import CarPosition, OstrelDl4, Trip
from sim_instruments.plant import Plant

RECEIVER_LOG = """
time = "UTC"
ddm = "Deviation uA"
ddm_unit = "uA"
positive = 90
sdm = "Sum %"
level = "Level dBm"
flag = "State"
u = 0.0005
u_part = "0.5 %"
"""
"""How the Ostrel DL-4 writes; its specification is that of the portable receiver."""


def positions(table: str, *, u: str, more: str = "", log: str = RECEIVER_LOG) -> Mapping[str, str]:
    """Changes of the demonstration's station file by which a traverse may come from a log."""
    before = f'source = "typed"{_COMMENT[table]}\nu = "{u}"\ncommon_u = "{u}"'
    after = 'source = "typed"\nu = "0.05 m"\ncommon_u = "0.05 m"\n'
    return {before: f"{after}[{table}.positions.receiver_log]{log}{more}\n"}


_COMMENT = {
    "course": '                        # or "file", or "position receiver"',
    "clearance": "",
}


@dataclass
class Driver:
    """Does what `inner` does, but drives when asked for a log.

    Attributes
    ----------
    names
        The files that were made, in their order.
    """

    inner: Operator
    plant: Plant
    clock: Clock
    folder: Path
    trip: Trip
    receiver: OstrelDl4 = field(default_factory=OstrelDl4)
    car: CarPosition = field(default_factory=CarPosition)
    names: list[str] = field(default_factory=list)

    @property
    def name(self) -> str:
        return self.inner.name

    def answer(self, prompt: Prompt) -> Answer:
        if prompt.kind != "text":
            return self.inner.answer(prompt)
        if "/log " in prompt.key:
            return self.drive()
        if "/track " in prompt.key:
            return self.names[-1].replace(".csv", ".nmea")
        return self.inner.answer(prompt)

    def drive(self) -> str:
        """Drive once; the name of the log."""
        begin_s = self.clock.utc_ns() / 1e9
        name = f"drive-{len(self.names) + 1}.csv"
        log = self.receiver.log(self.plant, self.trip, begin_s)
        track = self.car.track(self.plant.given.site, self.trip, begin_s)
        (self.folder / name).write_text(log, encoding="utf-8")
        (self.folder / name.replace(".csv", ".nmea")).write_text(track, encoding="utf-8")
        self.clock.sleep(self.trip.duration_s)
        self.names.append(name)
        return name

    def watching(self, view: WatchView) -> WatchCommand:
        return self.inner.watching(view)

    def tell(self, text: str) -> None:
        self.inner.tell(text)
