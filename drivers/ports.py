"""List the serial ports of this computer, under names that stay with the adapter."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from serial.tools import list_ports

from daq.ports import SerialPort
from drivers.links.hold import who_has_open

_BY_ID: Final = Path("/dev/serial/by-id")


def serial_ports(by_id: Path = _BY_ID) -> tuple[SerialPort, ...]:
    """Return the ports, in order of their names.

    Parameters
    ----------
    by_id
        Folder of the links that the system keeps by the adapters' serial numbers.
    """
    stable = _links(by_id)
    return tuple(
        SerialPort(
            device=found.device,
            stable=stable.get(str(Path(found.device).resolve()), ""),
            description="" if found.description in (None, "n/a") else found.description,
            holder=who_has_open(found.device),
        )
        for found in sorted(list_ports.comports())
    )


def _links(by_id: Path) -> dict[str, str]:
    try:
        return {str(link.resolve()): str(link) for link in sorted(by_id.iterdir())}
    except OSError:
        return {}
