"""Choose the way to an instrument by its resource string."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from daq.clock import Clock
from daq.errors import LinkUnsupported
from daq.link import Link
from drivers.links.hold import ResourceHold
from drivers.links.settings import LinkSettings

_SOCKET: Final = re.compile(
    r"TCPIP\d*::(?P<host>\[[^\]]+\]|[^:\s]+)::(?P<port>\d{1,5})::SOCKET", re.IGNORECASE
)
_SERIAL: Final = re.compile(r"ASRL(?P<name>.+?)(?:::INSTR)?", re.IGNORECASE)
_VISA: Final = re.compile(r"(?:TCPIP|USB|GPIB|VXI|PXI)\d*::.+", re.IGNORECASE)


def open_link(
    resource: str, *, settings: LinkSettings, clock: Clock, base: Path, timeout_s: float
) -> Link:
    """Open the link that `resource` names.

    Parameters
    ----------
    resource
        VISA resource string. ``TCPIP::…::SOCKET`` goes over our own socket, ``ASRL…`` over
        pyserial, every other kind through the VISA library that the settings name.
    settings
        Baud rate and so on.
    clock
        For deadlines.
    base
        Folder at which a relative path in ``ASRL./port::INSTR`` begins.
    timeout_s
        Limit of opening, seconds.

    Raises
    ------
    LinkUnsupported
        The string is no resource, or this machine cannot do that kind of link.
    LinkRefused, LinkTimeout
        Nobody there, or somebody else holds it; no answer in time.
    """
    text = resource.strip()
    if found := _SOCKET.fullmatch(text):
        from drivers.links.socket_link import SocketLink

        host, port = found["host"].strip("[]"), int(found["port"])
        if not 0 < port < 65536:
            raise LinkUnsupported(f"There is no port {port}.", instrument=resource)
        with _held(f"{host.lower()}:{port}", resource) as let_go:
            return SocketLink(
                resource, host, port, clock=clock, timeout_s=timeout_s, on_close=let_go
            )
    if found := _SERIAL.fullmatch(text):
        from drivers.links.serial_link import SerialLink, serial_port

        name = serial_port(found["name"].removeprefix("::"), base)
        # A link by id and the device that it names are the same line.
        with _held(str(Path(name).resolve()), resource) as let_go:
            return SerialLink(resource, name, settings=settings, clock=clock, on_close=let_go)
    if _VISA.fullmatch(text):
        from drivers.links.visa_link import VisaLink

        with _held(text.upper(), resource) as let_go:
            return VisaLink(resource, settings=settings, timeout_s=timeout_s, on_close=let_go)
    raise LinkUnsupported(
        f"{resource!r} is no address of an instrument.",
        hint="write TCPIP::host::port::SOCKET, TCPIP::host::INSTR, ASRL/dev/ttyUSB0::INSTR "
        "or USB::maker::model::serial::INSTR.",
    )


def keeps_deadlines(resource: str) -> bool:
    """Whether every call on this kind of link, closing included, returns when it should."""
    return _SOCKET.fullmatch(resource.strip()) is not None


@contextmanager
def _held(key: str, resource: str) -> Iterator[Callable[[], None]]:
    """Hold a resource until opening it fails or the link calls what is yielded."""
    hold = ResourceHold(key, resource)
    try:
        yield hold.release
    except BaseException:
        hold.release()
        raise
