"""From a fit's amplitudes and covariance to depths, phase and their uncertainties (GUM, 5.2.2)."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

import numpy as np

from daq.errors import SamplesError
from daq.samples.cautions import cautions
from daq.samples.fit import Fit
from daq.samples.lowpass import BAND_HZ, Baseband, Floats
from daq.samples.model import Analysis, Estimate
from daq.samples.quantise import repeated_error_variance
from daq.samples.terms import (
    F90,
    F150,
    HARMONICS_90,
    HARMONICS_150,
    HUM,
    HUM_2,
    IDENT,
    IDENT_TONE,
    MAINS,
    TONE_90,
    TONE_150,
    Term,
)

_LEAST_IDENT: Final = 0.005
"""A tenth of the least depth that an ident may have (14 CFR 171.111(e)(2): 5 per cent). What is
weaker is a trace: a converter's own lines, or leakage past an open key."""

_PRESENT: Final = 12.0
"""Strength from which a tone is there: noise alone exceeds it once in 160,000."""

_ASTRAY: Final = 0.05
"""A fit that ends this far from a tone's nominal frequency has followed something else."""


class Propagation:
    """First-order propagation from a fit; one row of derivatives a quantity.

    Parameters
    ----------
    fit
        With the covariance that its noise gives it.
    repeated
        Variance of the mean that the converter's rounding adds and that does not average out.
    """

    def __init__(self, fit: Fit, repeated: float) -> None:
        self.fit = fit
        # An amplitude has twice the variance of the mean; frequencies hardly feel what repeats.
        self.repeated = repeated
        self.repeats = np.zeros(len(fit.cov))
        self.repeats[0], self.repeats[1 : 1 + 2 * len(fit.terms)] = 1.0, 2.0
        self.c0 = abs(fit.c0)
        # A detector of negative polarity turns carrier and tones over together.
        self.a, self.b = fit.a * np.sign(fit.c0), fit.b * np.sign(fit.c0)
        self.amplitude = fit.amplitude
        self.turn = np.ones(len(fit.cov))
        self.turn[: 1 + 2 * len(fit.terms)] *= np.sign(fit.c0)

    def depth_row(self, term: Term) -> tuple[float, Floats]:
        """Return a term's depth and its derivatives."""
        j, count = self.fit.terms.index(term), len(self.fit.terms)
        row = np.zeros(len(self.fit.cov))
        depth = self.amplitude[j] / self.c0
        row[0] = -depth / self.c0
        row[1 + j] = self.a[j] / self.amplitude[j] / self.c0
        row[1 + count + j] = self.b[j] / self.amplitude[j] / self.c0
        return float(depth), row

    def phase_row(self, term: Term) -> tuple[float, Floats]:
        """Return a term's phase as a sine in the middle of the record, rad, and derivatives."""
        j, count = self.fit.terms.index(term), len(self.fit.terms)
        row = np.zeros(len(self.fit.cov))
        row[1 + j] = self.b[j] / self.amplitude[j] ** 2
        row[1 + count + j] = -self.a[j] / self.amplitude[j] ** 2
        return float(np.arctan2(self.a[j], self.b[j])), row

    def frequency(self, place: int) -> Estimate:
        """Return a free frequency, Hz."""
        at = len(self.fit.cov) - len(self.fit.used) + self.fit.used.index(place)
        return Estimate(float(self.fit.free_hz[place]), float(np.sqrt(self.fit.cov[at, at])))

    def estimate(self, value: float, row: Floats) -> Estimate:
        """Return `value` with the uncertainty that its derivatives give it."""
        row = row * self.turn
        common = self.repeated * float(row**2 @ self.repeats) if self.repeated else 0.0
        return Estimate(value, float(np.sqrt(row @ self.fit.cov @ row + common)), common**0.5)

    def carrier(self) -> Estimate:
        """Return the mean."""
        row = np.zeros(len(self.fit.cov))
        row[0] = 1.0
        return self.estimate(self.c0, row)

    def depth(self, term: Term) -> Estimate:
        """Return a term's depth."""
        return self.estimate(*self.depth_row(term))

    def harmonics(self, tone: Term, orders: tuple[Term, ...]) -> Estimate:
        """Return the root sum of squares of a tone's harmonics over the tone."""
        own = self.depth(tone)
        found = [self.depth(term) for term in orders if term in self.fit.terms]
        if not found:
            unit = math.sqrt(len(orders)) / own.value
            return Estimate(0.0, unit * own.u, unit * own.common_u)
        total = math.hypot(*(one.value for one in found))
        ratio = total / own.value
        u, common_u = (
            math.hypot(
                ratio * tone_u, *(one.value / total * u for one, u in zip(found, each, strict=True))
            )
            / own.value
            for tone_u, each in (
                (own.u, [one.u for one in found]),
                (own.common_u, [one.common_u for one in found]),
            )
        )
        return Estimate(ratio, u, common_u)


