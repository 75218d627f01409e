"""The localizer's waveforms as complex baseband around the mean of its two carriers.

A record is described by a `Timebase`; every waveform is computed from absolute time, so that two
instruments that look at the same moment see the same tones in the same phase.

CSB(t) = 1 + m s90 + m s150 (+ ident) and SBO(t) = s150 - s90, with s the sine of each tone;
amplitudes, RF phases and carrier offsets are put on by whoever sums them.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Collection
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final, Protocol

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]


_KEPT_SAMPLES: Final = 20_000


@lru_cache(maxsize=32)
def _kept_rotor(frequency_hz: float, rate_hz: float, n: int) -> ComplexArray:
    """Return `_rotor` from memory: studies ask for few shapes, hundreds of thousands of times."""
    return _rotor(frequency_hz, rate_hz, n)


def _rotor(frequency_hz: float, rate_hz: float, n: int) -> ComplexArray:
    """Return exp(j 2 pi f k / rate) for k in 0..n-1."""
    rotor: ComplexArray = np.exp(2j * math.pi * frequency_hz / rate_hz * np.arange(n))
    rotor.flags.writeable = False
    return rotor


@dataclass(frozen=True, slots=True)
class Timebase:
    """When the samples of one record are taken.

    Attributes
    ----------
    t0_s
        Plant time of the first sample, s.
    rate_hz
        Samples per second.
    n
        Number of samples.
    """

    t0_s: float
    rate_hz: float
    n: int

    def rotor(self, frequency_hz: float) -> ComplexArray:
        """Return exp(j 2 pi f t), shape ``(n,)``."""
        start = cmath.exp(2j * math.pi * math.fmod(frequency_hz * self.t0_s, 1.0))
        make = _kept_rotor if self.n <= _KEPT_SAMPLES else _rotor
        return make(frequency_hz, self.rate_hz, self.n) * start

    def sine(self, frequency_hz: float, phase_rad: float = 0.0) -> FloatArray:
        """Return sin(2 pi f t + phase), shape ``(n,)``."""
        turned = self.rotor(frequency_hz)
        if phase_rad:
            turned = turned * cmath.exp(1j * phase_rad)
        return turned.imag


class Keyer(Protocol):
    """Keys the ident."""

    def down(self, time: Timebase) -> FloatArray | float:
        """Return 1 where the key is down, 0 where it is up."""


@dataclass(frozen=True, slots=True)
class Modulation:
    """The modulator of one transmitter.

    Attributes
    ----------
    depth_90, depth_150
        Depth of modulation of each tone in CSB, ratio (nominally 0.20).
    tone_90_hz, tone_150_hz
        Tone frequencies, Hz.
    ident_depth
        Depth of the 1020 Hz ident tone, ratio; 0 for none.
    tone_phase_rad
        Phase of the 150 Hz tone at time zero.
    harmonic
        Second harmonic of each tone over the tone, ratio.
    keyer
        Keys the ident; None: the key is down.
    silent
        Tones that the modulator does not make: 90, 150, or both. Neither CSB nor SBO has them.
    tone_90_phase_rad
        Phase of the 90 Hz tone at time zero.
    third_harmonic
        Third harmonic of each tone over the tone, ratio.
    """

    depth_90: float = 0.20
    depth_150: float = 0.20
    tone_90_hz: float = 90.0
    tone_150_hz: float = 150.0
    ident_depth: float = 0.0
    tone_phase_rad: float = 0.0
    harmonic: float = 0.0
    keyer: Keyer | None = None
    silent: frozenset[int] = frozenset()
    tone_90_phase_rad: float = 0.0
    third_harmonic: float = 0.0

    def without(self, tones: Collection[int]) -> Modulation:
        """Return it with `tones` (90, 150) switched off."""
        return replace(
            self,
            depth_90=0.0 if 90 in tones else self.depth_90,
            depth_150=0.0 if 150 in tones else self.depth_150,
            silent=frozenset(tones),
        )

    def carrier(self, time: Timebase, csb: complex, sbo: complex) -> ComplexArray:
        """Return ``csb * CSB(t) + sbo * SBO(t)``, shape ``(n,)``.

        Parameters
        ----------
        time
            When to sample.
        csb, sbo
            Complex amplitudes C and S e^{j phi}; phi positive means that SBO leads.
        """
        s90 = self._tone(time, self.tone_90_hz, self.tone_90_phase_rad)
        s150 = self._tone(time, self.tone_150_hz, self.tone_phase_rad)
        on_90 = 0j if 90 in self.silent else complex(csb * self.depth_90 - sbo)
        on_150 = 0j if 150 in self.silent else complex(csb * self.depth_150 + sbo)
        wave: ComplexArray = complex(csb) + on_90 * s90 + on_150 * s150
        if self.ident_depth:
            key = 1.0 if self.keyer is None else self.keyer.down(time)
            wave = wave + csb * self.ident_depth * (key * time.sine(1020.0))
        return wave

    def _tone(self, time: Timebase, frequency_hz: float, phase_rad: float) -> FloatArray:
        tone = time.sine(frequency_hz, phase_rad)
        if self.harmonic:
            tone = tone + self.harmonic * time.sine(2 * frequency_hz, 2 * phase_rad)
        if self.third_harmonic:
            tone = tone + self.third_harmonic * time.sine(3 * frequency_hz, 3 * phase_rad)
        return tone
