"""Find where a sinusoid is, well enough for the fit to take over."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from daq.samples.lowpass import Complexes, Floats

Reaches: TypeAlias = tuple[tuple[float, float], ...]
"""Frequencies, and how far from each to look, Hz."""


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


class Spectrum:
    """A residual's lines at every half of the inverse duration or a little closer, all of it seen.

    It is lengthened by zeros, some 7 per cent at most, where that makes the transform fast. To
    leave the last samples out instead would hide what is in them only: the beginning of a letter.

    Parameters
    ----------
    v
        Shape (m,).
    rate_hz
        Samples per second of `v`.
    """

    def __init__(self, v: Floats, rate_hz: float) -> None:
        size = _fast_size_above(len(v))
        self._count = len(v)
        self._bin_hz = rate_hz / (2 * size)
        self._lines = np.fft.rfft(v, 2 * size)
        self.duration_s = len(v) / rate_hz
        """Time that the samples span."""

    def variance_below(self, frequency_hz: float) -> float:
        """Return the variance of white noise that has the mean density up to `frequency_hz`."""
        inside = self._lines[1 : int(frequency_hz / self._bin_hz)]
        return float(np.vdot(inside, inside).real / len(inside) / self._count)

    def amplitude_at(self, frequency_hz: Floats) -> Floats:
        """Return the amplitude of the line next to each frequency, shape (j,).

        It reads 0.9 dB low at most.
        """
        place = np.rint(frequency_hz / self._bin_hz).astype(np.intp)
        return np.asarray(np.abs(self._lines[place]) * (2.0 / self._count))

    def loudest(self, reaches: Reaches) -> float:
        """Return the greatest amplitude that `strongest_near` would give at any of `reaches`."""
        return _loudest(self._lines, self._bin_hz, reaches) * 2.0 / self._count

    def strongest_near(self, nominal_hz: float, reach_hz: float) -> Peak:
        """Return the strongest line within `reach_hz` of `nominal_hz`.

        Right within a twentieth of the inverse of the duration when one line dominates there.
        """
        place, left, mid, right = _top(self._lines, self._bin_hz, nominal_hz, reach_hz)
        # Lines beside the strongest are about one inverse duration apart: their sizes are those of
        # 1 / (1/2 + x) and 1 / (1/2 - x), x being the way to the true peak in that unit.
        shift = (right - left) / (right + left) if right + left > 0.0 else 0.0
        return Peak((place + shift) * self._bin_hz, mid * 2.0 / self._count)


class WindowedSpectrum:
    """A record's lines through a Hann window, which keeps strong lines out of each other's way.

    Parameters
    ----------
    v
        Shape (m,); a few of the last samples, 4 per cent at most, are left out where that makes the
        transform fast.
    rate_hz
        Samples per second of `v`.
    """

    def __init__(self, v: Floats, rate_hz: float) -> None:
        self._size = _fast_size(len(v))
        self._bin_hz = rate_hz / self._size
        self._lines = np.fft.rfft(v[: self._size] * _hann(self._size))

    def loudest(self, reaches: Reaches) -> float:
        """Return the greatest amplitude that `strongest_near` would give at any of `reaches`."""
        return _loudest(self._lines, self._bin_hz, reaches) * 4.0 / self._size

    def strongest_near(self, nominal_hz: float, reach_hz: float) -> Peak:
        """Return the strongest line within `reach_hz` of `nominal_hz`.

        Its place is right within a thousandth of the inverse of the duration, or within noise; its
        amplitude reads up to 1.4 dB low.
        """
        place, left, mid, right = _top(self._lines, self._bin_hz, nominal_hz, reach_hz)
        # The window's transform, 1 / (x (1 - x^2)) but for a factor that neighbours share.
        ratio = max(left, right) / mid if mid > 0.0 else 0.5
        shift = (2.0 * ratio - 1.0) / (ratio + 1.0) * (1.0 if right > left else -1.0)
        return Peak((place + shift) * self._bin_hz, mid * 4.0 / self._size)

    def level(self, low_hz: float, high_hz: float) -> float:
        """Return the root mean square amplitude of the lines between two frequencies."""
        some = self._lines[int(low_hz / self._bin_hz) : int(high_hz / self._bin_hz) + 1]
        return float(np.sqrt(np.vdot(some, some).real / len(some))) * 4.0 / self._size

    def skirt(self, line: Peak, frequency_hz: float) -> float:
        """Return the most that `line` adds to the amplitude seen at another frequency."""
        away = abs(frequency_hz - line.frequency_hz) / self._bin_hz
        # |sin(pi x) / (pi x (1 - x^2))|; up to two lines away both are in one hump.
        return line.amplitude * (1.0 if away < 2.0 else 1.0 / (np.pi * away * (away**2 - 1.0)))


def _ends(bin_hz: float, nominal_hz: float, reach_hz: float) -> tuple[int, int]:
    """Return the first and the last line within `reach_hz` of `nominal_hz`."""
    first = max(int((nominal_hz - reach_hz) / bin_hz), 1)
    return first, int((nominal_hz + reach_hz) / bin_hz) + 1


def _loudest(lines: Complexes, bin_hz: float, reaches: Reaches) -> float:
    """Return the size of the largest line within `reaches`."""
    some = lines[_places(reaches, bin_hz)].view(np.float64)
    some *= some
    return float(np.sqrt((some[::2] + some[1::2]).max()))


@lru_cache(maxsize=64)
def _places(reaches: Reaches, bin_hz: float) -> npt.NDArray[np.intp]:
    """Return the places of all lines within `reaches`."""
    ends = [_ends(bin_hz, nominal_hz, reach_hz) for nominal_hz, reach_hz in reaches]
    places = np.concatenate([np.arange(first, last + 1) for first, last in ends])
    places.flags.writeable = False
    return places


def _top(
    lines: Complexes, bin_hz: float, nominal_hz: float, reach_hz: float
) -> tuple[int, float, float, float]:
    """Return the place of the largest line, and the sizes of the one before, itself, the next."""
    first, last = _ends(bin_hz, nominal_hz, reach_hz)
    near = np.abs(lines[first - 1 : last + 2])
    top = 1 + int(near[1:-1].argmax())
    return first - 1 + top, float(near[top - 1]), float(near[top]), float(near[top + 1])


@lru_cache(maxsize=4)
def _hann(size: int) -> Floats:
    window = 0.5 - 0.5 * np.cos(2.0 * np.pi / size * np.arange(size))
    window.flags.writeable = False
    return np.asarray(window)


@lru_cache(maxsize=64)
def _fast_size_above(least: int) -> int:
    """Return the smallest product of 2, 3 and 5 from `least` on."""
    odd: list[int] = [5**fives * 3**threes for fives in range(14) for threes in range(21)]
    return min(one << (-(-least // one) - 1).bit_length() for one in odd)


@lru_cache(maxsize=64)
def _fast_size(most: int) -> int:
    """Return the largest product of 2, 3 and 5 up to `most`."""
    best = 1
    for fives in range(14):
        for threes in range(21):
            rest = most // (5**fives * 3**threes)
            if rest:
                best = max(best, 5**fives * 3**threes << (rest.bit_length() - 1))
    return best
