"""Where samples come from, as blocks: a sound file, a table, an array."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Protocol, TypeAlias

import numpy as np
import numpy.typing as npt

Samples: TypeAlias = npt.NDArray[np.float64] | npt.NDArray[np.complex128]
"""Shape (n,): detector output, or complex baseband."""

Progress: TypeAlias = Callable[[int, int | None], None]
"""Called with the samples done and, where known, all there are."""


class Source(Protocol):
    """A record that can be read block by block, each time from its beginning."""

    @property
    def rate_hz(self) -> float:
        """Samples per second."""

    @property
    def total(self) -> int | None:
        """Samples in the whole record; None where only reading it will tell."""

    def chunks(self, size: int) -> Iterator[Samples]:
        """Yield consecutive arrays of `size` samples; the last may be shorter."""


@dataclass(frozen=True, slots=True)
class ArraySource:
    """An array in memory, or one that is mapped from disk.

    Attributes
    ----------
    samples
        Shape (n,) real or complex, or (n, 2) real: I and Q.
    rate_hz
        Samples per second.
    """

    samples: npt.NDArray[np.generic]
    rate_hz: float

    @property
    def total(self) -> int:
        """See `Source`."""
        return len(self.samples)

    def chunks(self, size: int) -> Iterator[Samples]:
        """See `Source`."""
        for start in range(0, len(self.samples), size):
            yield as_samples(self.samples[start : start + size])


def as_samples(part: npt.NDArray[np.generic]) -> Samples:
    """Return `part` as float64 or complex128; two columns become I + iQ."""
    if part.ndim == 2:
        pair = np.ascontiguousarray(part, dtype=np.float64)
        return pair.view(np.complex128)[:, 0]
    if np.iscomplexobj(part):
        return np.asarray(part, dtype=np.complex128)
    return np.asarray(part, dtype=np.float64)


def blocks(source: Source, block_s: float) -> Iterator[tuple[int, Samples]]:
    """Yield blocks, each with the place of its first sample.

    A last piece shorter than half a block joins the block before it.

    Parameters
    ----------
    source
        The record.
    block_s
        Length of a block, s.
    """
    size = max(1, round(block_s * source.rate_hz))
    place = 0
    held: Samples | None = None
    for chunk in source.chunks(size):
        if held is not None and len(chunk) < size / 2:
            held = np.concatenate([held, chunk])
            continue
        if held is not None:
            yield place, held
            place += len(held)
        held = chunk
    if held is not None:
        yield place, held
