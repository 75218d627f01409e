"""Serve the page from a thread of its own, and end it in good order.

The run's thread only publishes and takes answers; it waits for the server in two places: until
the port is open at the beginning, and at most `STOP_S` at the end.
"""

from __future__ import annotations

import asyncio
import contextlib
import tempfile
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Final, Self

import uvicorn

from daq.clock import Clock
from daq.errors import InputError
from daq.log.entry import Kind
from daq.log.writer import LogWriter
from daq.roles import Operator
from daq.station import Station
from procedures.page.addresses import lan_address, listening
from procedures.page.app import Parts, make_app
from procedures.page.archive import Records
from procedures.page.certificate import Certificate, make_certificate
from procedures.page.doorway import Doorway
from procedures.page.guard import Guard
from procedures.page.hub import Hub
from procedures.page.invitation import invitation
from procedures.page.keys import SharedKeys
from procedures.page.offers import Offers
from procedures.page.pairing import Pairing
from procedures.page.present import Body
from procedures.page.screens import Screens
from procedures.page.shown import ShownOperator

PORT: Final = 8471
"""Where the page is served unless that port is taken."""

LOOPBACK: Final = "127.0.0.1"
START_S: Final = 10.0
STOP_S: Final = 5.0


@dataclass(frozen=True, slots=True)
class PageOptions:
    """How the page is served.

    Attributes
    ----------
    lan
        Also to other machines: over TLS, acting only from a paired screen.
    port
        0 takes any free one.
    address
        Which of the machine's own addresses, with `lan`; empty for that of its usual route.
    code
        Whether the terminal can draw a QR code.
    """

    lan: bool = False
    port: int = PORT
    address: str = ""
    code: bool = True


