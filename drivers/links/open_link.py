"""Choose the way to an instrument by its resource string."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Final

from daq.clock import Clock
from daq.errors import LinkUnsupported
from daq.link import Link
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
        return SocketLink(resource, host, port, clock=clock, timeout_s=timeout_s)
    if found := _SERIAL.fullmatch(text):
        from drivers.links.serial_link import SerialLink, serial_port

        name = serial_port(found["name"].removeprefix("::"), base)
        return SerialLink(resource, name, settings=settings, clock=clock)
    if _VISA.fullmatch(text):
        from drivers.links.visa_link import VisaLink

        return VisaLink(resource, settings=settings, timeout_s=timeout_s)
    raise LinkUnsupported(
        f"{resource!r} is no address of an instrument.",
        hint="write TCPIP::host::port::SOCKET, TCPIP::host::INSTR, ASRL/dev/ttyUSB0::INSTR "
        "or USB::maker::model::serial::INSTR.",
    )
