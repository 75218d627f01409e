"""Commands that run a procedure."""

from __future__ import annotations

import json
from contextlib import ExitStack
from pathlib import Path
from typing import Annotated

import typer

from procedures.cli.wiring import (
    OperatorChoice,
    OperatorOption,
    asking,
    gap_into,
    open_instruments,
    operator_for,
)
from procedures.commands.options import StationOption, station_path
from procedures.commands.output import JsonOption
from procedures.page.command import LanOption, PageOption, wanted_page

run_app = typer.Typer()


@run_app.command()
def run(
    procedure: Annotated[str, typer.Argument(help="Name; `trimbench procedures` lists them.")],
    station: StationOption = None,
    operator: OperatorOption = "terminal",
    page: PageOption = False,
    lan: LanOption = False,
    as_json: JsonOption = False,
) -> None:
    """Run a procedure from its beginning, and make its record."""
    from daq.clock import SystemClock
    from daq.log.owner import open_station_log_for_writing
    from daq.station import load_station
    from procedures.catalogue import procedure as known_procedure
    from procedures.commands.ending import finish, interrupts_told
    from procedures.engine.runner import Crew, begin

    chosen = known_procedure(procedure)
    described = load_station(station_path(station))
    clock = SystemClock()
    with interrupts_told(), ExitStack() as stack:
        writer = stack.enter_context(open_station_log_for_writing(described, clock))
        number = writer.next_run()
        gap = gap_into(writer, number)
        ask = asking(operator, quiet=as_json)
        opened = stack.enter_context(
            open_instruments(described, clock, only=chosen.needs(described), on_gap=gap, ask=ask)
        )
        acts = operator == "terminal"
        served = stack.enter_context(
            wanted_page(
                described,
                number,
                clock,
                page=page,
                lan=lan,
                acts=acts,
                quiet=as_json,
                writer=writer,
            )
        )
        who = stack.enter_context(
            operator_for(operator, described, writer, number, quiet=as_json, page=served)
        )
        end = begin(procedure, described, Crew(opened, who, clock, writer))
    finish(described, end, as_json=as_json)


@run_app.command()
def resume(
    run_number: Annotated[int, typer.Argument(metavar="RUN", help="Number of the run.")],
    station: StationOption = None,
    operator: OperatorOption = "terminal",
    page: PageOption = False,
    lan: LanOption = False,
    as_json: JsonOption = False,
) -> None:
    """Go on with a run that was cut off, stopped or refused by an answer, without asking twice."""
    from daq.clock import SystemClock
    from daq.errors import InputError
    from daq.log.owner import open_station_log_for_writing
    from daq.station import load_station
    from procedures.commands.ending import finish, interrupts_told
    from procedures.engine.runner import Crew, began_with, times_ended
    from procedures.engine.runner import resume as go_on

    described = load_station(station_path(station))
    if not described.log_path.is_file():
        raise InputError(
            f"{described.log_path}: there is no log, so there is no run {run_number} to resume."
        )
    clock = SystemClock()
    with (
        interrupts_told(),
        open_station_log_for_writing(described, clock) as writer,
        open_instruments(
            described,
            clock,
            only=began_with(described.log_path, run_number),
            on_gap=gap_into(writer, run_number),
            ask=asking(operator, quiet=as_json),
        ) as opened,
        wanted_page(
            described,
            run_number,
            clock,
            page=page,
            lan=lan,
            acts=operator == "terminal",
            quiet=as_json,
            writer=writer,
        ) as served,
        operator_for(
            operator,
            described,
            writer,
            run_number,
            quiet=as_json,
            page=served,
            ended=times_ended(described.log_path, run_number),
        ) as who,
    ):
        end = go_on(run_number, described, Crew(opened, who, clock, writer))
    finish(described, end, as_json=as_json)


@run_app.command("procedures")
def list_procedures(as_json: JsonOption = False) -> None:
    """List the procedures that `run` knows."""
    from procedures.catalogue import PROCEDURES

    if as_json:
        listed = [
            {"name": p.name, "version": p.version, "summary": p.summary}
            for p in PROCEDURES.values()
        ]
        typer.echo(json.dumps({"procedures": listed}))
        return
    for each in PROCEDURES.values():
        typer.echo(f"{each.name:<18} {each.summary}")


def run_named(name: str, station: Path, operator: OperatorChoice, as_json: bool) -> None:
    """Run one procedure as `run` does, for commands that run several."""
    run(name, station, operator, as_json=as_json)
