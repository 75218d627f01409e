"""Long records block by block: DDM against time, in constant memory."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import nan
from pathlib import Path

from daq.errors import SamplesError
from daq.samples.block import analyze_block
from daq.samples.files import open_samples
from daq.samples.model import Analysis
from daq.samples.pair import Channels
from daq.samples.screen import MIN_DURATION_S
from daq.samples.source import Progress, Source, blocks


@dataclass(frozen=True, slots=True)
class SeriesRow:
    """One block of a long record.

    Attributes
    ----------
    t_s
        Middle of the block, from the beginning of the record.
    ddm, ddm_u, sdm, sdm_u, depth_90, depth_150
        As in `daq.samples.model.Analysis`; NaN where the block was refused.
    tone_90_hz, tone_150_hz, tone_phase_deg
        Likewise.
    carrier_v, ident_depth
        Likewise; the ident's depth is NaN where it is not keyed.
    refused
        Why the block could not be measured; empty when it was.
    """

    t_s: float
    ddm: float = nan
    ddm_u: float = nan
    sdm: float = nan
    sdm_u: float = nan
    depth_90: float = nan
    depth_150: float = nan
    tone_90_hz: float = nan
    tone_150_hz: float = nan
    tone_phase_deg: float = nan
    carrier_v: float = nan
    ident_depth: float = nan
    refused: str = ""


def ddm_series(
    path: Path | str,
    *,
    block_s: float = 1.0,
    rate_hz: float | None = None,
    channels: Channels = "",
    progress: Progress | None = None,
) -> Iterator[SeriesRow]:
    """Return an iterator of one row a block; a block that cannot be measured is a gap.

    The file is opened, and refused if need be, at once; the blocks are read as rows are asked for.

    Parameters
    ----------
    path
        See `daq.samples.files.open_samples`.
    block_s
        Length of a block, s; a last piece below half of it joins the block before.
    rate_hz
        Samples per second, for ``.npy``.
    channels
        Of a file with two; see `daq.samples.pair`.
    progress
        Called after each block with the samples done and, where known, all there are.

    Raises
    ------
    SamplesError
        If the file cannot be read, or `block_s` is too short.
    """
    check_block(block_s)
    return _rows(open_samples(path, rate_hz=rate_hz, channels=channels), block_s, progress)


def check_block(block_s: float) -> None:
    """Refuse blocks in which the tones cannot be told apart.

    Raises
    ------
    SamplesError
        `block_s` is too short.
    """
    if not block_s >= MIN_DURATION_S:
        raise SamplesError(
            f"Blocks of {block_s:g} s are too short; the tones need {MIN_DURATION_S:g} s.",
            hint="give 0.2 s or more.",
        )


def _rows(source: Source, block_s: float, progress: Progress | None) -> Iterator[SeriesRow]:
    for place, samples in blocks(source, block_s):
        t_s = (place + len(samples) / 2.0) / source.rate_hz
        try:
            row = _row(t_s, analyze_block(samples, source.rate_hz).analysis)
        except SamplesError as error:
            row = SeriesRow(t_s, refused=error.message)
        if progress is not None:
            progress(place + len(samples), source.total)
        yield row


def _row(t_s: float, analysis: Analysis) -> SeriesRow:
    ident = analysis.ident_depth
    return SeriesRow(
        t_s=t_s,
        ddm=analysis.ddm.value,
        ddm_u=analysis.ddm.u,
        sdm=analysis.sdm.value,
        sdm_u=analysis.sdm.u,
        depth_90=analysis.depth_90.value,
        depth_150=analysis.depth_150.value,
        tone_90_hz=analysis.tone_90_hz.value,
        tone_150_hz=analysis.tone_150_hz.value,
        tone_phase_deg=analysis.tone_phase_deg.value,
        carrier_v=analysis.carrier_v.value,
        ident_depth=nan if ident is None else ident.value,
    )
