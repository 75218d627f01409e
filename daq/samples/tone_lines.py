"""Amplitude and phase of lines whose frequencies are known, by linear least squares.

v[n] = c + sum_j A_j sin(2 pi f_j t_n + phase_j), with t = 0 in the middle of the record, so that a
frequency that is a little off hardly touches a phase. Several records that were taken together are
fitted together: what their residuals have in common does not look like a difference of phase.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from daq.samples.lowpass import Complexes, Floats, to_baseband
from daq.samples.model import Analysis, Estimate
from daq.samples.quantise import quantisation_step, repeated_error_variance

_ROWS_AT_ONCE: Final = 256


@dataclass(frozen=True, slots=True)
class ToneLines:
    """Lines of one or several records.

    Attributes
    ----------
    mean
        Shape (records,), unit of the records.
    phasor
        Amplitude times exp(j phase) of each line, shape (lines, records).
    residual_cov
        Covariance of the residuals of the records with each other, shape (records, records).
    samples
        In a record.
    """

    mean: Floats
    phasor: Complexes
    residual_cov: Floats
    samples: int

    @property
    def amplitude_cov(self) -> Floats:
        """Covariance of either quadrature of a line: 2 / N of the residuals', for white noise."""
        return self.residual_cov * (2.0 / self.samples)


def fit_lines(records: Floats, rate_hz: float, frequency_hz: Floats) -> ToneLines:
    """Fit a mean and lines to records that were taken together.

    Parameters
    ----------
    records
        Shape (n, records).
    rate_hz
        Samples per second.
    frequency_hz
        Shape (lines,); no two of them nearer than the inverse of the record's length.
    """
    samples = len(records)
    t_s = (np.arange(samples) - (samples - 1) / 2.0) / rate_hz
    angle = 2.0 * np.pi * np.multiply.outer(t_s, frequency_hz)
    columns = np.concatenate([np.ones((samples, 1)), np.sin(angle), np.cos(angle)], axis=1)
    solution = np.linalg.solve(_products(columns, columns), _products(columns, records))
    residual = records - np.einsum("nc,cr->nr", columns, solution)
    lines = len(frequency_hz)
    return ToneLines(
        mean=solution[0],
        phasor=solution[1 : 1 + lines] + 1j * solution[1 + lines :],
        residual_cov=_products(residual, residual) / max(samples - len(solution), 1),
        samples=samples,
    )


def _products(one: Floats, other: Floats) -> Floats:
    """Return ``one.T @ other``, in pieces.

    The linear algebra library splits a large product over threads, which stalls on a busy machine.
    """
    total = np.zeros((one.shape[1], other.shape[1]))
    for at in range(0, len(one), _ROWS_AT_ONCE):
        some = slice(at, at + _ROWS_AT_ONCE)
        total += one[some].T @ other[some]
    return total


def envelope_lines(analysis: Analysis) -> Floats:
    """Return the frequencies that an analysed envelope may hold, Hz: 90 Hz first, 150 Hz second.

    Harmonics up to the fourth, products of the tones, and ident and hum where they were found; what
    cannot be told from another one on this record is left out.
    """
    f90, f150 = analysis.tone_90_hz.value, analysis.tone_150_hz.value
    wanted = [f90, f150, *(k * tone for tone in (f90, f150) for k in (2, 3, 4))]
    wanted += [f150 - f90, f90 + f150, 2 * f150 - f90, 2 * f90 - f150]
    wanted += [one.value for one in (analysis.ident_hz, analysis.hum_hz) if one is not None]
    kept: list[float] = []
    for hz in wanted:
        if all(abs(hz - other) > 1.0 / analysis.duration_s for other in kept):
            kept.append(hz)
    return np.array(kept)


def second_harmonic_90(samples: Floats, analysis: Analysis) -> Estimate:
    """Return the second harmonic of the 90 Hz tone over the tone, a ratio.

    Parameters
    ----------
    samples
        A detector's record, shape (n,).
    analysis
        What `daq.samples.analyze.analyze_samples` says of it.
    """
    frequency_hz = envelope_lines(analysis)
    place = int(np.abs(frequency_hz - 2.0 * frequency_hz[0]).argmin())
    band = to_baseband(samples, analysis.rate_hz)
    lines = fit_lines(band.v[:, np.newaxis], band.rate_hz, frequency_hz)
    amplitude = np.abs(lines.phasor[:, 0]) / band.gain(frequency_hz)
    variance = float(lines.amplitude_cov[0, 0])
    variance += _repeated(samples, float(amplitude[:2].sum()), analysis)
    ratio = float(amplitude[place] / amplitude[0])
    u = float(np.sqrt(variance) * np.hypot(1.0, ratio) / amplitude[0])
    return Estimate(ratio, u)


def _repeated(samples: Floats, swing_v: float, analysis: Analysis) -> float:
    """Return what a coarse converter adds to the variance of an amplitude, twice the mean's."""
    step = quantisation_step(samples)
    if step == 0.0:
        return 0.0
    slip_hz = analysis.tone_150_hz.value - 5.0 / 3.0 * analysis.tone_90_hz.value
    record = (analysis.samples, analysis.rate_hz)
    noise_v = analysis.noise_v.value
    return 2.0 * repeated_error_variance(step, noise_v, swing_v, slip_hz, record)
