"""Watch a quantity without a procedure: which instrument and point, and the run it is logged as."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from daq.clock import Clock
from daq.errors import InputError
from daq.journal import Journal
from daq.log.entry import Kind
from daq.log.writer import LogWriter
from daq.reading import QUANTITIES
from daq.roles import Instrument
from daq.station import KIND_OF_QUANTITY, Point, Station
from daq.toml_file import did_you_mean
from daq.units import parse
from procedures.engine.run_started import started_body
from procedures.history.parameters import WATCH, normal_parameter
from procedures.history.references import Reference, standing_in
from procedures.terminal.watch_loop import Show, WatchSummary, WatchTask, run_watch


@dataclass(frozen=True, slots=True)
class WatchPlan:
    """What is to be watched, and by which instrument (any that can, when `alias` is empty)."""

    task: WatchTask
    alias: str

    @property
    def aliases(self) -> tuple[str, ...] | None:
        """The instruments to open; None for all."""
        return (self.alias,) if self.alias else None


def plan_watch(
    station: Station,
    quantity: str,
    *,
    point: str = "",
    target: str = "",
    band: str = "",
    seconds: float = 0.0,
) -> WatchPlan:
    """Return the plan for what was asked on the command line.

    Raises
    ------
    InputError
        The quantity is not known, or a target is no value of it.
    StationFileError
        There is no such point.
    """
    if quantity not in QUANTITIES:
        raise InputError(
            f"'{quantity}' is no quantity; there are {', '.join(sorted(QUANTITIES))}.",
            hint=did_you_mean(quantity, QUANTITIES),
        )
    place = _place(station, quantity, point)
    kind = KIND_OF_QUANTITY[quantity]
    default_target = place.target if place and place.quantity == quantity else None
    default_band = place.adjust_to if place and place.quantity == quantity else None
    return WatchPlan(
        task=WatchTask(
            quantity=quantity,
            point=place.name if place else "",
            channel=place.channel if place else "",
            target=parse(target, kind) if target else default_target,
            band=parse(band, kind) if band else default_band,
            seconds=seconds or None,
        ),
        alias=place.instrument if place else "",
    )


def _place(station: Station, quantity: str, name: str) -> Point | None:
    if name:
        return station.point(name)
    # Without a point a receiver is watched as it is connected; a probe's channel must be known.
    places = [p for p in station.points if p.quantity == quantity]
    if any(not p.channel for p in places):
        return None
    return next(iter(places), None)


def that_reads(instruments: dict[str, Instrument], plan: WatchPlan) -> Instrument:
    """Return the first open instrument that reads the quantity.

    Raises
    ------
    InputError
        None does; the message says what each can read.
    """
    for instrument in instruments.values():
        computed = plan.task.quantity == "ddm" and instrument.alias == plan.alias
        if computed or plan.task.quantity in instrument.quantities:
            return instrument
    can = "; ".join(f"{a}: {', '.join(sorted(i.quantities))}" for a, i in instruments.items())
    raise InputError(f"No instrument of this station reads {plan.task.quantity} ({can}).")


def watch_quantity(
    station: Station,
    plan: WatchPlan,
    instrument: Instrument,
    clock: Clock,
    writer: LogWriter,
    show: Show,
) -> WatchSummary:
    """Watch until the time is over or the technician stops, logged as a run of its own.

    A point is shown beside the reference value of its normal state, where the log has one.

    Raises
    ------
    BenchError, LogError
        As `procedures.terminal.watch_loop.run_watch`; the run then has no end in the log.
    """
    task = replace(plan.task, reference=_reference(plan.task, writer.path, clock.utc_ns()))
    run = writer.next_run()
    writer.append(
        run,
        Kind.RUN_STARTED,
        WATCH,
        started_body(WATCH, 1, station, (instrument,), operator="technician"),
    )
    summary = run_watch(instrument, task, journal=Journal(writer, run), clock=clock, show=show)
    writer.append(
        run,
        Kind.RUN_ENDED,
        "finished",
        {"result": "finished", "message": "", "open_hazards": []},
    )
    return summary


def _reference(task: WatchTask, log: Path, at_utc_ns: int) -> Reference | None:
    standing = standing_in(log, at_utc_ns)
    return None if standing is None else standing.of(normal_parameter(task.point, task.quantity))
