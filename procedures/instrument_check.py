"""Open and identify each instrument, take one reading, and time it."""

from __future__ import annotations

import json
import statistics
from dataclasses import asdict, dataclass
from typing import Final

import typer

from daq.clock import Clock
from daq.errors import BenchError
from daq.reading import Reading
from daq.roles import Instrument
from daq.station import InstrumentEntry, Station
from procedures.cli_output import finite
from procedures.show import said_value

TIMED_READINGS: Final = 5


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
    latency_ms, jitter_ms
        Median time of a query and the spread between the fastest and the slowest.
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
    jitter_ms: float | None = None
    error: str = ""


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
    quantity, point, channel = _something_to_read(instrument, station)
    readings: list[Reading] = [
        instrument.measure(quantity, point=point, channel=channel) for _ in range(TIMED_READINGS)
    ]
    took_ms = [reading.took_ns / 1e6 for reading in readings]
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
        jitter_ms=max(took_ms) - min(took_ms),
    )


def _something_to_read(instrument: Instrument, station: Station) -> tuple[str, str, str]:
    for point in station.points:
        if point.instrument == instrument.alias and point.quantity in instrument.quantities:
            return point.quantity, point.name, point.channel
    return min(instrument.quantities), "", ""


def report(checked: list[Checked], clock: Clock, *, as_json: bool) -> None:
    """Print what was found."""
    if as_json:
        body = {"instruments": [asdict(item) for item in checked], "utc_ns": clock.utc_ns()}
        typer.echo(json.dumps(finite(body)))
        return
    for item in checked:
        typer.echo(f"{item.alias}: {item.instrument_class} at {item.resource}")
        if item.error:
            typer.echo(f"  error    {item.error}")
            continue
        typer.echo(f"  is       {item.identity}, serial {item.serial or 'not told'}")
        typer.echo(f"  firmware {item.firmware or 'not told'}")
        value = (
            said_value(item.quantity, item.value)
            if item.quality == "ok" and item.value is not None
            else item.quality
        )
        typer.echo(f"  reads    {item.quantity}: {value}")
        typer.echo(f"  takes    {item.latency_ms:.1f} ms a query, ± {item.jitter_ms:.1f} ms spread")
