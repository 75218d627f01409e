"""Ask a serial line who is there at the usual baud rates: a wrong rate gives garbage or nothing."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Final

from daq.clock import Clock
from daq.errors import BenchError, LinkTimeout
from daq.link import Link
from daq.scpi import decode_text
from daq.trial import BaudTrial
from drivers.deadline import Deadline
from drivers.links.open_link import open_link
from drivers.profile import Profile

RATES: Final = (9600, 4800, 19200, 38400, 57600, 115200, 2400, 1200)
"""Usual rates, the most usual first."""

_LISTEN_S: Final = 0.5
_ENOUGH: Final = 4096


def probe_baud_rates(
    profile: Profile, resource: str, *, clock: Clock, base: Path, listen_s: float = _LISTEN_S
) -> tuple[BaudTrial, ...]:
    """Try each rate until the identification fits; return what each of them gave.

    Parameters
    ----------
    profile
        Gives the identification and the terminators.
    resource, base
        The serial line.
    listen_s
        How long to listen at each rate, seconds.

    Raises
    ------
    LinkRefused
        The port cannot be opened at all.
    """
    trials: list[BaudTrial] = []
    for rate in RATES:
        settings = replace(profile.link.link_settings(), baud_rate=rate)
        link = open_link(resource, settings=settings, clock=clock, base=base, timeout_s=listen_s)
        try:
            heard = _listen(link, profile, Deadline(clock, listen_s))
        finally:
            link.close()
        trials.append(_judged(rate, heard, profile))
        if trials[-1].fits:
            break
    return tuple(trials)


def _listen(link: Link, profile: Profile, deadline: Deadline) -> bytes:
    wire = profile.link.message_format()
    heard = bytearray()
    try:
        if profile.identification.query:
            command = profile.identification.query.encode(wire.encoding, "replace")
            link.write(command + wire.write_terminator, deadline.remaining_s)
        while not deadline.passed and len(heard) < _ENOUGH:
            heard += link.read(deadline.remaining_s).data
            if wire.read_terminator in heard:
                break
    except LinkTimeout:
        pass  # what came until now is what this rate gives
    except BenchError:
        heard.clear()
    return bytes(heard)


def _judged(rate: int, heard: bytes, profile: Profile) -> BaudTrial:
    printable = sum(32 <= byte < 127 or byte in b"\r\n\t" for byte in heard)
    line = heard.split(profile.link.message_format().read_terminator)[0]
    fits = re.fullmatch(profile.identification.answer, decode_text(line)) is not None
    return BaudTrial(rate, len(heard), printable / len(heard) if heard else 0.0, fits)
