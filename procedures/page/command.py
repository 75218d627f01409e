"""The page from the command line: beside a run or a watch, and by itself for finished runs."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Annotated

import typer

from procedures.commands.options import StationOption, station_path

if TYPE_CHECKING:
    from daq.clock import Clock
    from daq.log.writer import LogWriter
    from daq.roles import Operator
    from daq.station import Station
    from procedures.page.server import LivePage
    from procedures.terminal.keys import Keys

page_app = typer.Typer()

PageOption = Annotated[
    bool, typer.Option("--page", help="Also show it in a browser on this machine.")
]
LanOption = Annotated[
    bool,
    typer.Option("--lan", help="Also show it on a phone or tablet: over TLS, paired by a QR code."),
]


@page_app.command()
def page(station: StationOption = None, lan: LanOption = False) -> None:
    """Show runs, records and trends in a browser, until stopped."""
    import threading

    from daq.clock import SystemClock
    from daq.log.reader import LogReader
    from daq.station import load_station

    described = load_station(station_path(station))
    with LogReader(described.log_path):
        pass  # there is a log, and it is one
    with wanted_page(described, None, SystemClock(), page=True, lan=lan, acts=False):
        threading.Event().wait()


@contextmanager
def wanted_page(
    station: Station,
    run: int | None,
    clock: Clock,
    *,
    page: bool,
    lan: bool,
    acts: bool,
    quiet: bool = False,
    writer: LogWriter | None = None,
) -> Iterator[LivePage | None]:
    """Serve the page while the block lasts and tell where it is; None when nobody wants it.

    Parameters
    ----------
    run
        The run that is shown; None for finished runs only. Its log exists.
    page, lan
        As the options say; `lan` asks for the page, too.
    acts
        Whether screens may answer and capture.
    quiet
        Tell on standard error, because standard output is for a program.
    writer
        Of the run's log, where it is recorded that another screen was paired.

    Raises
    ------
    InputError
        The page cannot be served.
    """
    if not (page or lan):
        yield None
        return
    from rich.console import Console

    from procedures.page.announce import announce
    from procedures.page.server import LivePage, PageOptions
    from procedures.terminal.screen import speaks_unicode

    console = Console(stderr=quiet)
    options = PageOptions(lan=lan, code=speaks_unicode(console))
    with LivePage(station, run, clock, options, writer) as served:
        announce(console, served, acts=acts)
        yield served


def keys_for(page: LivePage | None) -> Keys:
    """Return the keyboard, together with the screens where there is a page."""
    from procedures.terminal.keys import Keyboard

    return Keyboard() if page is None else page.keys()


def shown_on(page: LivePage | None, operator: Operator, *, acts: bool) -> Operator:
    """Return the operator, shown on the page where there is one."""
    return operator if page is None else page.shown(operator, acts=acts)
