"""The tones of two carriers in one detector's record, on one time base.

A linear detector that sees both carriers, of amplitudes a > b and f apart, gives the envelope
v = |a + b exp(j 2 pi f t)|. Its square has two parts that do not overlap: a^2 + b^2 near zero and
2 a b cos(2 pi f t) at the beat. Their sum and difference are (a + b)^2 and (a - b)^2, so that a(t)
and b(t) both follow, exactly, and with them the phase of each tone on either carrier at the same
moment. Two records taken one after the other could not tell that.

The one condition is a > b at every moment: the weaker carrier goes into the detector some 6 dB
lower (or the stronger is so by itself). Which of the two is the stronger one has to be known.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from daq.errors import SamplesError
from daq.samples.analyze import analyze_samples
from daq.samples.lowpass import Complexes, Floats, to_baseband
from daq.samples.model import Analysis, Estimate
from daq.samples.tone_lines import envelope_lines, fit_lines

WIDEST_BEAT_HZ: Final = 14_000.0
"""Carriers are 5 to 14 kHz apart (ICAO Annex 10, volume I, 3.1.3.2.1, from memory)."""

LEAST_BEAT_HZ: Final = 3000.0
"""Nearer to zero the low-pass does not part the beat's sidebands from the tones."""

SIDEBANDS_HZ: Final = 1200.0
"""Modulation beside the beat, the ident's included."""

LEAST_RATE_HZ: Final = 2.0 * (WIDEST_BEAT_HZ + SIDEBANDS_HZ)
"""A slower record folds the beat to where it is taken for another one."""

DELAY_U_S: Final = 2e-6
"""Standard uncertainty of the delay of the beat's modulation against that near zero, in a detector
and an input that carry some 40 kHz (common practice, no source)."""

ROLL_OFF_U: Final = 0.03
"""Standard uncertainty of the gain at the beat over that near zero, likewise."""

_LEAK: Final = 0.25
"""Part of a difference of phase that is lost for each part of that gain: some of one carrier's
tones is taken for the other's. By simulation of a pole after the detector, carriers 6 dB apart."""

_CLEAR: Final = 20.0
_NEAR_ZERO: Final = 0.01
"""Least of (a - b)^2 over the mean of a^2 + b^2: below, noise folds and so may the difference."""


@dataclass(frozen=True, slots=True)
class CarrierTones:
    """Tones of the weaker carrier against those of the stronger one, in the middle of a record.

    Attributes
    ----------
    phase_90_deg, phase_150_deg
        Phase by which the weaker carrier's tone leads, degrees of that tone, -180 to 180.
    beat_hz
        Distance of the carriers.
    ratio
        Mean amplitude of the weaker carrier over the stronger one's.
    slip_hz
        How much faster the weaker carrier's tones are: of 90 and of 150 Hz, Hz. Where a slip is
        more than its uncertainty the modulators are not locked and the phase is that of a moment.
    """

    phase_90_deg: Estimate
    phase_150_deg: Estimate
    beat_hz: float
    ratio: float
    slip_hz: tuple[Estimate, Estimate]

    @property
    def locked(self) -> bool:
        """Whether neither tone is seen to slip (k = 3)."""
        return all(abs(one.value) <= 3.0 * one.u for one in self.slip_hz)


def compare_carriers(samples_v: Floats, rate_hz: float) -> CarrierTones:
    """Compare the tones of two carriers that one linear detector sees.

    Parameters
    ----------
    samples_v
        DC-coupled detector output, shape (n,), half a second or more.
    rate_hz
        Samples per second, `LEAST_RATE_HZ` or more, not low-passed below the beat.

    Raises
    ------
    SamplesError
        There is no beat, the carriers are too alike, or either cannot be measured.
    """
    v = np.asarray(samples_v, dtype=np.float64)
    if rate_hz < LEAST_RATE_HZ:
        raise SamplesError(
            f"{rate_hz:g} samples per second do not carry the beat of two carriers up to "
            f"{WIDEST_BEAT_HZ / 1e3:g} kHz apart.",
            hint=f"record with {LEAST_RATE_HZ:g} samples per second or more.",
        )
    # What is clipped, dead, AC-coupled or not finite is refused with its reason.
    analyze_samples(v, rate_hz)
    square = v**2
    beat_hz = _beat_hz(square, rate_hz)
    strong, weak, band_hz = _apart(square, rate_hz, beat_hz)
    first, second = analyze_samples(strong, band_hz), analyze_samples(weak, band_hz)
    lines = fit_lines(np.stack([strong, weak], axis=1), band_hz, envelope_lines(first))
    cov = lines.amplitude_cov
    return CarrierTones(
        phase_90_deg=_lead(lines.phasor[0], cov, 90.0),
        phase_150_deg=_lead(lines.phasor[1], cov, 150.0),
        beat_hz=beat_hz,
        ratio=float(lines.mean[1] / lines.mean[0]),
        slip_hz=_slip(first, second),
    )


