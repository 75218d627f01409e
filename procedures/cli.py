"""The command line: the one place that wires procedures to drivers and to the simulated bench.

Everything heavy is imported by the command that needs it, so that ``trimbench --help`` answers
at once.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, contextmanager
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from procedures.cli_errors import run_app
from procedures.cli_output import ExplainOption, JsonOption, finite
from procedures.limit_commands import limits_app
from procedures.log_commands import log_app
from procedures.options import StationArgument, StationOption, station_path
from procedures.trim_commands import trim_app

if TYPE_CHECKING:
    from daq.clock import Clock
    from daq.errors import StationFileError
    from daq.log.writer import LogWriter
    from daq.roles import Instrument, Operator
    from daq.samples.model import Analysis
    from daq.station import Station
    from drivers.session import Gap
    from procedures.runner import RunEnd
    from procedures.terminal.operator import TerminalOperator
    from sim_instruments.operator import SimulatedOperator

OperatorChoice = Literal["terminal", "sim"]

app = typer.Typer(
    name="trimbench",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    help=(
        "Guides, measures and records the trims of an ILS localizer.\n\n"
        "trimbench reads instruments and never commands a transmitter. It never says that a "
        "facility is fit for service: that is for the authority and for licensed practice."
    ),
)
app.add_typer(trim_app, name="trim")
for more in (log_app, limits_app):
    app.registered_commands += more.registered_commands

OperatorOption = Annotated[
    OperatorChoice,
    typer.Option("--operator", help="Who answers and turns controls."),
]


@app.command()
def run(
    procedure: Annotated[str, typer.Argument(help="Name of the procedure: monitor-baseline.")],
    station: StationOption = None,
    operator: OperatorOption = "terminal",
    as_json: JsonOption = False,
) -> None:
    """Run a procedure from its beginning, and make its record."""
    from daq.clock import SystemClock
    from daq.log.writer import LogWriter
    from daq.station import load_station
    from procedures.catalogue import procedure as known_procedure
    from procedures.runner import Crew, begin

    known_procedure(procedure)
    described = load_station(station_path(station))
    clock = SystemClock()
    with ExitStack() as stack:
        writer = stack.enter_context(LogWriter(described.log_path, clock))
        number = writer.next_run()
        gap = _gap_into(writer, number)
        opened = stack.enter_context(_instruments(described, clock, on_gap=gap))
        who = stack.enter_context(_operator(operator, described, writer, number, quiet=as_json))
        end = begin(procedure, described, Crew(opened, who, clock, writer))
    _finish(described, end, as_json=as_json)


@app.command()
def resume(
    run_number: Annotated[int, typer.Argument(metavar="RUN", help="Number of the run.")],
    station: StationOption = None,
    operator: OperatorOption = "terminal",
    as_json: JsonOption = False,
) -> None:
    """Go on with a run that was cut off; nothing that was answered is asked again."""
    from daq.clock import SystemClock
    from daq.errors import InputError
    from daq.log.writer import LogWriter
    from daq.station import load_station
    from procedures.runner import Crew
    from procedures.runner import resume as go_on

    described = load_station(station_path(station))
    if not described.log_path.is_file():
        raise InputError(
            f"{described.log_path}: there is no log, so there is no run {run_number} to resume."
        )
    clock = SystemClock()
    with (
        LogWriter(described.log_path, clock) as writer,
        _instruments(described, clock, on_gap=_gap_into(writer, run_number)) as opened,
        _operator(operator, described, writer, run_number, quiet=as_json) as who,
    ):
        end = go_on(run_number, described, Crew(opened, who, clock, writer))
    _finish(described, end, as_json=as_json)


@app.command()
def watch(
    quantity: Annotated[str, typer.Argument(help="What to read: ddm, sdm, vpp, rf_level, ...")],
    station: StationOption = None,
    point: Annotated[str, typer.Option(help="A point of the station file.")] = "",
    target: Annotated[str, typer.Option(help='Wanted value, such as "0.155" or "1.5 V".')] = "",
    band: Annotated[str, typer.Option(help="Accepted distance from the target.")] = "",
    seconds: Annotated[float, typer.Option(min=0.0, help="Stop after so long; 0: until q.")] = 0.0,
    as_json: JsonOption = False,
) -> None:
    """Show and log one quantity live, without a procedure."""
    from daq.clock import SystemClock
    from daq.log.writer import LogWriter
    from daq.station import load_station
    from procedures.watching import plan_watch, that_reads, watch_quantity

    described = load_station(station_path(station))
    plan = plan_watch(described, quantity, point=point, target=target, band=band, seconds=seconds)
    clock = SystemClock()
    with (
        LogWriter(described.log_path, clock) as writer,
        _instruments(described, clock, only=plan.alias) as opened,
        _terminal(quiet=as_json, needs_keys=not seconds) as technician,
    ):
        instrument = that_reads(opened, plan)
        summary = watch_quantity(described, plan, instrument, clock, writer, technician.watching)
    if as_json:
        typer.echo(json.dumps(finite(asdict(summary))))


@app.command()
def instruments(station: StationOption = None, as_json: JsonOption = False) -> None:
    """Open and identify each instrument, take one reading, and time it."""
    from daq.clock import SystemClock
    from daq.errors import BenchError
    from daq.station import load_station
    from procedures.instrument_check import check, failed, report

    described = load_station(station_path(station))
    clock = SystemClock()
    found = []
    for entry in described.instruments:
        try:
            with _instruments(described, clock, only=entry.alias) as opened:
                found.append(check(entry, opened[entry.alias], described))
        except BenchError as error:
            found.append(failed(entry, error))
    report(found, clock, as_json=as_json)
    if any(item.error for item in found):
        raise typer.Exit(BenchError.exit_code)


@app.command()
def simulate(station: StationArgument, as_json: JsonOption = False) -> None:
    """Serve the station's instruments from a simulated localizer, until stopped.

    Type what hands should do, one line each: `turn control="monitor width" by=0.02`.
    """
    from daq.station import load_station
    from procedures.simulation import serve_until_stopped
    from sim_instruments.bench import SimulatedBench
    from sim_instruments.hands_link import HandsSession

    described = load_station(station_path(station))
    try:
        bench = SimulatedBench(described.simulation.plant)
    except ValueError as error:
        raise _station_error(described, "simulation.plant", str(error)) from error
    wanted = [(entry.profile, entry.resource) for entry in described.instruments]
    try:
        served = bench.serve(
            wanted, folder=described.path.parent, hands_port=described.simulation.hands_port
        )
    except (ValueError, OSError) as error:
        raise _station_error(described, "instruments", str(error)) from error
    with served:
        serve_until_stopped(served, HandsSession(bench.hands), as_json=as_json)


@app.command()
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
    from procedures.sample_commands import show_analysis, show_file, write_file_series

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


@app.command()
def demo(
    folder: Annotated[Path, typer.Option(help="Where the log and the record go.")] = Path(
        "demo-out"
    ),
) -> None:
    """Bring a simulated localizer's monitor to its baseline, and make its record."""
    from daq.station import load_station
    from procedures.simulation import prepare_demo, simulated_bench

    station = prepare_demo(folder)
    with simulated_bench(station):
        run("monitor-baseline", station, operator="sim")
    described = load_station(station_path(station))
    print(f"\nStation file  {station}\nLog           {described.log_path}")
    print(f"Look again    trimbench runs --station {station}")


