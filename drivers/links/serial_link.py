"""A serial line as a link: ``ASRL<port>::INSTR``.

Through pyserial itself, because pyvisa-py 0.8.1 reads byte by byte and opens ports that another
program holds. Every error pyserial lets through is mapped here, those of `termios` included.
"""

from __future__ import annotations

import contextlib
import errno
from collections.abc import Callable
from pathlib import Path
from typing import Final

import serial

from daq.clock import Clock
from daq.errors import LinkError, LinkLost, LinkRefused, LinkTimeout
from daq.link import Chunk
from drivers.deadline import Deadline
from drivers.links.drain import drain
from drivers.links.hold import no_hold, who_has_open
from drivers.links.settings import LinkSettings

try:
    from termios import error as _TermiosError  # noqa: N812 - it is a class, badly named
except ImportError:  # pragma: no cover - not POSIX, where OSError says it all
    _TermiosError = OSError  # type: ignore[misc,assignment]  # same use, wider class

_FAULTS: Final = (serial.SerialException, OSError, _TermiosError)
_PARITIES: Final = {
    "none": serial.PARITY_NONE,
    "even": serial.PARITY_EVEN,
    "odd": serial.PARITY_ODD,
}
_QUIET_S: Final = 0.05


class SerialLink:
    """An open serial port, held exclusively.

    Parameters
    ----------
    resource
        The resource string, for messages.
    port
        Device name or path; resolved at each opening, so a link by id survives replugging.
    settings
        Baud rate, framing and modem lines.
    clock
        For deadlines.
    on_close
        Called when the link is closed.

    Raises
    ------
    LinkRefused
        There is no such port, it may not be used, or another program holds it.
    """

    marks_end = False

    def __init__(
        self,
        resource: str,
        port: str,
        *,
        settings: LinkSettings,
        clock: Clock,
        on_close: Callable[[], None] = no_hold,
    ) -> None:
        self.resource = resource
        self._on_close = on_close
        self._clock = clock
        self._port = serial.Serial()
        self._port.port = port
        self._port.baudrate = settings.baud_rate
        self._port.bytesize = settings.data_bits
        self._port.parity = _PARITIES[settings.parity]
        self._port.stopbits = settings.stop_bits
        self._port.exclusive = True
        # Set before opening: setting a line later makes the pulse that restarts some devices.
        if settings.dtr is not None:
            self._port.dtr = settings.dtr
        if settings.rts is not None:
            self._port.rts = settings.rts
        try:
            self._port.open()
        except _FAULTS as exc:
            self.close()
            raise _refused(resource, port, exc) from exc
        if settings.low_latency:
            with contextlib.suppress(*_FAULTS, NotImplementedError, AttributeError):
                self._port.set_low_latency_mode(True)
        clock.sleep(settings.settle_s)

    def write(self, data: bytes, timeout_s: float) -> None:
        """See `Link`."""
        try:
            self._port.write_timeout = max(timeout_s, 1e-6)  # zero would mean "do not wait"
            self._port.write(data)
        except serial.SerialTimeoutException as exc:
            raise LinkTimeout(
                f"The line did not take {len(data)} bytes within {timeout_s:g} s.",
                instrument=self.resource,
                sent=data,
                hint="check the handshake setting of the instrument.",
            ) from exc
        except _FAULTS as exc:
            raise self._lost(exc) from exc

    def read(self, timeout_s: float) -> Chunk:
        """See `Link`."""
        try:
            self._port.timeout = max(0.0, timeout_s)
            data = self._port.read(1)
            if data and (waiting := self._port.in_waiting):
                data += self._port.read(waiting)
        except _FAULTS as exc:
            raise self._lost(exc) from exc
        if not data:
            raise LinkTimeout(f"Nothing arrived within {timeout_s:g} s.", instrument=self.resource)
        return Chunk(bytes(data))

    def clear(self, timeout_s: float) -> None:
        """Drain until quiet: a serial line has no device clear."""
        drain(self, Deadline(self._clock, timeout_s), quiet_s=_QUIET_S)

    def close(self) -> None:
        """See `Link`."""
        with contextlib.suppress(*_FAULTS):
            self._port.close()
        self._on_close()

    def _lost(self, cause: Exception) -> LinkError:
        return LinkLost(
            f"The serial line is gone ({cause}).",
            instrument=self.resource,
            hint="check the plug, the adapter and the instrument's power.",
        )


def serial_port(name: str, base: Path) -> str:
    """Return the device that ``ASRL<name>`` means.

    A number is COM<n> as in the VISA standard, a relative path begins at `base`, anything else is
    the system's name of a port.
    """
    if name.isdigit():
        return f"COM{name}"
    path = Path(name)
    if name.startswith(".") or (len(path.parts) > 1 and not path.is_absolute()):
        return str(base / path)
    return name


def _refused(resource: str, port: str, cause: Exception) -> LinkError:
    number = getattr(cause, "errno", None)
    text = str(cause)
    if number == errno.ENOENT or (number is None and not Path(port).exists()):
        message = f"There is no serial port {port}."
        hint = "plug the adapter in; see which ports there are with: trimbench instruments."
    elif number in (errno.EACCES, errno.EPERM):
        message = f"The serial port {port} may not be used by this account."
        hint = "join the group that owns it (dialout on Debian) and log in again."
    elif number in (errno.EAGAIN, errno.EBUSY) or "lock" in text:
        holder = who_has_open(port)
        named = f": {holder}" if holder else ""
        message = f"Another program holds the serial port {port}{named}."
        hint = "close it." if holder else f"close it; to see who it is: fuser {port}"
    else:
        message, hint = f"The serial port {port} cannot be opened ({text}).", ""
    return LinkRefused(message, instrument=resource, hint=hint)
