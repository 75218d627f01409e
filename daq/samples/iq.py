"""Complex baseband: the carriers in it, and the envelope that a receiver would detect.

The envelope is that of the sum of all carriers; the low-pass after detection then does what a
receiver does with the beat, so capture comes out by itself.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from daq.errors import SamplesError
from daq.samples.lowpass import Complexes, Floats
from daq.samples.model import Estimate

_SIDEBANDS_HZ: Final = 2200.0
"""Nothing closer to a carrier than twice the ident's reach is another carrier."""

_FAR_BELOW: Final = 3.0
_CLEAR_OF_FLOOR: Final = 5.0


@dataclass(frozen=True, slots=True)
class Carriers:
    """The carriers of a record.

    Attributes
    ----------
    offset_hz
        Of the strongest, from the centre of the band.
    second_hz, ratio
        The other one and its amplitude over the strongest's; None if there is none.
    noise_v
        Standard deviation of the noise of either component, from the floor between the lines.
    """

    offset_hz: Estimate
    second_hz: Estimate | None
    ratio: Estimate | None
    noise_v: float


def find_carriers(z: Complexes, rate_hz: float) -> Carriers:
    """Return the carriers of complex baseband `z`, shape (n,).

    Raises
    ------
    SamplesError
        If no line stands out.
    """
    window = np.hanning(len(z))
    spectrum = np.abs(np.fft.fft(z * window)) * (2.0 / len(z))
    axis_hz = np.fft.fftfreq(len(z), 1.0 / rate_hz)
    # Squared noise lines are exponentially distributed: their mean is the median over ln 2.
    noise = float(np.sqrt(np.median(spectrum**2) / np.log(2.0)))
    first = int(np.argmax(spectrum))
    if spectrum[first] < _CLEAR_OF_FLOOR * noise:
        raise SamplesError(
            "No carrier stands out of the noise in the complex record.",
            hint="check the tuning and the level of the receiver that made it.",
        )
    level = float(spectrum[first])
    # A Hann window's mean square is 3/8, and a line of the spectrum holds both components.
    noise_v = noise * float(np.sqrt(len(z) / 3.0))
    offset = _refine(z, rate_hz, float(axis_hz[first]), noise / level)
    apart = np.abs(axis_hz - axis_hz[first])
    others = np.where(np.minimum(apart, rate_hz - apart) > _SIDEBANDS_HZ, spectrum, 0.0)
    second = int(np.argmax(others))
    chance = np.sqrt(np.log(len(z)))
    if others[second] < (_CLEAR_OF_FLOOR + chance) * noise:
        return Carriers(offset, None, None, noise_v)
    second_hz = _refine(z, rate_hz, float(axis_hz[second]), noise / float(others[second]))
    levels = [_level(z, window, rate_hz, hz.value) for hz in (offset, second_hz)]
    u = noise / np.sqrt(2.0) / levels[0] * np.hypot(1.0, levels[1] / levels[0])
    return Carriers(offset, second_hz, Estimate(levels[1] / levels[0], float(u)), noise_v)


def detect(z: Complexes, noise_v: float) -> Floats:
    """Return the envelope of `z` without the lift that noise gives it, shape (n,).

    Noise across the carrier of amplitude A adds noise_v^2 / (2 A) to the mean of the envelope, for
    noise far below A (S. O. Rice, Mathematical Analysis of Random Noise, 1945, from memory); left
    in, it would lift the mean and take from the depths.
    """
    v = np.abs(z)
    if noise_v == 0.0:
        return np.asarray(v)
    return np.asarray(v - noise_v**2 / (2.0 * np.maximum(v, _FAR_BELOW * noise_v)))


def _level(z: Complexes, window: Floats, rate_hz: float, frequency_hz: float) -> float:
    """Amplitude of the line at `frequency_hz`; the window keeps its neighbours out."""
    turn = np.exp(-2j * np.pi * frequency_hz / rate_hz * np.arange(len(z)))
    return float(abs(np.dot(z * window, turn)) / window.sum())


def _refine(z: Complexes, rate_hz: float, near_hz: float, noise_ratio: float) -> Estimate:
    """Refine a line's frequency by the phase it gains from one half of the record to the other.

    `noise_ratio` is the noise in one bin of the whole record over the line's amplitude.
    """
    half = len(z) // 2
    window = np.hanning(half)
    turn = np.exp(-2j * np.pi * near_hz / rate_hz * np.arange(2 * half))
    down = z[: 2 * half] * turn
    early, late = np.dot(down[:half], window), np.dot(down[half:], window)
    gained = float(np.angle(late * np.conj(early)))
    between_s = half / rate_hz
    # Two phases, each from half the record: variance noise_ratio^2 (2 / 2) of each.
    u = np.sqrt(2.0) * noise_ratio / (2.0 * np.pi * between_s)
    return Estimate(near_hz + gained / (2.0 * np.pi * between_s), float(u))
