"""The whole simulated bench: plant, instruments, hands, and the links they are served on."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from types import MappingProxyType, TracebackType
from typing import Final, Protocol, Self

from sim_instruments.clock import Clock, SystemClock
from sim_instruments.connections import Connections
from sim_instruments.hands import Hands
from sim_instruments.hands_link import HandsSession
from sim_instruments.oscilloscope import FernmarkOs4
from sim_instruments.parameters import PlantParameters
from sim_instruments.plant import Plant
from sim_instruments.pty_server import PtyServer
from sim_instruments.receivers import HalvorsundNr2, OstrelPir7
from sim_instruments.tcp_server import Session, TcpServer

DEFAULT_PROBES: Final = MappingProxyType(
    {1: "course line IF", 2: "course width IF", 3: "clearance 90 IF", 4: "phase detector"}
)
_SOCKET: Final = re.compile(r"TCPIP\d*::(?P<host>[^:]+)::(?P<port>\d+)::SOCKET", re.IGNORECASE)
_SERIAL: Final = re.compile(r"ASRL(?P<path>.*/.*?)(::INSTR)?", re.IGNORECASE)


class Device(Protocol):
    """A simulated instrument."""

    def session(self) -> Session:
        """Return a new client's line."""


MODELS: Final[Mapping[str, Callable[[Plant, Connections, Clock], Device]]] = MappingProxyType(
    {
        "fernmark-os4": FernmarkOs4,
        "halvorsund-nr2": HalvorsundNr2,
        "ostrel-pir7": OstrelPir7,
    }
)


class SimulatedBench:
    """Plant, one instrument of each model, and hands.

    Parameters
    ----------
    table
        A station file's ``[simulation.plant]`` table.
    clock
        Time of the plant; instruments wait on it. A clock that a study moves makes it fast.
    receiver, probes
        What is connected at the start.

    Raises
    ------
    ValueError
        The table has a key or value that the plant does not know.
    """

    def __init__(
        self,
        table: Mapping[str, object],
        clock: Clock | None = None,
        *,
        receiver: str = "course line",
        probes: Mapping[int, str] | None = None,
    ) -> None:
        self.clock: Clock = clock or SystemClock()
        given = PlantParameters.from_table(table)
        self.plant = Plant(given, self.clock)
        self.connections = Connections(receiver, DEFAULT_PROBES if probes is None else probes)
        self.hands = Hands(self.plant, self.connections, seed=given.seed)
        self._devices = {
            model: make(self.plant, self.connections, self.clock) for model, make in MODELS.items()
        }

    def device(self, model: str) -> Device:
        """Return the instrument of that model; ValueError when none is simulated."""
        if model not in self._devices:
            known = ", ".join(self._devices)
            raise ValueError(f"no simulated instrument {model!r}; there are {known}")
        return self._devices[model]

    def serve(
        self,
        instruments: Iterable[tuple[str, str]],
        *,
        folder: Path | None = None,
        hands_port: int | None = 0,
    ) -> ServedBench:
        """Open a link for each instrument, and the hands' port.

        Parameters
        ----------
        instruments
            Model and VISA resource of each: ``TCPIP::host::port::SOCKET`` (port 0: any) or
            ``ASRL<path>::INSTR``.
        folder
            What relative paths are relative to; the current folder by default.
        hands_port
            Loopback port for hands; 0 for any, None for none.

        Raises
        ------
        ValueError
            A model that is not simulated, or a resource of another kind.
        OSError
            An address or path is taken.
        """
        served = ServedBench()
        try:
            for model, resource in instruments:
                served.open(self.device(model), resource, folder or Path())
            if hands_port is not None:
                served.open_hands(self.hands, hands_port)
        except BaseException:
            served.close()
            raise
        return served


class ServedBench:
    """The open links of a bench; a context manager that closes them.

    Attributes
    ----------
    resources
        For each resource asked for, the one to connect to: ports chosen, paths absolute.
    hands_address
        Host and port of the hands, or None.
    """

    def __init__(self) -> None:
        self.resources: dict[str, str] = {}
        self.hands_address: tuple[str, int] | None = None
        self.servers: dict[str, TcpServer | PtyServer] = {}

    def open(self, device: Device, resource: str, folder: Path) -> None:
        """Serve `device` at `resource`; see `SimulatedBench.serve`."""
        if found := _SOCKET.fullmatch(resource):
            server = TcpServer(device.session, found["host"], int(found["port"]))
            host, port = server.address
            self.servers[resource] = server
            self.resources[resource] = f"TCPIP::{host}::{port}::SOCKET"
        elif found := _SERIAL.fullmatch(resource):
            path = (folder / found["path"]).absolute()
            self.servers[resource] = PtyServer(device.session(), path)
            self.resources[resource] = f"ASRL{path}::INSTR"
        else:
            raise ValueError(
                f"cannot serve at {resource!r}; TCPIP::host::port::SOCKET and "
                "ASRL<path>::INSTR can be served"
            )

    def open_hands(self, hands: Hands, port: int) -> None:
        """Serve hands on a loopback port."""
        server = TcpServer(lambda: HandsSession(hands), port=port)
        self.servers["hands"] = server
        self.hands_address = server.address

    def close(self) -> None:
        """Close every link; harmless when repeated."""
        for server in self.servers.values():
            server.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()
