"""Commands that read instruments or samples without a procedure."""

from __future__ import annotations

import json
from dataclasses import asdict
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from procedures.cli.wiring import asking, at_the_station, open_instruments, terminal
from procedures.commands.options import StationOption, station_path
from procedures.commands.output import ExplainOption, JsonOption, finite
from procedures.page.command import LanOption, PageOption, shown_on, wanted_page

if TYPE_CHECKING:
    from daq.samples.model import Analysis
    from daq.station import Station

bench_app = typer.Typer()


@bench_app.command()
def watch(  # noqa: PLR0913 - each parameter is one option of the command
    *,
    quantity: Annotated[str, typer.Argument(help="What to read: ddm, sdm, vpp, rf_level, ...")],
    station: StationOption = None,
    point: Annotated[str, typer.Option(help="A point of the station file.")] = "",
    target: Annotated[str, typer.Option(help='Wanted value, such as "0.155" or "1.5 V".')] = "",
    band: Annotated[str, typer.Option(help="Accepted distance from the target.")] = "",
    seconds: Annotated[float, typer.Option(min=0.0, help="Stop after so long; 0: until q.")] = 0.0,
    page: PageOption = False,
    lan: LanOption = False,
    as_json: JsonOption = False,
) -> None:
    """Show and log one quantity live, without a procedure."""
    from daq.clock import SystemClock
    from daq.log.owner import open_station_log_for_writing
    from daq.station import load_station
    from procedures.engine.watching import (
        connection_question,
        connection_wanted,
        plan_watch,
        that_reads,
        to_open,
        watch_quantity,
    )

    described = load_station(station_path(station))
    plan = plan_watch(described, quantity, point=point, target=target, band=band, seconds=seconds)
    only = to_open(plan, _readable(described))
    clock = SystemClock()
    with (
        open_station_log_for_writing(described, clock) as writer,
        open_instruments(described, clock, only=only, ask=asking(quiet=as_json)) as opened,
        wanted_page(
            described,
            writer.next_run(),
            clock,
            page=page,
            lan=lan,
            acts=True,
            quiet=as_json,
            writer=writer,
        ) as served,
        terminal(quiet=as_json, needs_keys=not seconds, page=served) as technician,
    ):
        instrument = that_reads(opened, plan)
        who = shown_on(served, at_the_station(technician, described), acts=True)
        connected = None
        if (move := connection_wanted(described, point)) is not None:
            if seconds:
                who.tell(f"Taken as done, because this watch waits for nobody: {move.text}")
            else:
                connected = partial(who.answer, connection_question(move, point))
        summary = watch_quantity(
            described, plan, instrument, clock, writer, who.watching, connected=connected
        )
    if as_json:
        typer.echo(json.dumps(finite(asdict(summary))))


def _readable(station: Station) -> dict[str, frozenset[str] | None]:
    """Return what each instrument reads; None for one whose profile cannot be read, too."""
    from daq.errors import ProfileError
    from drivers.readable import readable_quantities

    found: dict[str, frozenset[str] | None] = {}
    for entry in station.instruments:
        try:
            found[entry.alias] = readable_quantities(entry.profile, station.path.parent)
        except ProfileError:
            found[entry.alias] = None  # told when it is the one to be opened
    return found


@bench_app.command()
def instruments(station: StationOption = None, as_json: JsonOption = False) -> None:
    """List serial ports; identify, read and time each instrument, and look at its error queue."""
    from daq.clock import SystemClock
    from daq.errors import BenchError
    from daq.station import load_station
    from drivers.ports import serial_ports
    from procedures.commands.instrument_check import check, failed, report

    described = load_station(station_path(station))
    clock = SystemClock()
    found = []
    for entry in described.instruments:
        try:
            ask = asking(quiet=as_json)
            with open_instruments(described, clock, only=(entry.alias,), ask=ask) as opened:
                found.append(check(entry, opened[entry.alias], described))
        except BenchError as error:
            found.append(failed(entry, error))
    report(found, clock, as_json=as_json, ports=serial_ports())
    if any(item.error for item in found):
        raise typer.Exit(BenchError.exit_code)


@bench_app.command()
def analyze(  # noqa: PLR0913 - each parameter is one option of the command
    *,
    file: Annotated[
        Path | None, typer.Argument(help="WAV, CSV of time and volts, or .npy of samples.")
    ] = None,
    rate: Annotated[
        str, typer.Option(help='Samples per second of .npy, or of volts alone: "48 kHz", 48000.')
    ] = "",
    series: Annotated[
        Path | None, typer.Option(help="Also write DDM against time: .csv or .parquet.")
    ] = None,
    plot: Annotated[
        Path | None, typer.Option(help="Also draw DDM against time: .svg, .png or .pdf.")
    ] = None,
    block: Annotated[str, typer.Option(help="Length of a block of the series.")] = "1 s",
    channel: Annotated[
        Literal["1", "2"] | None,
        typer.Option(help="Of a file with two detectors: the one that is meant."),
    ] = None,
    iq: Annotated[bool, typer.Option("--iq", help="Its two channels are I and Q.")] = False,
    point: Annotated[
        str, typer.Option(help="Instead of a file: a point that an oscilloscope is on.")
    ] = "",
    station: StationOption = None,
    as_json: JsonOption = False,
    explain: ExplainOption = False,
) -> None:
    """Measure DDM, SDM, depths, tones, ident and hum from samples."""
    from daq.errors import InputError
    from daq.units import Kind, parse, parse_rate_hz
    from procedures.commands.guard import check_outputs
    from procedures.commands.samples import (
        Record,
        check_series,
        show_analysis,
        show_file,
        write_file_series,
    )

    if (file is None) == (not point):
        raise InputError("Give a file to analyse, or a --point that an oscilloscope is on.")
    if file is None:
        show_analysis(_live_analysis(station, point), as_json=as_json, explain=explain)
        return
    if channel and iq:
        raise InputError("One channel is meant, or both as I and Q: --channel or --iq, not both.")
    check_outputs([file] if station is None else [file, station], series, plot)
    block_s = parse(block, Kind.TIME)
    check_series(block_s, series, plot)
    record = Record(file, parse_rate_hz(rate) if rate else None, channel or ("iq" if iq else ""))
    show_file(record, as_json=as_json, explain=explain)
    if series is not None or plot is not None:
        write_file_series(
            record,
            block_s=block_s,
            series=series,
            plot=plot,
            as_json=as_json,
        )


def _live_analysis(station: Path | None, point_name: str) -> Analysis:
    from daq.clock import SystemClock
    from daq.samples.analyze import analyze_samples
    from daq.station import load_station
    from procedures.engine.taking import oscilloscope

    described = load_station(station_path(station))
    point = described.point(point_name)
    with open_instruments(described, SystemClock(), only=(point.instrument,)) as opened:
        scope = oscilloscope(opened[point.instrument])
        waveform = scope.waveform(point=point.name, channel=point.channel)
    return analyze_samples(waveform.samples_v, waveform.rate_hz)
