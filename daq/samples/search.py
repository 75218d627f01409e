"""Find roughly where a sinusoid is, well enough for the fit to take over.

Around a nominal frequency the record is taken down to zero in short pieces; the transform over
the pieces is a fine spectrum of a few hertz only.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from daq.samples.lowpass import Complexes, Floats


@dataclass(frozen=True, slots=True)
class Peak:
    """The strongest line in a small part of the spectrum.

    Attributes
    ----------
    frequency_hz
        Where it is.
    amplitude
        Amplitude of a sinusoid that would give this line.
    """

    frequency_hz: float
    amplitude: float


def piece_phasors(v: Floats, rate_hz: float, frequency_hz: float, piece: int) -> Complexes:
    """Return the complex amplitude at `frequency_hz` of each `piece` samples, shape (k,).

    The phase runs on from piece to piece, so a sinusoid exactly at `frequency_hz` gives a
    constant. A remainder shorter than a piece is left out.
    """
    pieces = len(v) // piece
    w = -2j * np.pi * frequency_hz / rate_hz
    table = np.exp(w * np.arange(piece))
    parts = v[: pieces * piece].reshape(pieces, piece) @ table.view(np.float64).reshape(-1, 2)
    sums = parts.view(np.complex128)[:, 0]
    return np.asarray(sums * np.exp(w * piece * np.arange(pieces)) * (2.0 / piece))


def strongest_near(v: Floats, rate_hz: float, nominal_hz: float, reach_hz: float) -> Peak:
    """Return the strongest line within `reach_hz` of `nominal_hz`.

    Right within a twentieth of the inverse of the duration when one line dominates there.
    """
    piece = max(1, min(int(rate_hz / (8.0 * reach_hz)), len(v) // 8))
    parts = piece_phasors(v, rate_hz, nominal_hz, piece)
    size = 4 << (len(parts) - 1).bit_length()
    spectrum = np.abs(np.fft.fft(parts, size))
    bin_hz = rate_hz / piece / size
    reach = int(reach_hz / bin_hz) + 1
    near = np.concatenate([spectrum[-reach:], spectrum[: reach + 1]])
    top = int(np.argmax(near))
    shift = 0.0
    if 0 < top < len(near) - 1:
        left, mid, right = near[top - 1 : top + 2]
        shift = 0.5 * (left - right) / (left - 2.0 * mid + right)
    return Peak(nominal_hz + (top - reach + shift) * bin_hz, float(near[top]) / len(parts))


def amplitudes_at(v: Floats, rate_hz: float, frequency_hz: Floats) -> Floats:
    """Return the amplitude of `v` at each frequency, one by one, shape (j,).

    Two small matrix products, through pieces of about the square root of the length.
    """
    fine = max(1, int(np.sqrt(len(v))))
    pieces = len(v) // fine
    w = -2j * np.pi * np.asarray(frequency_hz) / rate_hz
    inner = v[: pieces * fine].reshape(pieces, fine) @ np.exp(np.multiply.outer(np.arange(fine), w))
    outer = np.exp(np.multiply.outer(np.arange(pieces) * fine, w))
    return np.asarray(np.abs((inner * outer).sum(axis=0)) * (2.0 / (pieces * fine)))
