"""A raw TCP socket as a link: ``TCPIP::host::port::SOCKET``.

Our own, because pyvisa-py 0.8.1 opens closed ports "successfully", spins on a closed peer, writes
without a deadline and leaves Nagle's algorithm on.
"""

from __future__ import annotations

import contextlib
import ipaddress
import select
import socket
from collections.abc import Callable, Sequence
from typing import Final

from daq.clock import Clock
from daq.errors import LinkError, LinkLost, LinkRefused, LinkTimeout
from daq.link import Chunk
from drivers.deadline import Deadline
from drivers.links.background import start
from drivers.links.drain import drain
from drivers.links.hold import no_hold

_READ_BYTES: Final = 262_144
_QUIET_S: Final = 0.02


class SocketLink:
    """An open TCP connection.

    Parameters
    ----------
    resource
        The resource string, for messages.
    host, port
        Where the instrument listens.
    clock
        For deadlines.
    timeout_s
        Limit of connecting, seconds.
    on_close
        Called when the link is closed.

    Raises
    ------
    LinkRefused
        Nobody listens there, or the name is not known.
    LinkTimeout
        No answer to the connection request.
    """

    marks_end = False

    def __init__(
        self,
        resource: str,
        host: str,
        port: int,
        *,
        clock: Clock,
        timeout_s: float,
        on_close: Callable[[], None] = no_hold,
    ) -> None:
        self.resource = resource
        self._on_close = on_close
        self._clock = clock
        self._socket = _connect(resource, host, port, timeout_s)
        # Never blocking, and waiting only where there is need: half the system calls of a timeout.
        self._socket.setblocking(False)
        self._arrived, self._room = select.poll(), select.poll()
        self._arrived.register(self._socket, select.POLLIN)
        self._room.register(self._socket, select.POLLOUT)

    def write(self, data: bytes, timeout_s: float) -> None:
        """See `Link`."""
        try:
            sent = self._socket.send(data)
            if sent < len(data):
                self._write_rest(data, sent, timeout_s)
        except BlockingIOError:
            self._write_rest(data, 0, timeout_s)
        except OSError as exc:
            raise self._lost(exc) from exc

    def read(self, timeout_s: float) -> Chunk:
        """See `Link`."""
        try:
            if timeout_s > 0.0:
                self._arrived.poll(timeout_s * 1000.0)  # rounded up to whole milliseconds
            data = self._socket.recv(_READ_BYTES)
        except BlockingIOError as exc:
            raise LinkTimeout(
                f"Nothing arrived within {timeout_s:g} s.", instrument=self.resource
            ) from exc
        except OSError as exc:
            raise self._lost(exc) from exc
        if not data:
            raise self._lost(None)
        return Chunk(data)

    def idle(self) -> bool:
        """Whether nothing has arrived and the far end has not closed; cheaper than a vain read."""
        return not self._arrived.poll(0)

    def _write_rest(self, data: bytes, sent: int, timeout_s: float) -> None:
        deadline = Deadline(self._clock, timeout_s)
        left = memoryview(data)[sent:]
        while left:
            try:
                if not self._room.poll(deadline.remaining_s * 1000.0):
                    raise LinkTimeout(
                        f"Only {len(data) - len(left)} of {len(data)} bytes were taken "
                        f"within {timeout_s:g} s.",
                        instrument=self.resource,
                        sent=data,
                        hint="the instrument has stopped listening; check it and its cable.",
                    )
                left = left[self._socket.send(left) :]
            except BlockingIOError:
                continue
            except OSError as exc:
                raise self._lost(exc) from exc

    def clear(self, timeout_s: float) -> None:
        """Drain until quiet: a raw socket has no device clear."""
        drain(self, Deadline(self._clock, timeout_s), quiet_s=_QUIET_S)

    def close(self) -> None:
        """See `Link`."""
        with contextlib.suppress(OSError):
            self._socket.shutdown(socket.SHUT_RDWR)
        self._socket.close()
        self._on_close()

    def _lost(self, cause: OSError | None) -> LinkError:
        reason = f" ({cause.strerror or cause})" if cause else ""
        return LinkLost(
            f"The instrument closed the connection{reason}.",
            instrument=self.resource,
            hint="check its power and its network cable.",
        )


def _connect(resource: str, host: str, port: int, timeout_s: float) -> socket.socket:
    try:
        connection = _first_that_listens(_addresses(host, timeout_s), port, timeout_s)
    except TimeoutError as exc:
        raise LinkTimeout(
            f"No answer to the request for a connection within {timeout_s:g} s.",
            instrument=resource,
            hint="check the address, the instrument's power and the network cable.",
        ) from exc
    except ConnectionRefusedError as exc:
        raise LinkRefused(
            f"Nobody listens on port {port} of {host}.",
            instrument=resource,
            hint="check the port, and that the instrument's network service is on.",
        ) from exc
    except (OSError, UnicodeError) as exc:
        raise LinkRefused(
            f"{host} port {port} cannot be reached ({exc}).",
            instrument=resource,
            hint="check the address and this computer's network.",
        ) from exc
    connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    connection.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
    # A far end that vanished without a word is noticed in about 20 s even when nothing is asked.
    for name, value in (("TCP_KEEPIDLE", 10), ("TCP_KEEPINTVL", 3), ("TCP_KEEPCNT", 3)):
        if hasattr(socket, name):
            connection.setsockopt(socket.IPPROTO_TCP, getattr(socket, name), value)
    return connection


def _first_that_listens(addresses: Sequence[str], port: int, timeout_s: float) -> socket.socket:
    """Connect to the first address that takes it; raises what the last one raised."""
    for address in addresses[:-1]:
        with contextlib.suppress(OSError):
            return socket.create_connection((address, port), timeout_s / len(addresses))
    return socket.create_connection((addresses[-1], port), timeout_s / len(addresses))


def _addresses(host: str, timeout_s: float) -> Sequence[str]:
    """Return the addresses of a host; asking for a name may hang, so it is not waited for long."""
    with contextlib.suppress(ValueError):
        return (str(ipaddress.ip_address(host)),)
    asking = start(lambda: socket.getaddrinfo(host, None, type=socket.SOCK_STREAM), f"find {host}")
    return tuple(dict.fromkeys(str(found[4][0]) for found in asking.result(timeout_s)))
