"""From a fit's amplitudes and covariance to depths, phase and their uncertainties (GUM, 5.2.2)."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

import numpy as np

from daq.errors import SamplesError
from daq.samples.cautions import cautions, may_be_mains
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
    """First-order propagation from a fit to depths, carrier and phase.

    Parameters
    ----------
    fit
        With the covariance that its noise gives it.
    repeated
        Variance of the mean that the converter's rounding adds and that does not average out.
    """

    def __init__(self, fit: Fit, repeated: float) -> None:
        self._fit = fit
        count = len(fit.terms)
        c0 = abs(fit.c0)
        depths = fit.amplitude / c0
        # Derivatives by the fit's unknowns: a row a depth, then the carrier's, then the phase's. A
        # detector of negative polarity turns carrier and tones over together.
        rows = np.zeros((count + 2, len(fit.cov)))
        own = np.arange(count)
        rows[:count, 0] = depths / -fit.c0
        rows[own, 1 + own] = fit.a / (fit.amplitude * c0)
        rows[own, 1 + count + own] = fit.b / (fit.amplitude * c0)
        rows[count, 0] = 1.0
        phase_deg = self._phase(rows[count + 1])
        self._values = [*depths.tolist(), c0, phase_deg]
        cov = rows @ fit.cov @ rows.T
        self._variance = cov.tolist()
        self._common = [[0.0] * len(rows)] * len(rows)
        if repeated:
            # An amplitude has twice the variance of the mean; frequencies hardly feel what repeats.
            repeats = np.zeros(len(fit.cov))
            repeats[0], repeats[1 : 1 + 2 * count] = repeated, 2.0 * repeated
            common = (rows * repeats) @ rows.T
            self._variance, self._common = (cov + common).tolist(), common.tolist()

    def _phase(self, row: Floats) -> float:
        """Fill in the derivatives of the tones' phase, and return it, deg."""
        fit, count = self._fit, len(self._fit.terms)
        phase = 0.0
        # Where the 90 Hz tone has phase 0 the 150 Hz tone has gone 5/3 as far.
        for tone, times in ((TONE_150, 1.0), (TONE_90, -5.0 / 3.0)):
            j = fit.terms.index(tone)
            a, b, unit = float(fit.a[j]), float(fit.b[j]), math.degrees(times)
            # As a sine: a cos + b sin.
            sign = math.copysign(1.0, fit.c0)
            phase += unit * math.atan2(sign * a, sign * b)
            row[1 + j] = unit * b / (a * a + b * b)
            row[1 + count + j] = -unit * a / (a * a + b * b)
        return (phase + 60.0) % 120.0 - 60.0

    def _estimate(self, place: int) -> Estimate:
        variance, common = self._variance[place][place], self._common[place][place]
        return _estimate(self._values[place], variance, common)

    def depth(self, term: Term) -> Estimate:
        """Return a term's depth."""
        return self._estimate(self._fit.terms.index(term))

    def carrier(self) -> Estimate:
        """Return the mean."""
        return self._estimate(len(self._fit.terms))

    def tone_phase(self) -> Estimate:
        """Return the phase of the 150 Hz tone at upward passages of the 90 Hz tone, deg."""
        return self._estimate(len(self._fit.terms) + 1)

    def combined(self, one: Term, other: Term, times: float) -> Estimate:
        """Return the depth of `one` plus `times` that of `other`."""
        i, k = self._fit.terms.index(one), self._fit.terms.index(other)
        variance, common = (
            table[i][i] + times * (2.0 * table[i][k] + times * table[k][k])
            for table in (self._variance, self._common)
        )
        value = self._values[i] + times * self._values[k]
        return _estimate(value, variance, common)

    def frequency(self, place: int) -> Estimate:
        """Return a free frequency, Hz."""
        fit = self._fit
        at = len(fit.cov) - len(fit.used) + fit.used.index(place)
        return Estimate(float(fit.free_hz[place]), math.sqrt(fit.cov[at, at]))

    def harmonics(self, tone: Term, orders: tuple[Term, ...]) -> Estimate:
        """Return the root sum of squares of a tone's harmonics over the tone."""
        own = self.depth(tone)
        found = [self.depth(term) for term in orders if term in self._fit.terms]
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


