"""One answer for one record: samples, a file, or a live oscilloscope's waveform."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt

from daq.errors import SamplesError
from daq.reading import Quality, Reading, Waveform, describe_ddm, impossible_ddm
from daq.samples.block import analyze_block
from daq.samples.combine import Combined
from daq.samples.files import open_samples
from daq.samples.model import Analysis
from daq.samples.pair import Channels
from daq.samples.screen import check_length, check_rate
from daq.samples.source import ArraySource, Progress, Source, blocks

BLOCK_S: Final = 2.0
"""Length of the blocks into which long records are cut; up to 3 s a record stays whole."""


def analyze_samples(samples: npt.ArrayLike, rate_hz: float) -> Analysis:
    """Measure the modulation of one record.

    Parameters
    ----------
    samples
        Shape (n,). Real: output of a DC-coupled detector, any unit. Complex: baseband.
    rate_hz
        Samples per second.

    Raises
    ------
    SamplesError
        If the samples cannot be measured: why, and what to do.
    """
    array: npt.NDArray[np.generic] = np.asarray(samples)
    if array.ndim != 1 or array.dtype.kind not in "iufc":
        raise SamplesError(
            f"One row of numbers is needed, not {array.dtype} of shape {array.shape}.",
            hint="give detector output as (n,) real, or baseband as (n,) complex.",
        )
    check_rate(rate_hz)
    check_length(len(array), rate_hz)
    return _analyze(ArraySource(array, rate_hz), None)


def analyze_file(
    path: Path | str,
    *,
    rate_hz: float | None = None,
    channels: Channels = "",
    progress: Progress | None = None,
) -> Analysis:
    """Measure the modulation of a recorded file, of any length, in constant memory.

    Parameters
    ----------
    path
        See `daq.samples.files.open_samples`.
    rate_hz
        Samples per second, for ``.npy``.
    channels
        Of a file with two; see `daq.samples.pair`.
    progress
        Called after each block with the samples done and, where known, all there are.

    Raises
    ------
    SamplesError
        If any part of it cannot be measured: where, why, and what to do.
    """
    return _analyze(open_samples(path, rate_hz=rate_hz, channels=channels), progress)


def _analyze(source: Source, progress: Progress | None) -> Analysis:
    combined = Combined()
    for place, samples in blocks(source, BLOCK_S):
        try:
            combined.add(analyze_block(samples, source.rate_hz))
        except SamplesError as error:
            if place == 0:
                raise
            message = f"In the part from {place / source.rate_hz:.4g} s on: {error.message}"
            raise SamplesError(message, hint=error.hint) from error
        if progress is not None:
            progress(place + len(samples), source.total)
    return combined.result()


def reading_from_waveform(waveform: Waveform) -> Reading:
    """Return the DDM that an oscilloscope's waveform shows, with the estimator's uncertainty.

    Raises
    ------
    SamplesError
        If the waveform cannot be measured, or the instrument says that it was clipped.
    """
    if waveform.clipped:
        raise SamplesError(
            f"Clipped: {waveform.source} reports that the record left its range.",
            hint="more volts a division, then read again.",
        )
    ddm = analyze_samples(waveform.samples_v, waveform.rate_hz).ddm
    folded = impossible_ddm(ddm.value, ddm.u)
    return Reading(
        quantity="ddm",
        value=ddm.value,
        u=ddm.u,
        source=waveform.source,
        point=waveform.point,
        utc_ns=waveform.utc_ns,
        mono_ns=waveform.mono_ns,
        quality=Quality.IMPOSSIBLE if folded else Quality.OK,
        raw=describe_ddm(ddm.value),
    )
