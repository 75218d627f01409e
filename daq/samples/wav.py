"""Sound files: RIFF WAVE with PCM of 8 to 32 bits or floating point, read in pieces.

Layout by the Multimedia Programming Interface and Data Specifications 1.0 (IBM and Microsoft,
1991) and the later extensible format; from memory. The standard library's reader knows neither
floating point nor the extensible format in Python 3.11, so the few chunks needed are read here.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, Final

import numpy as np
import numpy.typing as npt

from daq.errors import SamplesError
from daq.samples.source import Samples, as_samples

_PCM: Final = 1
_FLOAT: Final = 3
_EXTENSIBLE: Final = 0xFFFE
_LAYOUTS: Final = frozenset(
    [*((_PCM, bits) for bits in (8, 16, 24, 32)), *((_FLOAT, bits) for bits in (32, 64))]
)


@dataclass(frozen=True, slots=True)
class WavSource:
    """An opened sound file: one channel is detector output, two are I and Q.

    Integer samples are scaled so that full scale is 1.

    Attributes
    ----------
    path
        The file.
    rate_hz
        Samples per second.
    channels
        1 or 2.
    kind, bits
        Format tag (1 integer, 3 floating point) and bits a sample.
    start, total
        Place of the first sample in the file, bytes; number of samples a channel.
    """

    path: Path
    rate_hz: float
    channels: int
    kind: int
    bits: int
    start: int
    total: int

    def chunks(self, size: int) -> Iterator[Samples]:
        """See `daq.samples.source.Source`."""
        frame = self.channels * self.bits // 8
        with self.path.open("rb") as file:
            file.seek(self.start)
            left = self.total
            while left > 0:
                data = file.read(min(size, left) * frame)
                if len(data) < min(size, left) * frame:
                    raise SamplesError(f"{self.path.name} became shorter while it was read.")
                left -= len(data) // frame
                flat = _decode(data, self.kind, self.bits)
                yield as_samples(flat.reshape(-1, 2) if self.channels == 2 else flat)


def open_wav(path: Path) -> WavSource:
    """Read a sound file's head.

    Raises
    ------
    SamplesError
        If it is no sound file, is cut off, or holds what cannot be measured.
    """
    with path.open("rb") as file:
        head = file.read(12)
        if len(head) < 12 or head[:4] != b"RIFF" or head[8:] != b"WAVE":
            raise SamplesError(
                f"{path.name} is not a sound file: it begins with {head[:4]!r}, not 'RIFF'.",
                hint="give WAV, CSV of time and volts, or .npy with a rate.",
            )
        form: bytes | None = None
        for name, size in _walk(file, path):
            if name == b"fmt ":
                form = file.read(size)
            elif name == b"data":
                return _source(path, form, file.tell(), size)
    raise SamplesError(
        f"{path.name} holds no sample data: it is cut off, or a part before them gives a wrong"
        " length.",
        hint="copy it again, or save it once more with another program.",
    )


def _walk(file: BinaryIO, path: Path) -> Iterator[tuple[bytes, int]]:
    """Yield name and size of each chunk, the file standing at its content."""
    while True:
        head = file.read(8)
        if not head:
            return
        if len(head) < 8:
            raise SamplesError(f"{path.name} is cut off inside its head.", hint="copy it again.")
        name, size = struct.unpack("<4sI", head)
        place = file.tell()
        yield name, size
        file.seek(place + size + size % 2)


def _source(path: Path, form: bytes | None, start: int, size: int) -> WavSource:
    """Check the format chunk against what is supported and what the file really holds."""
    if form is None or len(form) < 16:
        raise SamplesError(f"{path.name} does not say how its samples are written.")
    kind, channels, rate, _, frame, bits = struct.unpack("<HHIIHH", form[:16])
    if kind == _EXTENSIBLE and len(form) >= 26:
        kind = struct.unpack("<H", form[24:26])[0]
    if (kind, bits) not in _LAYOUTS:
        raise SamplesError(
            f"{path.name} holds samples of format {kind} with {bits} bits, which cannot be read.",
            hint="save as PCM of 16, 24 or 32 bits, or as floating point.",
        )
    if channels not in (1, 2):
        raise SamplesError(
            f"{path.name} has {channels} channels; one is detector output, two are I and Q.",
            hint="save the detector's channel alone.",
        )
    if frame != channels * bits // 8:
        raise SamplesError(f"{path.name} contradicts itself: {frame} bytes for a frame.")
    there = path.stat().st_size - start
    if size == 0 and there > 0:
        raise SamplesError(
            f"{path.name} was not finished: its head promises no samples, {there} bytes follow.",
            hint="close the recorder before copying, or save it once more from there.",
        )
    if there < size:
        raise SamplesError(
            f"{path.name} is cut off: its head promises {size / frame / max(rate, 1):.4g} s of"
            f" samples, {there / frame / max(rate, 1):.4g} s are there.",
            hint="copy it again, or close the recorder before copying.",
        )
    return WavSource(path, float(rate), channels, kind, bits, start, size // frame)


def _decode(data: bytes, kind: int, bits: int) -> npt.NDArray[np.float64]:
    """Return samples as float64, integers scaled to full scale 1."""
    if kind == _FLOAT:
        return np.frombuffer(data, dtype=f"<f{bits // 8}").astype(np.float64)
    if bits == 8:
        # The one unsigned width: its zero is at 128.
        return (np.frombuffer(data, dtype=np.uint8).astype(np.float64) - 128.0) / 128.0
    if bits == 24:
        wide = np.zeros((len(data) // 3, 4), dtype=np.uint8)
        wide[:, 1:] = np.frombuffer(data, dtype=np.uint8).reshape(-1, 3)
        return wide.view("<i4")[:, 0] / 2.0**31
    return np.frombuffer(data, dtype=f"<i{bits // 8}") / 2.0 ** (bits - 1)
