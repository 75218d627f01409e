"""Seeded plants for the monitor baseline, and what a run on one of them came to.

All values are invented; the ranges are wider than an installation would show.
"""

from __future__ import annotations

import math
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from daq.log.entry import Kind
from daq.log.reader import LogReader
from daq.station import Station, load_station, parse_station
from tests.support.in_process import InProcessBench

STATION = Path(__file__).parents[2] / "procedures" / "stations" / "tarnholt-16.toml"


def demo_station() -> Station:
    """The station of the demonstration."""
    return load_station(STATION)


def station_with_spare(spare_m: float) -> Station:
    """The same with another length of spare cable in both monitor paths."""
    text = STATION.read_text(encoding="utf-8").replace('"1.30 m"', f'"{spare_m:.3f} m"')
    return parse_station(text, STATION)


@dataclass(frozen=True)
class Start:
    """One seeded plant."""

    seed: int
    phase_deg: float
    width_ratio: float
    line_angle_error_deg: float
    line_loss_error_db: float
    spare_m: float

    def table(self) -> Mapping[str, object]:
        return {
            "seed": self.seed,
            "phase_error_deg": self.phase_deg,
            "width_ratio": self.width_ratio,
            "line_angle_error_deg": self.line_angle_error_deg,
            "line_loss_error_db": self.line_loss_error_db,
            "receiver_noise_ddm": 0.0003,
        }


@dataclass(frozen=True)
class Outcome:
    """What came of it; DDM readings are the last of their kind in the log."""

    start: Start
    result: str
    message: str
    cuts: int
    rounds: int
    readings: int
    seconds: float
    quadrature_ddm: float
    width_ddm: float
    true_phase_deg: float
    true_width_ddm: float


def starts(count: int, *, seed: int = 1) -> list[Start]:
    """Plants with a phase anywhere on the circle; every tenth has little spare cable."""
    rng = np.random.default_rng(seed)
    return [
        Start(
            seed=int(rng.integers(1, 2**31)),
            phase_deg=float(rng.uniform(-180.0, 180.0)),
            width_ratio=float(rng.uniform(0.3, 1.7)),
            line_angle_error_deg=float(rng.uniform(-3.0, 3.0)),
            line_loss_error_db=float(rng.uniform(-0.15, 0.15)),
            spare_m=0.25 if n % 10 == 9 else 1.30,
        )
        for n in range(count)
    ]


def run_baseline(start: Start) -> Outcome:
    """Run the monitor baseline on one plant, in one process."""
    station = station_with_spare(start.spare_m)
    with tempfile.TemporaryDirectory() as folder:
        log = Path(folder) / "study.tblog"
        with InProcessBench.make(station, start.table(), log=log) as bench:
            end = bench.run("monitor-baseline")
            truth = bench.sim.plant.truth()
            seconds = bench.clock.mono_ns / 1e9
        with LogReader(log) as reader:
            outcomes = list(reader.entries(kind=Kind.OUTCOME))
            readings = sum(1 for _ in reader.entries(kind=Kind.READING))
    judged = [e for e in outcomes if e.body["request"]["do"] == "judge"]  # type: ignore[index]
    phase = math.radians(truth.phase_deg)
    return Outcome(
        start=start,
        result=end.result,
        message=end.message,
        cuts=sum(1 for e in outcomes if e.key.endswith("/cut made")),
        rounds=sum(1 for e in outcomes if e.key.endswith("/normal") and "round" in e.key),
        readings=readings,
        seconds=seconds,
        quadrature_ddm=_last(judged, "course width, quadrature"),
        width_ddm=_last(judged, "course width, normal restored"),
        true_phase_deg=truth.phase_deg,
        true_width_ddm=2.0 * truth.sbo_to_csb * math.cos(phase),
    )


def _last(judged: list[Any], title: str) -> float:
    values = [e.body["request"]["value"] for e in judged if e.body["request"]["title"] == title]
    return float(values[-1]) if values else math.nan
