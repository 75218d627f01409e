"""Commands that read instruments or samples without a procedure."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from procedures.cli.wiring import asking, open_instruments, terminal
from procedures.commands.options import StationOption, station_path
from procedures.commands.output import ExplainOption, JsonOption, finite
from procedures.page.command import LanOption, PageOption, shown_on, wanted_page

if TYPE_CHECKING:
    from daq.samples.model import Analysis

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
    from daq.log.writer import LogWriter
    from daq.station import load_station
    from procedures.engine.watching import plan_watch, that_reads, watch_quantity

    described = load_station(station_path(station))
    plan = plan_watch(described, quantity, point=point, target=target, band=band, seconds=seconds)
    clock = SystemClock()
    with (
        LogWriter(described.log_path, clock) as writer,
        open_instruments(described, clock, only=plan.aliases, ask=asking(quiet=as_json)) as opened,
        wanted_page(
            described, writer.next_run(), clock, page=page, lan=lan, acts=True, quiet=as_json
        ) as served,
        terminal(quiet=as_json, needs_keys=not seconds, page=served) as technician,
    ):
        instrument = that_reads(opened, plan)
        who = shown_on(served, technician, acts=True)
        summary = watch_quantity(described, plan, instrument, clock, writer, who.watching)
    if as_json:
        typer.echo(json.dumps(finite(asdict(summary))))


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
        str, typer.Option(help='Samples per second of a .npy file, such as "48 kHz".')
    ] = "",
    series: Annotated[
        Path | None, typer.Option(help="Also write DDM against time: .csv or .parquet.")
    ] = None,
    plot: Annotated[
        Path | None, typer.Option(help="Also draw DDM against time: .svg, .png or .pdf.")
    ] = None,
    block: Annotated[str, typer.Option(help="Length of a block of the series.")] = "1 s",
    point: Annotated[
        str, typer.Option(help="Instead of a file: a point that an oscilloscope is on.")
    ] = "",
    station: StationOption = None,
    as_json: JsonOption = False,
    explain: ExplainOption = False,
) -> None:
    """Measure DDM, SDM, depths, tones, ident and hum from samples."""
    from daq.errors import InputError
    from daq.units import Kind, parse
    from procedures.commands.samples import show_analysis, show_file, write_file_series

    if (file is None) == (not point):
        raise InputError("Give a file to analyse, or a --point that an oscilloscope is on.")
    if file is None:
        show_analysis(_live_analysis(station, point), as_json=as_json, explain=explain)
        return
    rate_hz = parse(rate, Kind.FREQUENCY) if rate else None
    show_file(file, rate_hz=rate_hz, as_json=as_json, explain=explain)
    if series is not None or plot is not None:
        write_file_series(
            file,
            rate_hz=rate_hz,
            block_s=parse(block, Kind.TIME),
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