def main() -> None:
    """Enter here from the shell."""
    sys.exit(run_app(app))


# Wiring ------------------------------------------------------------------------------------


@contextmanager
def _instruments(
    station: Station, clock: Clock, *, only: str = "", on_gap: Callable[[Gap], None] | None = None
) -> Iterator[dict[str, Instrument]]:
    """Open the station's instruments (or one of them); close them on every way out."""
    from drivers.registry import open_instrument
    from procedures.instrument_check import check_serial

    with ExitStack() as stack:
        opened: dict[str, Instrument] = {}
        for entry in station.instruments:
            if only and entry.alias != only:
                continue
            instrument = open_instrument(
                entry.alias,
                entry.instrument_class,
                entry.profile,
                entry.resource,
                clock=clock,
                base=station.path.parent,
                on_gap=on_gap or _ignore,
            )
            stack.callback(instrument.close)
            check_serial(entry, instrument)
            opened[entry.alias] = instrument
        yield opened


def _ignore(gap: Gap) -> None:
    """Leave a gap unlogged, where there is no run yet."""


def _gap_into(writer: LogWriter, run: int) -> Callable[[Gap], None]:
    """Return what writes an instrument's absence into the log of a run."""
    from daq.log.entry import Kind

    def write(gap: Gap) -> None:
        writer.append(run, Kind.EVENT, "gap", {"event": "instrument was away", **asdict(gap)})

    return write


