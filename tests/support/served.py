"""The demonstration's bench served on real links, with plant time running faster than ours."""

from __future__ import annotations

import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from procedures.commands.simulation import with_free_ports
from sim_instruments.bench import ServedBench, SimulatedBench
from tests.support.plants import STATION


@dataclass
class FastClock:
    """Runs `speed` times as fast as the machine's clock; waits accordingly less."""

    speed: float

    def monotonic_ns(self) -> int:
        return round(time.monotonic_ns() * self.speed)

    def utc_ns(self) -> int:
        return time.time_ns()

    def sleep(self, seconds: float) -> None:
        time.sleep(max(0.0, seconds / self.speed))


@dataclass(frozen=True)
class Served:
    station: Path
    sim: SimulatedBench
    links: ServedBench


@contextmanager
def served_bench(
    folder: Path, *, speed: float = 20.0, plant: Mapping[str, object] | None = None
) -> Iterator[Served]:
    """Write a station file with free ports into `folder` and serve its bench there."""
    from daq.station import load_station

    path = folder / "tarnholt-16.toml"
    path.write_text(with_free_ports(STATION.read_text(encoding="utf-8")), encoding="utf-8")
    station = load_station(path)
    sim = SimulatedBench({**station.simulation.plant, **(plant or {})}, FastClock(speed))
    wanted = [(entry.profile, entry.resource) for entry in station.instruments]
    with sim.serve(wanted, folder=folder, hands_port=station.simulation.hands_port) as links:
        yield Served(path, sim, links)
