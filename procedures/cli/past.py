"""Make the past of a simulated station: a baseline, then a visit every month for years.

Every visit is a run like any other: real links, real drivers, the simulated technician, the same
log. Only the calendar is moved, and the plant's time runs faster.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from daq.clock import ShiftedClock, SystemClock
from daq.log.owner import open_station_log_for_writing
from procedures.cli.wiring import open_instruments
from procedures.engine.runner import Crew, RunEnd, begin
from procedures.history.references import fix_references
from sim_instruments.bench import SimulatedBench
from sim_instruments.clock import ScaledClock
from sim_instruments.operator import SimulatedOperator

if TYPE_CHECKING:
    from daq.station import Station

BASELINE: Final = "monitor-baseline"
ROUTINE: Final = "routine"
DAYS_A_YEAR: Final = 365.25
DAYS_BETWEEN_VISITS: Final = 30.0
SPEED: Final = 100.0
"""How many times faster the plant's time runs during a past visit."""

_DAY_NS: Final = 86_400 * 1_000_000_000


@dataclass
class LeftBehind:
    """What a visit leaves at the plant for the next one: controls as turned, cables as cut."""

    positions: Mapping[str, float] = field(default_factory=dict)
    cuts: list[tuple[str, str, float]] = field(default_factory=list)

    def apply(self, bench: SimulatedBench) -> None:
        """Bring a fresh plant to where the last visit left it."""
        for path, stage, length_m in self.cuts:
            bench.plant.cut(path, stage, length_m)
        for control, position in self.positions.items():
            bench.plant.place(control, position)

    def note(self, bench: SimulatedBench) -> None:
        """Remember where a visit leaves the plant."""
        truth = bench.plant.truth()
        self.positions = dict(truth.positions)
        self.cuts = [(*cable.rsplit(" ", 1), length_m) for cable, length_m in truth.cuts]  # type: ignore[misc]


def make_past(station: Station, years: float, told: Callable[[RunEnd, float], None]) -> LeftBehind:
    """Write the runs of `years` past years into the station's log, up to today.

    Parameters
    ----------
    told
        Called after each visit with how it ended and its age in years.

    Raises
    ------
    LogError
        The log cannot be written.
    BenchError
        A simulated instrument failed.
    """
    left = LeftBehind()
    for number, at_years in enumerate(visits(years)):
        name = BASELINE if number == 0 else ROUTINE
        shift_ns = -round((years - at_years) * DAYS_A_YEAR * _DAY_NS)
        end = _visit(station, name, at_years, shift_ns, left)
        told(end, years - at_years)
    return left


def visits(years: float) -> Iterator[float]:
    """Yield when each visit is, in years after commissioning; the first at 0."""
    step = DAYS_BETWEEN_VISITS / DAYS_A_YEAR
    for number in range(int(years / step) + 1):
        yield number * step


def _visit(station: Station, name: str, at_years: float, shift_ns: int, left: LeftBehind) -> RunEnd:
    clock = ShiftedClock(SystemClock(), shift_ns)
    table = {**station.simulation.plant, "visit": round(at_years / DAYS_BETWEEN_VISITS * 365.25)}
    bench = SimulatedBench(table, ScaledClock(SPEED), years=at_years)
    left.apply(bench)
    wanted = [(entry.profile, entry.resource) for entry in station.instruments]
    with (
        bench.serve(wanted, folder=station.path.parent, hands_port=None),
        open_station_log_for_writing(station, clock) as writer,
        open_instruments(station, clock) as instruments,
    ):
        technician = SimulatedOperator(bench.hands, f"visit {at_years:.4f}")
        end = begin(name, station, Crew(instruments, technician, clock, writer))
        if name == BASELINE and end.result == "finished":
            fix_references(writer, station, end.run, "station engineer (simulated)")
    left.note(bench)
    return end
