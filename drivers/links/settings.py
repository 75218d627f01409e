"""What a link needs to know besides its resource string."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Parity = Literal["none", "even", "odd"]


@dataclass(frozen=True, slots=True)
class LinkSettings:
    """How to open a link; each kind of link looks at what concerns it.

    Attributes
    ----------
    baud_rate, data_bits, parity, stop_bits
        Of a serial line.
    dtr, rts
        Level of the modem lines from the moment of opening; None leaves them to the system. Some
        instruments restart when one of them moves.
    low_latency
        Ask a USB serial adapter not to hold bytes back.
    settle_s
        Wait after opening, seconds, for an instrument that restarts then.
    lock
        Lock the instrument for this program, where the link can (VXI-11).
    lock_timeout_s
        How long, seconds, to wait for an instrument that another client has locked (VXI-11).
    visa_library
        What pyvisa is to load for links that go through it: ``@py``, or the path of a library.
    """

    baud_rate: int = 9600
    data_bits: Literal[5, 6, 7, 8] = 8
    parity: Parity = "none"
    stop_bits: Literal[1, 2] = 1
    dtr: bool | None = None
    rts: bool | None = None
    low_latency: bool = False
    settle_s: float = 0.0
    lock: bool = False
    lock_timeout_s: float = 0.0
    visa_library: str = "@py"
