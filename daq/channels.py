"""The channels of the localizer: which frequencies there are.

ICAO Annex 10 Volume I gives the localizer the odd tenths of a megahertz from 108.1 to 111.9 MHz,
and the frequencies 50 kHz above them: forty channels from 108.10 to 111.95 MHz. Number and ends
were read in the FAA Aeronautical Information Manual, 1-1-9 b.1, and all forty pairs in its table
1-1-4.
"""

from __future__ import annotations

from typing import Final

from daq.errors import UnitError
from daq.units import parse_frequency_hz

CHANNELS_HZ: Final = tuple(
    108_100_000 + 200_000 * pair + step for pair in range(20) for step in (0, 50_000)
)
"""All forty, ascending."""

BANDS_HZ: Final = ((108e6, 112e6), (328.6e6, 335.4e6))
"""Where carriers of a localizer and of a glide path lie (Annex 10 Volume I, 3.1.3.2.1 and
3.1.5.2.1, from memory); the first ends at 111.975 MHz in the document."""

OFF_CHANNEL_HZ: Final = 1.0
"""A channel is an exact number; less than this is the rounding of one that was written in MHz."""


def check_channel(frequency_hz: float) -> float:
    """Return the frequency of a channel, Hz.

    Raises
    ------
    ValueError
        It is none; the message names its neighbours.
    """
    for channel_hz in CHANNELS_HZ:
        if abs(frequency_hz - channel_hz) < OFF_CHANNEL_HZ:
            return frequency_hz
    below = [channel for channel in CHANNELS_HZ if channel < frequency_hz]
    above = [channel for channel in CHANNELS_HZ if channel > frequency_hz]
    near = " and ".join(_mhz(c) for c in (*below[-1:], *above[:1]))
    neighbours = "its neighbours are" if below and above else "the nearest is"
    raise ValueError(
        f"{_mhz(frequency_hz)} MHz is no localizer channel: they are the odd tenths from 108.10 to "
        f"111.90 MHz, and those and 0.05 MHz; {neighbours} {near} MHz."
    )


def parse_carrier_hz(text: str) -> float:
    """Return the frequency of an ILS carrier, Hz, whether or not it is a channel.

    Raises
    ------
    UnitError
        It is no frequency, or no ILS carrier has it: kilohertz were written for megahertz.
    """
    frequency_hz = parse_frequency_hz(text)
    if any(low <= frequency_hz <= high for low, high in BANDS_HZ):
        return frequency_hz
    raise UnitError(
        f"{text.strip()!r} is no frequency of an ILS carrier: a localizer's lies between 108 and "
        "112 MHz, a glide path's between 328.6 and 335.4 MHz.",
        hint="write it like 109.35 MHz.",
    )


def _mhz(frequency_hz: float) -> str:
    text = f"{frequency_hz / 1e6:.6f}".rstrip("0")
    whole, _, part = text.partition(".")
    return f"{whole}.{part:0<2}"
