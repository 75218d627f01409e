"""The analysis of one block: everything from raw samples to an `Analysis`."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from daq.samples.cautions import cautions
from daq.samples.choose import first_fit, grow
from daq.samples.fit import fit
from daq.samples.ident import ident_rows, keying, shift_hz, without_bursts
from daq.samples.iq import Carriers, detect, find_carriers
from daq.samples.lowpass import Complexes, Floats, to_baseband
from daq.samples.model import Analysis
from daq.samples.quantise import quantisation_step
from daq.samples.report import check_fit, report
from daq.samples.screen import (
    check_alive,
    check_clipping,
    check_finite,
    check_length,
    check_rate,
    check_samples,
    extremes,
)
from daq.samples.terms import IDENT, IDENT_TONE

_MOST_BURSTS: Final = 3
"""Each may be seen only when a greater one has been left out."""


@dataclass(frozen=True, slots=True)
class Block:
    """One analysed block.

    Attributes
    ----------
    analysis
        Its numbers.
    ident_envelope
        Amplitude of the ident in consecutive steps, for Morse; shape (k,).
    step_s
        Length of a step.
    """

    analysis: Analysis
    ident_envelope: Floats
    step_s: float


def analyze_block(samples: Floats | Complexes, rate_hz: float) -> Block:
    """Analyse one block, at most a few seconds long.

    Parameters
    ----------
    samples
        Shape (n,): detector output, or complex baseband.
    rate_hz
        Samples per second.

    Raises
    ------
    SamplesError
        If the samples cannot be measured: why, and what to do.
    """
    if np.iscomplexobj(samples):
        return _complex_block(np.asarray(samples, dtype=np.complex128), rate_hz)
    v = np.asarray(samples, dtype=np.float64)
    check_samples(v, rate_hz)
    return _envelope_block(v, rate_hz)


def _complex_block(z: Complexes, rate_hz: float) -> Block:
    check_rate(rate_hz)
    check_length(len(z), rate_hz)
    check_finite(z)
    for part in (z.real, z.imag):
        check_clipping(part, extremes(part))
    level = np.abs(z)
    check_alive(level, rate_hz, extremes(level))
    carriers = find_carriers(z, rate_hz)
    block = _envelope_block(detect(z, carriers.noise_v), rate_hz)
    return replace(block, analysis=_with_carriers(block.analysis, carriers))


def _with_carriers(analysis: Analysis, carriers: Carriers) -> Analysis:
    analysis = replace(
        analysis,
        carrier_offset_hz=carriers.offset_hz,
        second_carrier_hz=carriers.second_hz,
        second_carrier_ratio=carriers.ratio,
    )
    return replace(analysis, warnings=cautions(analysis))


def _envelope_block(v: Floats, rate_hz: float) -> Block:
    band = to_baseband(v, rate_hz)
    start = first_fit(band)
    check_fit(start)
    now = grow(band, start)
    rows, row_hz = ident_rows(band, now), band.rate_hz / band.piece
    weights = keying(rows)
    if weights is not None:
        terms, free_hz = now.terms, now.free_hz.copy()
        if weights.ever_on:
            free_hz[IDENT] += shift_hz(rows, weights, row_hz)
        else:
            terms = tuple(term for term in terms if term is not IDENT_TONE)
        now = grow(band, fit(band, terms, free_hz, weights), weights)
        # What was keyed too briefly to be measured is still part of a letter.
        rows = ident_rows(band, now, weights) if weights.ever_on else rows
    for _ in range(_MOST_BURSTS):
        quiet = without_bursts(band, now, weights)
        if quiet is None:
            break
        weights, now = quiet, grow(band, fit(band, now.terms, now.free_hz, quiet), quiet)
    return Block(
        analysis=report(now, band, len(v), rate_hz, quantisation_step(v)),
        ident_envelope=np.abs(rows),
        step_s=1.0 / row_hz,
    )
