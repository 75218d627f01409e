"""The port mapper (RFC 1833, section 3, version 2): tells clients where a program listens.

Clients ask it on port 111 of TCP, some on UDP. Binding that port needs rights that not everybody
has; clients that can be told the port of the program itself do without it.
"""

from __future__ import annotations

import contextlib
import socket
import threading
from collections.abc import Mapping
from typing import Final

from sim_instruments.rpc import NoProcedure, RpcSession, answer_call
from sim_instruments.tcp_server import TcpServer
from sim_instruments.xdr import Unpacker, packed

PORT: Final = 111
GETPORT: Final = 3
DUMP: Final = 4
TCP: Final = 6
DATAGRAM_LIMIT: Final = 9000


class PortMap:
    """Program 100000, version 2.

    Parameters
    ----------
    ports
        TCP port of each program number and version.
    """

    number = 100_000
    version = 2

    def __init__(self, ports: Mapping[tuple[int, int], int]) -> None:
        self._ports = ports

    def call(self, procedure: int, arguments: Unpacker) -> bytes:
        """See `rpc.Program`; a program that is not there has port 0."""
        if procedure == GETPORT:
            program, version, protocol, _ = (arguments.integer() for _ in range(4))
            return packed(self._ports.get((program, version), 0) if protocol == TCP else 0)
        if procedure == DUMP:
            rows = [packed(1, *key, TCP, port) for key, port in self._ports.items()]
            return b"".join(rows) + packed(0)
        raise NoProcedure


class PortMapper:
    """The port mapper on TCP and UDP.

    Parameters
    ----------
    ports
        See `PortMap`.
    host, port
        Where it listens; 0 for any port, which only a client that is told can use.

    Raises
    ------
    OSError
        The port is taken, or may not be bound.
    """

    def __init__(
        self, ports: Mapping[tuple[int, int], int], host: str = "127.0.0.1", port: int = PORT
    ) -> None:
        self._map = PortMap(ports)
        self._tcp = TcpServer(lambda: RpcSession(self._map), host, port)
        self._udp = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        try:
            self._udp.bind(self._tcp.address)
        except OSError:
            self._udp.close()
            self._tcp.close()
            raise
        self._closing = False
        self._thread = threading.Thread(target=self._serve, name="port mapper", daemon=True)
        self._thread.start()

    @property
    def address(self) -> tuple[str, int]:
        """Host and port."""
        return self._tcp.address

    def close(self) -> None:
        """Stop; harmless when repeated."""
        if self._closing:
            return
        self._closing = True
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as wake:
            wake.sendto(b"", self._udp.getsockname())
        self._thread.join()
        self._udp.close()
        self._tcp.close()

    def _serve(self) -> None:
        while not self._closing:
            call, client = self._udp.recvfrom(DATAGRAM_LIMIT)
            reply = answer_call(call, [self._map])
            if reply is not None:
                with contextlib.suppress(OSError):
                    self._udp.sendto(reply, client)