def check_fit(fit: Fit) -> None:
    """Raise `SamplesError` if the fit found no tones, or no mean to relate them to."""
    strength = fit.strength()
    present = [
        strength[fit.terms.index(tone)] > _PRESENT
        and abs(fit.free_hz[place] / nominal_hz - 1.0) < _ASTRAY
        for tone, place, nominal_hz in ((TONE_90, F90, 90.0), (TONE_150, F150, 150.0))
    ]
    if not any(present):
        raise SamplesError(
            f"No tones: neither 90 Hz nor 150 Hz stands out of the noise (mean {fit.c0:.4g},"
            f" noise {fit.sigma_v:.3g}).",
            hint="check that the record is the detected envelope, and that the station radiates.",
        )
    tones = sum(fit.amplitude[fit.terms.index(tone)] for tone in (TONE_90, TONE_150))
    if abs(fit.c0) < tones:
        raise SamplesError(
            f"No DC component: the mean is {fit.c0:.4g} but the tones swing {tones:.4g}; an"
            " AC-coupled record has lost the carrier, and depth means nothing without it.",
            hint="set the input to DC coupling; a sound card needs a DC-coupled input.",
        )


def report(fit: Fit, band: Baseband, samples: int, rate_hz: float, step: float = 0.0) -> Analysis:
    """Return the analysis that `fit` amounts to.

    Parameters
    ----------
    fit
        The final fit.
    band
        What it was fitted to.
    samples, rate_hz
        Size and rate of the record before the low-pass.
    step
        The converter's step, unit of the record; 0 where there is none.

    Raises
    ------
    SamplesError
        If the tones or the carrier are missing.
    """
    check_fit(fit)
    noise = fit.sigma_v * float(np.sqrt(band.step))
    p = Propagation(fit, _repeated(fit, noise, step, (samples, rate_hz)))
    m90, row_90 = p.depth_row(TONE_90)
    m150, row_150 = p.depth_row(TONE_150)
    freedom = 2.0 * BAND_HZ * samples / rate_hz
    ident = p.depth(IDENT_TONE) if IDENT_TONE in fit.terms else None
    has_ident = ident is not None and ident.value >= _LEAST_IDENT
    hums = [p.depth(term) for term in (HUM, HUM_2) if term in fit.terms]
    analysis = Analysis(
        ddm=p.estimate(m150 - m90, row_150 - row_90),
        sdm=p.estimate(m150 + m90, row_150 + row_90),
        depth_90=p.estimate(m90, row_90),
        depth_150=p.estimate(m150, row_150),
        tone_90_hz=p.frequency(F90),
        tone_150_hz=p.frequency(F150),
        tone_phase_deg=_tone_phase(p),
        carrier_v=p.carrier(),
        noise_v=Estimate(noise, noise / float(np.sqrt(2.0 * freedom))),
        harmonics_90=p.harmonics(TONE_90, HARMONICS_90),
        harmonics_150=p.harmonics(TONE_150, HARMONICS_150),
        duration_s=samples / rate_hz,
        samples=samples,
        rate_hz=rate_hz,
        ident_depth=ident if has_ident else None,
        ident_hz=p.frequency(IDENT) if has_ident else None,
        hum_depth=max(hums, key=lambda hum: hum.value) if hums else None,
        hum_hz=_hum_hz(p) if hums else None,
    )
    return replace(analysis, warnings=cautions(analysis))


def _repeated(fit: Fit, noise_v: float, step: float, record: tuple[int, float]) -> float:
    """Return the variance of the mean from the share of rounding that does not average out."""
    slip_hz = float(fit.free_hz[F150] - 5.0 / 3.0 * fit.free_hz[F90])
    swing_v = float(sum(fit.amplitude[fit.terms.index(tone)] for tone in (TONE_90, TONE_150)))
    return repeated_error_variance(step, noise_v, swing_v, slip_hz, record)


def _tone_phase(p: Propagation) -> Estimate:
    phase_90, row_90 = p.phase_row(TONE_90)
    phase_150, row_150 = p.phase_row(TONE_150)
    # Where the 90 Hz tone has phase 0 the 150 Hz tone has gone 5/3 as far.
    at_zero = np.degrees(phase_150 - 5.0 / 3.0 * phase_90)
    wrapped = float((at_zero + 60.0) % 120.0 - 60.0)
    return p.estimate(wrapped, np.degrees(row_150 - 5.0 / 3.0 * row_90))


def _hum_hz(p: Propagation) -> Estimate:
    terms = [term for term in (HUM, HUM_2) if term in p.fit.terms]
    multiple = max(terms, key=lambda term: p.depth(term).value).mix[MAINS]
    base = p.frequency(MAINS)
    return Estimate(multiple * base.value, multiple * base.u)