class LivePage:
    """The page of one run, served while the block lasts.

    Parameters
    ----------
    station
        Whose log is shown; the log exists.
    run
        Number of the run; None to look at finished runs only.
    clock
        Time for the screens.
    options
        How it is served.
    writer
        Where it is logged that another screen was paired; None where there is no run. Nobody may
        be asked at `keys` before the run's first row is there: another is paired then.

    Raises
    ------
    InputError
        The port cannot be opened.
    """

    def __init__(
        self,
        station: Station,
        run: int | None,
        clock: Clock,
        options: PageOptions,
        writer: LogWriter | None = None,
    ) -> None:
        self.hub = Hub()
        self._offers = Offers()
        self._clock = clock
        self._options = options
        self._pairing = Pairing(needed=options.lan)
        self._folder = tempfile.TemporaryDirectory(prefix="trimbench-page-")
        self._site = site_body(station, run)
        self._station = station
        self._run = run
        self._address = (options.address or lan_address()) if options.lan else LOOPBACK
        self._socket = listening(self._address, options.port)
        self._certificate: Certificate | None = None
        log = None if writer is None or run is None else run_events(writer, run)
        self._door = Doorway(
            self._pairing, self.hub, self._offers, self.invitation, clock=clock, log=log
        )
        self._started = threading.Event()
        self._up = False
        self._stop: Callable[[], None] | None = None
        self._thread = threading.Thread(target=self._serve, name="live page", daemon=True)

    @property
    def url(self) -> str:
        """Where a browser finds it, without a token."""
        scheme = "https" if self._options.lan else "http"
        return f"{scheme}://{self._address}:{self._socket.getsockname()[1]}/"

    @property
    def pairing_url(self) -> str:
        """Where the first screen pairs itself; the token is not sent until the page asks."""
        token = self._pairing.token
        return f"{self.url}#pair={token}" if token else self.url

    @property
    def fingerprint(self) -> str:
        """SHA-256 of the certificate; empty without TLS."""
        return self._certificate.fingerprint if self._certificate else ""

    def invitation(self, *, acts: bool = True) -> str:
        """Return how a screen on the network comes to this page; one that may act, if so wanted."""
        address = self.pairing_url if acts else self.url
        return invitation(address, self.fingerprint, acts=acts, code=self._options.code)

    def keys(self, descriptor: int = 0) -> SharedKeys:
        """Return the keyboard at `descriptor` together with the screens.

        On a network its pairing key (`procedures.page.doorway`) is taken out of what is typed.
        """
        return SharedKeys(self._offers, descriptor, self._door if self._options.lan else None)

    def shown(self, operator: Operator, *, acts: bool) -> ShownOperator:
        """Return `operator`, shown on the page.

        Parameters
        ----------
        acts
            Whether screens may answer for it, which needs that it reads `keys`.
        """
        self._door.tell = operator.tell
        return ShownOperator(operator, self.hub, self._offers if acts else None, self._clock)

    def __enter__(self) -> Self:
        if self._options.lan:
            self._certificate = make_certificate(
                Path(self._folder.name), self._address, self._clock
            )
        self._thread.start()
        if not (self._started.wait(START_S) and self._up):
            self.close()
            raise InputError(f"The page did not come up at {self.url} within {START_S:.0f} s.")
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Send what is left, end every stream and let go; harmless when repeated."""
        self._pairing.expire()
        stop, self._stop = self._stop, None
        if stop is not None:
            stop()
            self._thread.join(STOP_S)
        self._socket.close()
        self._offers.dispose()
        self._folder.cleanup()

    def _serve(self) -> None:
        asyncio.run(self._work())

    async def _work(self) -> None:
        screens = Screens(self._station.log_path, self._run, self.hub, self._clock)
        server = uvicorn.Server(self._configuration(screens))
        loop = asyncio.get_running_loop()
        self.hub.on_change(lambda: _soon(loop, screens.changed))
        follower = asyncio.create_task(screens.follow())
        serving = asyncio.create_task(server.serve(sockets=[self._socket]))
        stopped = asyncio.Event()
        self._stop = lambda: _soon(loop, stopped.set)
        while not server.started and not serving.done():
            await asyncio.sleep(0.005)
        self._up = server.started
        if self._certificate is not None:
            self._certificate.key.unlink()  # loaded; a program that is killed leaves no key behind
        self._started.set()
        await stopped.wait()
        screens.close()
        await follower
        server.should_exit = True
        await serving
        self.hub.on_change(None)

    def _configuration(self, screens: Screens) -> uvicorn.Config:
        records = Records(self._station.path, self._station.log_path, Path(self._folder.name))
        parts = Parts(
            self._site, self.hub, self._offers, screens, self._pairing, self._door, records
        )
        host = f"{self._address}:{self._socket.getsockname()[1]}"
        hosts = {host} if self._options.lan else {host, host.replace(LOOPBACK, "localhost")}
        guarded = Guard(make_app(parts), hosts, self._clock, secure=self._options.lan)
        made = self._certificate
        return uvicorn.Config(
            guarded,
            log_config=None,
            log_level="critical",  # nothing may write into the terminal while a value is watched
            access_log=False,
            proxy_headers=False,
            server_header=False,
            lifespan="off",
            http="h11",
            timeout_keep_alive=5,
            timeout_graceful_shutdown=2,
            limit_concurrency=128,
            ssl_certfile=str(made.certificate) if made else None,
            ssl_keyfile=str(made.key) if made else None,
        )


def run_events(writer: LogWriter, run: int) -> Callable[[Mapping[str, object]], None]:
    """Return what writes an event of the page into the log of a run."""

    def write(body: Mapping[str, object]) -> None:
        writer.append(run, Kind.EVENT, "page", body)

    return write


def site_body(station: Station, run: int | None) -> Body:
    """Return what a screen is told when it loads: the station, the run and the lines to cut."""
    facts = station.station
    spares = {
        entry.cut_stage: {"sbo": entry.sbo.spare_m, "csb": entry.csb.spare_m}
        for entry in station.phasing.values()
    }
    return {
        "run": run,
        "station": facts.name,
        "runway": facts.runway,
        "ident": facts.ident,
        "category": facts.category,
        "frequency": f"{facts.frequency_hz / 1e6:.2f} MHz",
        "spares": spares,
    }


def _soon(loop: asyncio.AbstractEventLoop, call: Callable[[], None]) -> None:
    """Have the server's loop call it; a loop that has ended needs nothing any more."""
    with contextlib.suppress(RuntimeError):
        loop.call_soon_threadsafe(call)
