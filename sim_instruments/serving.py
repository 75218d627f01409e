"""Which server a VISA resource means, and what clients then connect to."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Protocol

from sim_instruments.hislip import HislipServer
from sim_instruments.port_mapper import PORT as MAPPER_PORT
from sim_instruments.pty_server import PtyServer
from sim_instruments.sessions import Session
from sim_instruments.tcp_server import TcpServer
from sim_instruments.vxi11_server import Vxi11Server

FORMS: Final = (
    "TCPIP::host::port::SOCKET, TCPIP::host::inst0::INSTR or TCPIP::host,port::inst0::INSTR "
    "(VXI-11), TCPIP::host::hislip0,port::INSTR and ASRL<path>::INSTR"
)
HISLIP_PORT: Final = 4880
_SOCKET: Final = re.compile(r"TCPIP\d*::(?P<host>[^:,]+)::(?P<port>\d+)::SOCKET", re.IGNORECASE)
_HISLIP: Final = re.compile(
    r"TCPIP\d*::(?P<host>[^:,]+)::hislip0(,(?P<port>\d+))?(::INSTR)?", re.IGNORECASE
)
_VXI11: Final = re.compile(
    r"TCPIP\d*::(?P<host>[^:,]+)(,(?P<port>\d+))?(::inst0)?::INSTR", re.IGNORECASE
)
_SERIAL: Final = re.compile(r"ASRL(?P<path>.*/.*?)(::INSTR)?", re.IGNORECASE)


class Server(Protocol):
    """Something that listens until it is closed."""

    def close(self) -> None:
        """Stop; harmless when repeated."""


@dataclass(frozen=True, slots=True)
class OpenLink:
    """An instrument that can be reached.

    Attributes
    ----------
    resource
        What a client connects to: the port chosen, the path absolute.
    server
        Listens there.
    """

    resource: str
    server: Server


def serve_at(resource: str, make_session: Callable[[], Session], folder: Path) -> OpenLink:
    """Serve sessions where `resource` says.

    Parameters
    ----------
    resource
        One of `FORMS`; port 0 is any port. VXI-11 without a port comes with a port mapper on port
        111 of that host, which not everybody may bind; with a port there is none, and the client
        has to be told the port (pyvisa-py understands ``host,port``).
    make_session
        Called once a client.
    folder
        What a relative path is relative to.

    Raises
    ------
    ValueError
        A resource of another kind.
    OSError
        The address or path is taken or may not be used.
    """
    if found := _SOCKET.fullmatch(resource):
        socket = TcpServer(make_session, found["host"], int(found["port"]))
        host, port = socket.address
        return OpenLink(f"TCPIP::{host}::{port}::SOCKET", socket)
    if found := _HISLIP.fullmatch(resource):
        hislip = HislipServer(make_session, found["host"], int(found["port"] or HISLIP_PORT))
        host, port = hislip.address
        return OpenLink(f"TCPIP::{host}::hislip0,{port}::INSTR", hislip)
    if found := _VXI11.fullmatch(resource):
        mapper_port = None if found["port"] else MAPPER_PORT
        vxi11 = Vxi11Server(make_session, found["host"], int(found["port"] or 0), mapper_port)
        host, port = vxi11.address
        at = f"{host},{port}" if found["port"] else host
        return OpenLink(f"TCPIP::{at}::inst0::INSTR", vxi11)
    if found := _SERIAL.fullmatch(resource):
        path = (folder / found["path"]).absolute()
        return OpenLink(f"ASRL{path}::INSTR", PtyServer(make_session(), path))
    raise ValueError(f"cannot serve at {resource!r}; what can be served: {FORMS}")
