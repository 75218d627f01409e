"""Commands that serve the simulated bench, and the demonstration on it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from procedures.cli.run_commands import run
from procedures.cli_output import JsonOption
from procedures.options import StationArgument, station_path

if TYPE_CHECKING:
    from daq.errors import StationFileError
    from daq.station import Station

simulate_app = typer.Typer()


@simulate_app.command()
def simulate(
    station: StationArgument,
    speed: Annotated[
        float, typer.Option(min=0.1, max=1000.0, help="How many times faster its time runs.")
    ] = 1.0,
    as_json: JsonOption = False,
) -> None:
    """Serve the station's instruments from a simulated localizer, until stopped.

    Type what hands should do, one line each: `turn control="monitor width" by=0.02`.
    """
    from daq.station import load_station
    from procedures.simulation import serve_until_stopped
    from sim_instruments.bench import SimulatedBench
    from sim_instruments.clock import ScaledClock
    from sim_instruments.hands_link import HandsSession

    described = load_station(station_path(station))
    try:
        bench = SimulatedBench(described.simulation.plant, ScaledClock(speed))
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


@simulate_app.command()
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
    typer.echo(f"\nStation file  {station}\nLog           {described.log_path}")
    typer.echo(f"Look again    trimbench runs --station {station}")


def _station_error(station: Station, key: str, message: str) -> StationFileError:
    from daq.errors import StationFileError

    return StationFileError(message, file=str(station.path), key=key)
