"""Links through a VISA library: VXI-11, HiSLIP, USBTMC, GPIB, whatever the library offers.

What pyvisa and pyvisa-py raise is mapped in one place. Calls that hang in pyvisa-py 0.8.1 (opening
a mute port, closing a dead VXI-11 session) are made in the background and left behind at a limit.
"""

from __future__ import annotations

import contextlib
import socket
from collections.abc import Callable
from concurrent.futures import Future
from concurrent.futures import TimeoutError as FutureTimeout
from threading import Event
from typing import TYPE_CHECKING, Final

from daq.errors import BenchError, LinkError, LinkLost, LinkRefused, LinkTimeout, LinkUnsupported
from daq.link import Chunk
from drivers.links.background import start
from drivers.links.hold import no_hold
from drivers.links.settings import LinkSettings

if TYPE_CHECKING:
    from pyvisa.errors import VisaIOError
    from pyvisa.resources import MessageBasedResource

# pyvisa-py 0.8.1 loses VXI-11 answers whose length is a multiple of the chunk: far above any.
_CHUNK_BYTES: Final = 16 * 1024 * 1024
_CLOSE_LIMIT_S: Final = 1.0
_LOCK_RETRY_S: Final = 0.05


class VisaLink:
    """An open VISA session.

    Parameters
    ----------
    resource
        VISA resource string.
    settings
        Which library to load.
    timeout_s
        Limit of opening, seconds.
    on_close
        Called when the link is closed.

    Raises
    ------
    LinkRefused, LinkTimeout, LinkUnsupported
        Nobody there or locked; no answer in time; the library cannot do this kind of link.
    """

    marks_end = True

    def __init__(
        self,
        resource: str,
        *,
        settings: LinkSettings,
        timeout_s: float,
        on_close: Callable[[], None] = no_hold,
    ) -> None:
        self.resource = resource
        self._on_close = on_close
        opening = start(lambda: _open(resource, settings, timeout_s), f"open {resource}")
        try:
            self._session = opening.result(timeout_s + settings.lock_timeout_s)
        except FutureTimeout as exc:
            # When the library comes back after all, nobody wants the session any more.
            opening.add_done_callback(_close_late)
            del opening  # else this error's traceback would keep it, and its socket, alive
            raise LinkTimeout(
                f"The instrument did not answer within {timeout_s:g} s of opening.",
                instrument=resource,
                hint="check that the port belongs to an instrument, and restart the instrument.",
            ) from exc
        except Exception as exc:
            raise map_visa_error(exc, resource) from exc

    def write(self, data: bytes, timeout_s: float) -> None:
        """See `Link`."""
        try:
            self._set_timeout(timeout_s)
            self._session.write_raw(data)
        except Exception as exc:
            raise map_visa_error(exc, self.resource) from exc

    def read(self, timeout_s: float) -> Chunk:
        """See `Link`."""
        from pyvisa.constants import StatusCode

        try:
            self._set_timeout(timeout_s)
            with self._session.ignore_warning(StatusCode.success_max_count_read):
                data, status = self._session.visalib.read(self._session.session, _CHUNK_BYTES)
        except Exception as exc:
            raise map_visa_error(exc, self.resource) from exc
        end = status != StatusCode.success_max_count_read
        if not data:
            # HiSLIP in pyvisa-py 0.8.1 returns nothing at once, also after the link dropped.
            raise LinkTimeout(
                "The library returned an empty answer.",
                instrument=self.resource,
                hint="the instrument had nothing to say, or the link has dropped.",
            )
        return Chunk(bytes(data), end)

    def clear(self, timeout_s: float) -> None:
        """Send a device clear."""
        try:
            self._set_timeout(timeout_s)
            self._session.clear()
        except Exception as exc:
            raise map_visa_error(exc, self.resource) from exc

    def close(self) -> None:
        """See `Link`."""
        closing = start(lambda: _close(self._session), f"close {self.resource}")
        with contextlib.suppress(Exception):
            closing.result(_CLOSE_LIMIT_S)
        self._on_close()

    def _set_timeout(self, timeout_s: float) -> None:
        self._session.timeout = max(1.0, timeout_s * 1000.0)  # pyvisa counts milliseconds


def _open(resource: str, settings: LinkSettings, timeout_s: float) -> MessageBasedResource:
    import pyvisa
    from pyvisa.resources import MessageBasedResource as Wanted

    # The manager is one shared object per library inside pyvisa: closing it would end the
    # sessions of every instrument, so it is left to the end of the process.
    manager = pyvisa.ResourceManager(settings.visa_library)
    session = manager.open_resource(
        resource,
        open_timeout=max(1, round(timeout_s * 1000.0)),
        chunk_size=_CHUNK_BYTES,
    )
    if not isinstance(session, Wanted):
        session.close()
        raise LinkUnsupported(
            "This resource does not exchange messages.",
            instrument=resource,
            hint="use the ::INSTR or ::SOCKET form of the address.",
        )
    session.read_termination = None
    _set_lock(session, settings)
    return session


