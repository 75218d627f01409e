"""Watch a quantity without a procedure: which instrument and point, and the run it is logged as."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from daq.clock import Clock
from daq.errors import Aborted, InputError, Refused
from daq.journal import Journal
from daq.log.entry import Kind
from daq.log.writer import LogWriter
from daq.reading import QUANTITIES
from daq.roles import Answer, Instrument, Prompt
from daq.station import KIND_OF_QUANTITY, Point, Station
from daq.toml_file import did_you_mean
from daq.units import parse
from procedures.engine.connecting import Connected, Move
from procedures.engine.run_started import started_body
from procedures.history.parameters import WATCH, normal_parameter
from procedures.history.references import Reference, standing_in
from procedures.terminal.watch_loop import Show, WatchSummary, WatchTask, run_watch


@dataclass(frozen=True, slots=True)
class WatchPlan:
    """What is to be watched, and by which instrument (any that can, when `alias` is empty)."""

    task: WatchTask
    alias: str


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
        The quantity is not known, a target is no value of it, or a band is none.
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
    task = WatchTask(
        quantity=quantity,
        point=place.name if place else "",
        channel=place.channel if place else "",
        target=parse(target, kind) if target else default_target,
        band=parse(band, kind) if band else default_band,
        seconds=seconds or None,
    )
    _check_band(task)
    return WatchPlan(task, place.instrument if place else _as_connected(station, quantity))


def _check_band(task: WatchTask) -> None:
    if task.band is None:
        return
    if task.band <= 0.0:
        raise InputError(
            "A band is a distance from the target: it is more than zero.",
            hint='the accepted distance to either side, such as --band "0.001".',
        )
    if task.target is None:
        raise InputError(
            "A band needs the target that it lies around.",
            hint="add --target, or a --point that has one.",
        )


def _place(station: Station, quantity: str, name: str) -> Point | None:
    if name:
        return station.point(name)
    # Without a point a receiver is watched as it is connected; a probe's channel must be known.
    places = [p for p in station.points if p.quantity == quantity]
    if any(not p.channel for p in places):
        return None
    return next(iter(places), None)


def _as_connected(station: Station, quantity: str) -> str:
    """Return what reads the quantity at the station's points that need no channel, if any does."""
    places = [p for p in station.points if p.quantity == quantity and not p.channel]
    return next((p.instrument for p in places), "")


def to_open(plan: WatchPlan, readable: Mapping[str, Collection[str] | None]) -> tuple[str, ...]:
    """Return the aliases of the instruments to open: the one that reads, where that is known.

    Parameters
    ----------
    readable
        What each instrument of the station reads, by alias and in the station's order; None where
        only the opened instrument can tell.

    Raises
    ------
    InputError
        None can read it; the message says what each can.
    """
    if plan.alias:
        return (plan.alias,)
    sure = [alias for alias, known in readable.items() if known and plan.task.quantity in known]
    if sure:
        return (sure[0],)
    perhaps = tuple(alias for alias, known in readable.items() if known is None)
    if not perhaps:
        raise _nothing_reads(plan, {alias: known or () for alias, known in readable.items()})
    return perhaps


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
    raise _nothing_reads(plan, {alias: i.quantities for alias, i in instruments.items()})


def _nothing_reads(plan: WatchPlan, readable: Mapping[str, Collection[str]]) -> InputError:
    can = "; ".join(f"{alias}: {', '.join(sorted(q))}" for alias, q in readable.items())
    return InputError(f"No instrument of this station reads {plan.task.quantity} ({can}).")


def connection_wanted(station: Station, point: str) -> Move | None:
    """Return what has to be done before what is read is really at a point.

    Parameters
    ----------
    point
        The point that was asked for, under which the readings will be logged; empty for none.

    Returns
    -------
    Move or None
        None without a point, and where the instrument has an input of its own for it.
    """
    return Connected(station.points).move_to(station.point(point)) if point else None


def connection_question(move: Move, point: str) -> Prompt:
    """Return the question whether the instrument is where its readings will be logged as."""
    text = f"{move.text} Everything that is read now is logged as '{point}'. Is it there?"
    return Prompt("watch/connected", "confirm", text, action=move.action)


def watch_quantity(
    station: Station,
    plan: WatchPlan,
    instrument: Instrument,
    clock: Clock,
    writer: LogWriter,
    show: Show,
    *,
    connected: Callable[[], Answer] | None = None,
) -> WatchSummary:
    """Watch until the time is over or the technician stops, logged as a run of its own.

    A point is shown beside the reference value of its normal state, where the log has one.

    Parameters
    ----------
    connected
        Asks whether the instrument is where its readings will be logged as (`connection_question`);
        None where there is nothing to ask. It is asked within the run: whatever else is logged
        while nobody has answered yet has a run that it belongs to.

    Raises
    ------
    Refused, Aborted
        It is not connected, or the technician stopped before it was; the run has that end.
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
    try:
        _see_connected(connected)
    except Refused as refusal:
        _end(writer, run, "refused", str(refusal))
        raise
    except Aborted as stop:
        _end(writer, run, "aborted", stop.message)
        raise
    summary = run_watch(instrument, task, journal=Journal(writer, run), clock=clock, show=show)
    _end(writer, run, "finished")
    return summary


def _see_connected(connected: Callable[[], Answer] | None) -> None:
    if connected is not None and not connected():
        raise Refused(
            "Nothing is watched: the readings would be logged under a point where they are not.",
            hint="without --point they are logged under none.",
        )


def _end(writer: LogWriter, run: int, result: str, message: str = "") -> None:
    body = {"result": result, "message": message, "open_hazards": []}
    writer.append(run, Kind.RUN_ENDED, result, body)


def _reference(task: WatchTask, log: Path, at_utc_ns: int) -> Reference | None:
    standing = standing_in(log, at_utc_ns)
    return None if standing is None else standing.of(normal_parameter(task.point, task.quantity))
