"""Files with two channels: I and Q of complex baseband, or two detectors of which one is meant.

Which it is the file does not say. Two detectors taken for I and Q give a DDM between theirs, so a
pair that looks like them is refused until somebody says what it is.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from daq.errors import SamplesError
from daq.samples.source import ArraySource, Samples, Source

Channels = Literal["", "1", "2", "iq"]
"""Which channels of a pair are meant: the first or second alone, both as I and Q, or not said."""

LOOKED_AT_S: Final = 2.0
STANDS_STILL_RAD: Final = 0.01
"""A receiver's I and Q turn by more than this from one second to the next: no two oscillators are
within two millihertz of each other at 100 MHz, unless one of them drives the other."""

HAS_DC: Final = 0.05
"""Of both together; less than this of DC is no detector."""


@dataclass(frozen=True, slots=True)
class OneChannel:
    """One channel of a pair.

    Attributes
    ----------
    pair
        Both, as I and Q.
    second
        Whether it is the second.
    """

    pair: Source
    second: bool

    @property
    def rate_hz(self) -> float:
        """See `daq.samples.source.Source`."""
        return self.pair.rate_hz

    @property
    def total(self) -> int | None:
        """See `daq.samples.source.Source`."""
        return self.pair.total

    def chunks(self, size: int) -> Iterator[Samples]:
        """See `daq.samples.source.Source`."""
        for chunk in self.pair.chunks(size):
            yield np.ascontiguousarray(chunk.imag if self.second else chunk.real)


def chosen(source: Source, channels: Channels, name: str) -> Source:
    """Return what is to be measured of a source.

    Parameters
    ----------
    source
        One channel or a pair.
    channels
        Which of them.
    name
        Of the file, for messages.

    Raises
    ------
    SamplesError
        One of two channels is asked for where there are not two, or two detectors were taken
        together.
    """
    first = next(source.chunks(max(2, round(LOOKED_AT_S * source.rate_hz))), np.zeros(0))
    is_pair = np.iscomplexobj(first) and not (
        isinstance(source, ArraySource) and source.samples.ndim == 1
    )
    if channels in ("1", "2"):
        if not is_pair:
            raise SamplesError(
                f"{name} has no two channels of which one could be taken.",
                hint="leave the channel out.",
            )
        return OneChannel(source, second=channels == "2")
    if channels == "iq" and not np.iscomplexobj(first):
        raise SamplesError(f"{name} has one channel: it is not I and Q.")
    if channels == "" and is_pair and _looks_like_detectors(first):
        raise SamplesError(
            f"{name} has two channels that look like two detectors: both hold DC, and as I and Q "
            "they would be a carrier that does not turn at all.",
            hint="say which detector is meant (--channel 1 or 2), or that it is I and Q (--iq).",
        )
    return source


def _looks_like_detectors(pair: Samples) -> bool:
    half = len(pair) // 2
    if half == 0 or not np.isfinite(pair).all():
        return False  # refused later, with the place
    early, late = complex(pair[:half].mean()), complex(pair[half:].mean())
    turned = abs(float(np.angle(late * early.conjugate())))
    least = min(abs(early.real), abs(early.imag))
    return turned < STANDS_STILL_RAD and least > HAS_DC * abs(early) > 0.0