@contextmanager
def _operator(
    choice: OperatorChoice, station: Station, writer: LogWriter, number: int, *, quiet: bool
) -> Iterator[Operator]:
    """Have somebody answer; the terminal is given back on every way out."""
    if choice == "terminal":
        with _terminal(quiet=quiet, needs_keys=True) as technician:
            yield technician
        return
    with _simulated(station, f"{writer.path.name} run {number}") as simulated:
        if quiet:
            yield simulated
            return
        from rich.console import Console

        from procedures.terminal.observer import NarratingOperator

        with NarratingOperator(simulated, Console()) as narrated:
            yield narrated


@contextmanager
def _simulated(station: Station, run: str) -> Iterator[SimulatedOperator]:
    from daq.errors import LinkError
    from sim_instruments.hands import HandsError
    from sim_instruments.hands_link import HandsClient
    from sim_instruments.operator import SimulatedOperator

    try:
        hands = HandsClient(("127.0.0.1", station.simulation.hands_port))
        with closing(hands):
            yield SimulatedOperator(hands, run)
    except HandsError as error:
        raise LinkError(
            f"The simulated technician needs a simulated bench: {error}.",
            hint=f"`trimbench simulate {station.path}` in another terminal.",
        ) from error


def _live_analysis(station: Path | None, point_name: str) -> Analysis:
    from daq.clock import SystemClock
    from daq.samples.analyze import analyze_samples
    from daq.station import load_station
    from procedures.taking import oscilloscope

    described = load_station(station_path(station))
    point = described.point(point_name)
    with _instruments(described, SystemClock(), only=point.instrument) as opened:
        scope = oscilloscope(opened[point.instrument])
        waveform = scope.waveform(point=point.name, channel=point.channel)
    return analyze_samples(waveform.samples_v, waveform.rate_hz)


@contextmanager
def _terminal(*, quiet: bool, needs_keys: bool) -> Iterator[TerminalOperator]:
    from rich.console import Console

    from procedures.terminal.keys import Keyboard
    from procedures.terminal.operator import TerminalOperator

    # A program that reads the errors as JSON gets nothing else, unless somebody has to be asked.
    unseen = quiet and not needs_keys and not sys.stderr.isatty()
    console = Console(stderr=quiet, quiet=unseen)
    with TerminalOperator(console, Keyboard(), needs_keys=needs_keys) as technician:
        yield technician


def _station_error(station: Station, key: str, message: str) -> StationFileError:
    from daq.errors import StationFileError

    return StationFileError(message, file=str(station.path), key=key)


def _finish(station: Station, end: RunEnd, *, as_json: bool) -> None:
    from procedures.ending import finish

    finish(station, end, as_json=as_json)


if __name__ == "__main__":
    main()
