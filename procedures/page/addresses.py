"""Where the page listens: the machine's own address, and a port that is free."""

from __future__ import annotations

import contextlib
import socket

from daq.errors import InputError


def lan_address() -> str:
    """Return the address by which this machine is known on its network.

    Nothing is sent: connecting a datagram socket only asks the system for its own route.

    Raises
    ------
    InputError
        The machine is on no network.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # RFC 5737: an address that belongs to nobody
            return str(probe.getsockname()[0])
        except OSError as error:
            raise InputError(
                "This machine is on no network, so no other one could see the page.",
                hint="leave --lan out to see it on this machine.",
            ) from error


def listening(address: str, port: int) -> socket.socket:
    """Return a socket that listens at an address; at another port where that one is taken.

    Raises
    ------
    InputError
        No port can be opened there.
    """
    with contextlib.suppress(OSError):
        return socket.create_server((address, port))
    try:
        return socket.create_server((address, 0))
    except OSError as error:
        raise InputError(f"The page cannot be served on {address}: {error.strerror}.") from error