def _set_lock(session: MessageBasedResource, settings: LinkSettings) -> None:
    """Lock the instrument if that is wanted, and wait for one that is locked as long as is said."""
    from pyvisa.constants import StatusCode
    from pyvisa.errors import VisaIOError

    # pyvisa-py 0.8.1 waits a fixed 10 s in every VXI-11 call and offers no public setting.
    inner = getattr(session.visalib, "sessions", {}).get(session.session)
    if inner is not None and hasattr(inner, "lock_timeout"):
        inner.lock_timeout = round(settings.lock_timeout_s * 1000.0)
    if not settings.lock:
        return
    # Nor does it ask the instrument to wait for the lock: it is tried again and again instead.
    tries = 1 + round(settings.lock_timeout_s / _LOCK_RETRY_S)
    for left in reversed(range(tries)):
        try:
            session.lock_excl()
        except VisaIOError as exc:
            if not left or exc.error_code != StatusCode.error_resource_locked:
                _close(session)
                raise
            Event().wait(_LOCK_RETRY_S)
        else:
            return


def _close(session: MessageBasedResource) -> None:
    sessions = getattr(session.visalib, "sessions", None)
    handle = session.session
    inner = sessions.get(handle) if isinstance(sessions, dict) else None
    try:
        session.close()
    finally:
        # pyvisa-py 0.8.1 keeps an entry per closed session, and the sockets of one that it could
        # not take leave of because the far end is gone: weeks of reconnecting add up.
        if isinstance(sessions, dict):
            sessions.pop(handle, None)
        _close_sockets(getattr(inner, "interface", None))


def _close_sockets(interface: object) -> None:
    for part in getattr(interface, "__dict__", {}).values():
        if isinstance(part, socket.socket):
            part.close()


def _close_late(opening: Future[MessageBasedResource]) -> None:
    with contextlib.suppress(Exception):
        _close(opening.result())


def map_visa_error(error: Exception, resource: str) -> BenchError:
    """Return our error for anything that pyvisa, pyvisa-py or what is below them raised."""
    from pyvisa.errors import LibraryError, VisaIOError

    if isinstance(error, BenchError):
        return error
    if isinstance(error, VisaIOError):
        text = f"{error.abbreviation}: {error.description}".rstrip(".")
        kind = next((k for k, names in _BY_CODE.items() if _has_code(error, names)), LinkLost)
    else:
        text = str(error) or type(error).__name__
        kind = next((k for k, types in _BY_TYPE if isinstance(error, types)), LinkLost)
        if "creating link" in text:  # pyvisa-py's bare Exception for VXI-11's error numbers
            kind = LinkRefused
        if isinstance(error, LibraryError):  # an OSError that is no lost link
            kind = LinkUnsupported
    what, hint = _WORDS[kind]
    said = " ".join(text.split())
    return kind(f"{what} ({said}).", instrument=resource, hint=hint)


def _has_code(error: VisaIOError, names: tuple[str, ...]) -> bool:
    from pyvisa.constants import StatusCode

    return any(error.error_code == StatusCode[name] for name in names)


_BY_CODE: Final[dict[type[LinkError], tuple[str, ...]]] = {
    LinkTimeout: ("error_timeout",),
    LinkRefused: (
        "error_resource_busy",
        "error_resource_locked",
        "error_resource_not_found",
        "error_invalid_resource_name",
    ),
    LinkUnsupported: (
        "error_nonsupported_operation",
        "error_nonsupported_attribute",
        "error_library_not_found",
    ),
}
_BY_TYPE: Final[tuple[tuple[type[LinkError], tuple[type[Exception], ...]], ...]] = (
    (LinkTimeout, (TimeoutError,)),
    (LinkRefused, (ConnectionRefusedError,)),
    (LinkUnsupported, (NotImplementedError, AttributeError, ImportError, ValueError)),
)
_WORDS: Final[dict[type[LinkError], tuple[str, str]]] = {
    LinkTimeout: ("No answer in time", "check that the instrument is on and not busy."),
    LinkRefused: (
        "The instrument is not there, or somebody else holds it",
        "check the address and the power; close other programs that use it.",
    ),
    LinkUnsupported: (
        "The VISA library cannot do this",
        "see what the library lacks with: pyvisa-info",
    ),
    LinkLost: ("The link is gone", "check the cable and the instrument's power."),
}