def _estimate(value: float, variance: float, common: float) -> Estimate:
    """Return an estimate; a variance that is nothing may come out below zero by rounding."""
    return Estimate(value, math.sqrt(max(variance, 0.0)), math.sqrt(max(common, 0.0)))


def check_fit(fit: Fit) -> None:
    """Raise `SamplesError` if the fit found no tones, or no mean to relate them to."""
    present = [
        fit.strength[fit.terms.index(tone)] > _PRESENT
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


def _check_tones(fit: Fit, analysis: Analysis) -> None:
    """Raise `SamplesError` if hum, or another line, stands where a tone should be.

    A short record cannot keep a line at 100 Hz out of the search for 90 Hz; where the tone is
    absent the fit then runs to that line.
    """
    absent = fit.strength[fit.terms.index(TONE_90)] < _PRESENT
    if absent and may_be_mains(analysis):
        raise SamplesError(
            "No tones: 90 Hz does not stand out of the noise, and the line at"
            f" {analysis.tone_150_hz.value:.2f} Hz, {100 * analysis.depth_150.value:.2g} per cent"
            " deep, may be the third harmonic of 50 Hz mains.",
            hint="check that the station radiates; for hum, ground and supply of the detector.",
        )
    for tone, place, nominal_hz in ((TONE_90, F90, 90.0), (TONE_150, F150, 150.0)):
        hz = float(fit.free_hz[place])
        away = abs(hz / nominal_hz - 1.0)
        if away >= _ASTRAY and fit.strength[fit.terms.index(tone)] > _PRESENT:
            raise SamplesError(
                f"The {tone.name} is absent: the line nearest to it is at {hz:.2f} Hz,"
                f" {100 * away:.2g} per cent off, which is hum or some other line.",
                hint="look whether that tone is switched off; a longer record tells lines apart.",
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
    noise = fit.sigma_v * math.sqrt(band.step)
    p = Propagation(fit, _repeated(fit, noise, step, (samples, rate_hz)))
    freedom = 2.0 * BAND_HZ * samples / rate_hz
    ident = p.depth(IDENT_TONE) if IDENT_TONE in fit.terms else None
    has_ident = ident is not None and ident.value >= _LEAST_IDENT
    hum, hum_hz = _hum(p, fit.terms)
    analysis = Analysis(
        ddm=p.combined(TONE_150, TONE_90, -1.0),
        sdm=p.combined(TONE_150, TONE_90, 1.0),
        depth_90=p.depth(TONE_90),
        depth_150=p.depth(TONE_150),
        tone_90_hz=p.frequency(F90),
        tone_150_hz=p.frequency(F150),
        tone_phase_deg=p.tone_phase(),
        carrier_v=p.carrier(),
        noise_v=Estimate(noise, noise / math.sqrt(2.0 * freedom)),
        harmonics_90=p.harmonics(TONE_90, HARMONICS_90),
        harmonics_150=p.harmonics(TONE_150, HARMONICS_150),
        duration_s=samples / rate_hz,
        samples=samples,
        rate_hz=rate_hz,
        ident_depth=ident if has_ident else None,
        ident_hz=p.frequency(IDENT) if has_ident else None,
        hum_depth=hum,
        hum_hz=hum_hz,
    )
    _check_tones(fit, analysis)
    warnings = cautions(analysis)
    return replace(analysis, warnings=warnings) if warnings else analysis


def _repeated(fit: Fit, noise_v: float, step: float, record: tuple[int, float]) -> float:
    """Return the variance of the mean from the share of rounding that does not average out."""
    slip_hz = float(fit.free_hz[F150] - 5.0 / 3.0 * fit.free_hz[F90])
    swing_v = float(sum(fit.amplitude[fit.terms.index(tone)] for tone in (TONE_90, TONE_150)))
    return repeated_error_variance(step, noise_v, swing_v, slip_hz, record)


def _hum(p: Propagation, terms: tuple[Term, ...]) -> tuple[Estimate | None, Estimate | None]:
    """Return depth and frequency of the strongest mains component."""
    hums = [term for term in (HUM, HUM_2) if term in terms]
    if not hums:
        return None, None
    strongest = max(hums, key=lambda term: p.depth(term).value)
    base, multiple = p.frequency(MAINS), strongest.mix[MAINS]
    return p.depth(strongest), Estimate(multiple * base.value, multiple * base.u)