def _beat_hz(square: Floats, rate_hz: float) -> float:
    spectrum = np.abs(np.fft.rfft((square - square.mean()) * np.hanning(len(square))))
    axis_hz = np.fft.rfftfreq(len(square), 1.0 / rate_hz)
    # Carriers that are wrongly far apart are judged elsewhere; here they are compared all the same.
    inside = (axis_hz >= LEAST_BEAT_HZ) & (axis_hz <= rate_hz / 2.0 - SIDEBANDS_HZ)
    place = int(np.argmax(np.where(inside, spectrum, 0.0)))
    if not spectrum[place] > _CLEAR * np.median(spectrum[inside]):
        raise SamplesError(
            f"No beat of two carriers stands out between {LEAST_BEAT_HZ / 1e3:g} and "
            f"{(rate_hz / 2.0 - SIDEBANDS_HZ) / 1e3:g} kHz.",
            hint="check that both carriers are on and reach the detector, and that it is not "
            "low-passed.",
        )
    return float(axis_hz[place])


def _apart(square: Floats, rate_hz: float, beat_hz: float) -> tuple[Floats, Floats, float]:
    """Return the amplitudes of the stronger and the weaker carrier, and their sample rate."""
    turn = np.exp(-2j * np.pi * beat_hz / rate_hz * np.arange(len(square)))
    near_zero = to_baseband(square, rate_hz)
    beat: Complexes = to_baseband(square * turn.real, rate_hz).v + 1j * (
        to_baseband(square * turn.imag, rate_hz).v
    )
    product = 2.0 * np.abs(beat)
    least = float((near_zero.v - product).min()) / float(near_zero.v.mean())
    if least < _NEAR_ZERO:
        raise SamplesError(
            "The two carriers are too alike in the detector, or too noisy, to be told apart.",
            hint="put 6 dB into the line of the clearance carrier.",
        )
    both, between = np.sqrt(near_zero.v + product), np.sqrt(near_zero.v - product)
    return (both + between) / 2.0, (both - between) / 2.0, near_zero.rate_hz


def _lead(phasor: Complexes, cov: Floats, tone_hz: float) -> Estimate:
    """Return by how much the second record's tone leads the first's, degrees.

    Noise that both have in common turns both phasors, by as much as each is small.
    """
    turn = phasor[1] / phasor[0]
    lead_rad = float(np.angle(turn))
    strong, weak = float(abs(phasor[0])), float(abs(phasor[1]))
    variance = cov[0, 0] / strong**2 + cov[1, 1] / weak**2
    variance -= 2.0 * cov[0, 1] * np.cos(lead_rad) / (strong * weak)
    delay = 2.0 * np.pi * tone_hz * DELAY_U_S
    u_rad = float(np.sqrt(max(variance, 0.0) + delay**2 + (ROLL_OFF_U * _LEAK * lead_rad) ** 2))
    return Estimate(float(np.degrees(lead_rad)), float(np.degrees(u_rad)))


def _slip(first: Analysis, second: Analysis) -> tuple[Estimate, Estimate]:
    def between(one: Estimate, other: Estimate) -> Estimate:
        return Estimate(other.value - one.value, float(np.hypot(one.u, other.u)))

    return (
        between(first.tone_90_hz, second.tone_90_hz),
        between(first.tone_150_hz, second.tone_150_hz),
    )
