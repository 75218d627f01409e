"""Open and identify each instrument, take one reading, and time it."""

from __future__ import annotations

import json
import math
import statistics
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from itertools import pairwise
from typing import Final, Protocol, cast, runtime_checkable

import typer

from daq.clock import Clock, iso_utc
from daq.errors import BenchError, IdentityError
from daq.log.reader import LogReader
from daq.ports import SerialPort
from daq.reading import Reading
from daq.roles import Instrument, InstrumentClass, PositionReceiver
from daq.scpi import QueuedError
from daq.station import InstrumentEntry, Station
from procedures.commands.output import finite
from procedures.show import said_value
from procedures.steps.sense_check import how_it_reads, last_right_check

TIMED_READINGS: Final = 20


@runtime_checkable
class HasErrorQueue(Protocol):
    """An instrument that keeps a queue of its own errors."""

    def queued_errors(self) -> tuple[QueuedError, ...]:
        """Read the queue empty and return what was in it."""


@dataclass(frozen=True, slots=True)
class Checked:
    """What one instrument showed.

    Attributes
    ----------
    alias, instrument_class, resource
        As in the station file.
    identity
        Who answered; empty when nobody did.
    quantity, value, quality
        One reading; the value is in SI.
    latency_ms, p95_ms, jitter_ms
        Median time of a query, the time that 95 per cent of them take at most, and the spread
        between the fastest and the slowest.
    queued_errors
        What the instrument's own error queue held.
    sense
        When the receiver's sense was last found right; empty when never, or for other classes.
    error
        What went wrong, in words; empty when nothing did.
    """

    alias: str
    instrument_class: str
    resource: str
    identity: str = ""
    serial: str = ""
    firmware: str = ""
    quantity: str = ""
    value: float | None = None
    quality: str = ""
    latency_ms: float | None = None
    p95_ms: float | None = None
    jitter_ms: float | None = None
    queued_errors: tuple[str, ...] = ()
    sense: str = ""
    error: str = ""


def check_serial(entry: InstrumentEntry, instrument: Instrument) -> None:
    """Refuse another instrument than the one whose serial number the station file pins.

    Raises
    ------
    IdentityError
        Another one answers.
    """
    if entry.serial and instrument.identity.serial != entry.serial:
        raise IdentityError(
            f"The station file expects serial {entry.serial}, but {instrument.identity} answers.",
            instrument=f"{entry.alias} ({entry.resource})",
            hint="connect the right instrument, or change `serial` in the station file.",
        )


def failed(entry: InstrumentEntry, error: BenchError) -> Checked:
    """Return what is known of an instrument that could not be checked."""
    return Checked(entry.alias, str(entry.instrument_class), entry.resource, error=str(error))


def check(entry: InstrumentEntry, instrument: Instrument, station: Station) -> Checked:
    """Take a few readings and return what they show.

    Raises
    ------
    BenchError
        A reading failed.
    """
    if entry.instrument_class is InstrumentClass.POSITION_RECEIVER:
        return _check_position(entry, cast("PositionReceiver", instrument))
    quantity, point, channel = _something_to_read(instrument, station)
    count = 1 if getattr(instrument, "by_hand", False) else TIMED_READINGS
    readings: list[Reading] = [
        instrument.measure(quantity, point=point, channel=channel) for _ in range(count)
    ]
    took_ms = sorted(reading.took_ns / 1e6 for reading in readings)
    identity = instrument.identity
    return Checked(
        alias=entry.alias,
        instrument_class=str(entry.instrument_class),
        resource=entry.resource,
        identity=f"{identity.maker} {identity.model}".strip(),
        serial=identity.serial,
        firmware=identity.firmware,
        quantity=quantity,
        value=readings[-1].value,
        quality=str(readings[-1].quality),
        latency_ms=statistics.median(took_ms),
        p95_ms=took_ms[math.ceil(0.95 * count) - 1],
        jitter_ms=took_ms[-1] - took_ms[0],
        queued_errors=_queued_errors(instrument),
        sense=_sense(entry, instrument, station),
    )


def _check_position(entry: InstrumentEntry, receiver: PositionReceiver) -> Checked:
    """Return what a position receiver shows: it reads no quantity, but knows where it is."""
    positions = [receiver.position() for _ in range(3)]
    took_ms = sorted((b.mono_ns - a.mono_ns) / 1e6 for a, b in pairwise(positions))
    last = positions[-1]
    return Checked(
        alias=entry.alias,
        instrument_class=str(entry.instrument_class),
        resource=entry.resource,
        identity=receiver.identity.model,
        quantity="position",
        quality=f"{last.latitude_deg:.6f}, {last.longitude_deg:.6f} ({last.fix})",
        latency_ms=statistics.median(took_ms),
        p95_ms=took_ms[-1],
        jitter_ms=took_ms[-1] - took_ms[0],
    )


def _queued_errors(instrument: Instrument) -> tuple[str, ...]:
    if not isinstance(instrument, HasErrorQueue):
        return ()
    return tuple(
        f"{entry.code} {entry.text} ({entry.kind})" for entry in instrument.queued_errors()
    )


def _sense(entry: InstrumentEntry, instrument: Instrument, station: Station) -> str:
    """Return when the receiver's sense was last found right, from the station's log."""
    if entry.instrument_class is not InstrumentClass.NAVIGATION_RECEIVER:
        return ""
    if not station.log_path.is_file():
        return ""
    with LogReader(station.log_path) as reader:
        found = last_right_check(reader, how_it_reads(station, instrument))
    return iso_utc(found.utc_ns) if found else ""


def _something_to_read(instrument: Instrument, station: Station) -> tuple[str, str, str]:
    for point in station.points:
        if point.instrument == instrument.alias and point.quantity in instrument.quantities:
            return point.quantity, point.name, point.channel
    # What the points ask of it is computed from its samples: it is read at one of their channels.
    own = next((point for point in station.points if point.instrument == instrument.alias), None)
    return min(instrument.quantities), own.name if own else "", own.channel if own else ""


def report(
    checked: list[Checked], clock: Clock, *, as_json: bool, ports: Sequence[SerialPort] = ()
) -> None:
    """Print what was found, and which serial ports this computer has."""
    if as_json:
        body = {
            "instruments": [asdict(item) for item in checked],
            "ports": [asdict(port) for port in ports],
            "utc_ns": clock.utc_ns(),
        }
        typer.echo(json.dumps(finite(body)))
        return
    for port in ports:
        typer.echo(f"port {port}")
    for item in checked:
        typer.echo(f"{item.alias}: {item.instrument_class} at {item.resource}")
        for label, text in _told(item):
            typer.echo(f"  {label:<8} {text}")


def _told(item: Checked) -> Iterator[tuple[str, str]]:
    if item.error:
        yield "error", item.error
        return
    yield "is", f"{item.identity}, serial {item.serial or 'not told'}"
    yield "firmware", item.firmware or "not told"
    good = item.quality == "ok" and item.value is not None
    value = said_value(item.quantity, item.value or 0.0) if good else item.quality
    yield "reads", f"{item.quantity}: {value}"
    yield (
        "takes",
        f"{item.latency_ms:.1f} ms a query, 95 % within {item.p95_ms:.1f} ms, "
        f"± {item.jitter_ms:.1f} ms spread",
    )
    if item.queued_errors:
        yield "errors", "; ".join(item.queued_errors)
    if item.instrument_class == InstrumentClass.NAVIGATION_RECEIVER:
        never = "not proved: trimbench run sense-check"
        yield "sense", f"found right on {item.sense}" if item.sense else never
