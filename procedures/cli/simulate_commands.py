"""Commands that serve the simulated bench, and the demonstration on it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final, Literal

import typer

from procedures.cli.run_commands import run
from procedures.commands.options import StationArgument, station_path
from procedures.commands.output import JsonOption

if TYPE_CHECKING:
    from daq.errors import StationFileError
    from daq.station import Station
    from procedures.engine.runner import RunEnd

simulate_app = typer.Typer()

Work = Literal["baseline", "week", "monthly"]

WEEK: Final = (
    "cable-set",
    "transmitter",
    "transmit-phasing",
    "course",
    "clearance",
    "monitor-baseline",
    "alarms",
    "flight-profiles",
)
"""The order of a first installation: feeds, transmitter, field, monitor, alarms, flight."""

WEEK_SPEED: Final = "10"

PAST_READY_S: Final = 600.0


@simulate_app.command()
def simulate(
    station: StationArgument,
    speed: Annotated[
        float, typer.Option(min=0.1, max=1000.0, help="How many times faster its time runs.")
    ] = 1.0,
    years: Annotated[
        float,
        typer.Option(
            min=0.0,
            max=20.0,
            help="First write so many past years of monthly visits into the station's log.",
        ),
    ] = 0.0,
    as_json: JsonOption = False,
) -> None:
    """Serve the station's instruments from a simulated localizer, until stopped.

    Type what hands should do, one line each: `turn control="monitor width" by=0.02`; `help` shows
    all of it.
    """
    from daq.station import load_station
    from procedures.commands.simulation import cannot_serve, serve_until_stopped
    from sim_instruments.bench import SimulatedBench
    from sim_instruments.clock import ScaledClock
    from sim_instruments.fault_desk import FaultDesk
    from sim_instruments.hands_link import HandsSession

    described = load_station(station_path(station))
    try:
        bench = SimulatedBench(described.simulation.plant, ScaledClock(speed), years=years)
    except ValueError as error:
        raise _station_error(described, "simulation.plant", str(error)) from error
    if years:
        from procedures.cli.past import make_past

        make_past(described, years, _visit_told(quiet=as_json)).apply(bench)
    wanted = [(entry.profile, entry.resource) for entry in described.instruments]
    try:
        served = bench.serve(
            wanted, folder=described.path.parent, hands_port=described.simulation.hands_port
        )
    except ValueError as error:
        raise _station_error(described, "instruments", str(error)) from error
    except OSError as error:
        raise cannot_serve(described, error) from error
    with served:
        hands = HandsSession(FaultDesk(bench.hands, served.panels))
        serve_until_stopped(served, hands, as_json=as_json)


@simulate_app.command()
def demo(
    work: Annotated[
        Work,
        typer.Option(
            help="A monitor baseline, a whole baseline week, or a monthly routine after five years."
        ),
    ] = "baseline",
    folder: Annotated[Path, typer.Option(help="Where the log and the record go.")] = Path(
        "demo-out"
    ),
) -> None:
    """Do a technician's work on a simulated localizer, and make its record."""
    from procedures.commands.simulation import prepare_demo, simulated_bench

    station = prepare_demo(folder)
    if work == "monthly":
        typer.echo("Five years of monthly visits are being written; that takes a minute or two.")
        with simulated_bench(station, "--years", "5", ready_s=PAST_READY_S):
            run("routine", station, operator="sim")
        _after_years(station)
    elif work == "week":
        typer.echo(
            f"The plant's time runs {WEEK_SPEED} times faster than ours: what is timed here, such "
            "as a time to alarm, comes out so many times shorter."
        )
        with simulated_bench(station, "--speed", WEEK_SPEED):
            for procedure in WEEK:
                run(procedure, station, operator="sim")
    else:
        with simulated_bench(station):
            run("monitor-baseline", station, operator="sim")
    _say_where(station)


def _after_years(station: Path) -> None:
    """Show what the years come to: the trend of every parameter, and the station book."""
    from procedures.commands.errors import run_app
    from procedures.commands.history import history_app

    typer.echo("")
    run_app(history_app, ["trend", "--station", str(station)])


def _say_where(station: Path) -> None:
    from daq.station import load_station

    described = load_station(station)
    typer.echo(f"\nStation file  {station}\nLog           {described.log_path}")
    typer.echo(f"Look again    trimbench runs --station {station}")


def _visit_told(*, quiet: bool) -> Callable[[RunEnd, float], None]:
    def told(end: RunEnd, years_ago: float) -> None:
        if not quiet:
            typer.echo(f"run {end.run}, {years_ago:.2f} years ago: {end.result} {end.message}")

    return told


def _station_error(station: Station, key: str, message: str) -> StationFileError:
    from daq.errors import StationFileError

    return StationFileError(message, file=str(station.path), key=key)
