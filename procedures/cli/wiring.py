"""Open what a run needs: instruments from `drivers`, hands from `sim_instruments`, the terminal."""

from __future__ import annotations

import sys
from collections.abc import Callable, Collection, Iterator
from contextlib import ExitStack, closing, contextmanager
from dataclasses import asdict
from typing import TYPE_CHECKING, Annotated, Final, Literal

import typer

if TYPE_CHECKING:
    from daq.clock import Clock
    from daq.log.writer import LogWriter
    from daq.roles import Instrument, Operator
    from daq.station import Station
    from daq.trial import ProfileTools
    from drivers.session import Gap
    from procedures.page.server import LivePage
    from procedures.terminal.operator import TerminalOperator
    from sim_instruments.operator import SimulatedOperator

HANDS_ANSWER_S: Final = 1.0
"""Limit for hands to say that they are there; whoever else has the port may say nothing."""

OperatorChoice = Literal["terminal", "sim"]

OperatorOption = Annotated[
    OperatorChoice,
    typer.Option("--operator", help="Who answers and turns controls."),
]


@contextmanager
def open_instruments(
    station: Station,
    clock: Clock,
    *,
    only: Collection[str] | None = None,
    on_gap: Callable[[Gap], None] | None = None,
    ask: Callable[[str], str] | None = None,
) -> Iterator[dict[str, Instrument]]:
    """Open the station's instruments, or only some by alias; close them on every way out.

    `ask` asks the person who reads a meter without a port.
    """
    from drivers.registry import open_instrument
    from procedures.commands.instrument_check import check_serial

    with ExitStack() as stack:
        opened: dict[str, Instrument] = {}
        for entry in station.instruments:
            if only is not None and entry.alias not in only:
                continue
            instrument = open_instrument(
                entry.alias,
                entry.instrument_class,
                entry.profile,
                entry.resource,
                clock=clock,
                base=station.path.parent,
                on_gap=on_gap or _ignore,
                ask=ask,
            )
            stack.callback(instrument.close)
            check_serial(entry, instrument)
            opened[entry.alias] = instrument
        yield opened


def asking(choice: OperatorChoice = "terminal", *, quiet: bool) -> Callable[[str], str] | None:
    """Return what asks the person at this terminal for a line; None where nobody is."""
    from daq.roles import Prompt

    if choice != "terminal":
        return None

    def ask(question: str) -> str:
        with terminal(quiet=quiet, needs_keys=True) as technician:
            return str(technician.answer(Prompt("typed reading", "text", question)))

    return ask


def profile_tools() -> ProfileTools:
    """Return what the commands about profiles use."""
    from drivers import profile_tools as tools

    return tools


def _ignore(gap: Gap) -> None:
    """Leave a gap unlogged, where there is no run yet."""


def gap_into(writer: LogWriter, run: int) -> Callable[[Gap], None]:
    """Return what writes an instrument's absence into the log of a run."""
    from daq.log.entry import Kind

    def write(gap: Gap) -> None:
        writer.append(run, Kind.EVENT, "gap", {"event": "instrument was away", **asdict(gap)})

    return write


@contextmanager
def operator_for(
    choice: OperatorChoice,
    station: Station,
    writer: LogWriter,
    number: int,
    *,
    quiet: bool,
    page: LivePage | None = None,
    ended: int = 0,
) -> Iterator[Operator]:
    """Have somebody answer, shown on the page; the terminal is given back on every way out.

    `ended` is how often the run was ended before: what a simulated technician did in it counts as
    done only until then, since what was put back at the end is done once more.
    """
    from procedures.page.command import shown_on

    if choice == "terminal":
        with terminal(quiet=quiet, needs_keys=True, page=page) as technician:
            yield shown_on(page, at_the_station(technician, station), acts=True)
        return
    again = f", taken up {ended}" if ended else ""
    with simulated_operator(station, f"{writer.path.name} run {number}{again}") as simulated:
        if quiet:
            yield shown_on(page, simulated, acts=False)
            return
        from rich.console import Console

        from procedures.terminal.observer import NarratingOperator

        with NarratingOperator(simulated, Console()) as narrated:
            yield shown_on(page, narrated, acts=False)


def at_the_station(technician: Operator, station: Station) -> Operator:
    """Return the technician, told what to type where hands are served for a simulated bench."""
    from procedures.terminal.simulated_hands import ToldWhatToType, is_simulated
    from sim_instruments.hands import HandsError
    from sim_instruments.hands_link import HandsClient

    if not is_simulated(station):
        return technician
    try:
        address = ("127.0.0.1", station.simulation.hands_port)
        with closing(HandsClient(address, timeout_s=HANDS_ANSWER_S)) as hands:
            hands.do("controls", {})
    except (HandsError, LookupError, ValueError):
        return technician  # nobody's hands are served: there is nowhere to type
    return ToldWhatToType(technician)


@contextmanager
def simulated_operator(station: Station, run: str) -> Iterator[SimulatedOperator]:
    """Have a simulated technician whose hands are at the station's simulated bench.

    Raises
    ------
    LinkError
        No simulated bench is served there, or an act cannot be done.
    """
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


@contextmanager
def terminal(
    *, quiet: bool, needs_keys: bool, page: LivePage | None = None
) -> Iterator[TerminalOperator]:
    """Have a person at this terminal, or at the page; it is given back on every way out."""
    from rich.console import Console

    from procedures.page.command import keys_for
    from procedures.terminal.operator import TerminalOperator

    # A program that reads the errors as JSON gets nothing else, unless somebody has to be asked.
    unseen = quiet and not needs_keys and not sys.stderr.isatty()
    console = Console(stderr=quiet, quiet=unseen)
    with TerminalOperator(console, keys_for(page), needs_keys=needs_keys) as technician:
        yield technician
