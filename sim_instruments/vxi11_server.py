"""Serve an instrument by VXI-11: core channel, abort channel and, if wanted, a port mapper."""

from __future__ import annotations

from collections.abc import Callable

from sim_instruments.port_mapper import PortMapper
from sim_instruments.rpc import RpcSession
from sim_instruments.sessions import Session, as_messages
from sim_instruments.tcp_server import TcpServer
from sim_instruments.vxi11 import (
    ABORT_PROGRAM,
    CORE_PROGRAM,
    VERSION,
    AbortProgram,
    CoreProgram,
    Vxi11Device,
)


class Vxi11Server:
    """The three listening sockets of one instrument.

    Parameters
    ----------
    make_session
        Called once a link.
    host, port
        Where the core channel listens; port 0 lets the system choose.
    mapper_port
        Where a port mapper tells of it: 111 for clients that cannot be told a port, 0 for any
        port, None for no port mapper.

    Raises
    ------
    OSError
        An address is in use or may not be bound, as port 111 without the rights to it.
    """

    def __init__(
        self,
        make_session: Callable[[], Session],
        host: str = "127.0.0.1",
        port: int = 0,
        mapper_port: int | None = None,
    ) -> None:
        self._device = Vxi11Device(lambda: as_messages(make_session()))
        self._abort = TcpServer(lambda: RpcSession(AbortProgram(self._device)), host)
        abort_port = self._abort.address[1]
        self._mapper: PortMapper | None = None
        try:
            self._core = TcpServer(
                lambda: RpcSession(CoreProgram(self._device, abort_port)), host, port
            )
        except OSError:
            self._abort.close()
            raise
        if mapper_port is not None:
            ports = {
                (CORE_PROGRAM, VERSION): self._core.address[1],
                (ABORT_PROGRAM, VERSION): abort_port,
            }
            try:
                self._mapper = PortMapper(ports, host, mapper_port)
            except OSError:
                self.close()
                raise

    @property
    def address(self) -> tuple[str, int]:
        """Host and port of the core channel."""
        return self._core.address

    @property
    def mapper_address(self) -> tuple[str, int] | None:
        """Host and port of the port mapper, if there is one."""
        return self._mapper.address if self._mapper is not None else None

    def drop_clients(self) -> None:
        """Break every connection, as a cable pulled out does."""
        self._core.drop_clients()
        self._abort.drop_clients()

    def close(self) -> None:
        """Close everything; harmless when repeated."""
        if self._mapper is not None:
            self._mapper.close()
        self._device.close()
        self._core.close()
        self._abort.close()
