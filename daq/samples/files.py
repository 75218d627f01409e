"""Open a file of samples by what it is."""

from __future__ import annotations

from pathlib import Path
from tokenize import TokenError
from typing import Final

import numpy as np
import numpy.typing as npt

from daq.errors import SamplesError
from daq.samples.lowpass import Floats
from daq.samples.pair import Channels, chosen
from daq.samples.screen import check_length, check_rate
from daq.samples.source import ArraySource, Source
from daq.samples.table import open_table, rate_twice
from daq.samples.wav import open_wav

_TABLES: Final = frozenset({".csv", ".txt", ".tsv", ".dat"})
_KINDS: Final = _TABLES | {".wav", ".wave", ".npy"}
_NO_ARRAY: Final = (ValueError, EOFError, TypeError, OverflowError, TokenError)
"""What NumPy raises at a damaged head: its text, a shape of truth values or beyond any memory."""
_TIME_ROWS: Final = 1000
_HINT: Final = "give WAV, CSV of time and volts, or .npy with a rate."


def open_samples(
    path: Path | str, *, rate_hz: float | None = None, channels: Channels = ""
) -> Source:
    """Open a record of detector output or complex baseband.

    Parameters
    ----------
    path
        ``.wav`` (one channel: detector; two: I and Q, or two detectors), a table of time and volts
        (``.csv``, ``.txt``, ``.tsv``, ``.dat``), or ``.npy`` (real or complex (n,), or (n, 2)).
    rate_hz
        Samples per second; needed for ``.npy`` and for a table of volts without their times, and
        refused where the file says it itself.
    channels
        What two channels are, or which of them is meant; see `daq.samples.pair`.

    Raises
    ------
    SamplesError
        If the file cannot be opened or holds nothing that can be measured.
    """
    path = Path(path)
    try:
        source = chosen(_open(path, rate_hz), channels, path.name)
    except OSError as error:
        raise SamplesError(
            f"{path} cannot be read: {error.strerror or error}.", hint="check name and rights."
        ) from error
    check_rate(source.rate_hz)
    if source.total is not None:
        check_length(source.total, source.rate_hz)
    return source


def _open(path: Path, rate_hz: float | None) -> Source:
    suffix = path.suffix.lower()
    if path.stat().st_size == 0:
        raise SamplesError(f"{path.name} is empty.", hint="record or export it again.")
    if suffix not in _KINDS:
        raise SamplesError(
            f"{path.name} is of no known kind ({suffix or 'no ending'}).", hint=_HINT
        )
    if suffix == ".npy":
        return _open_array(path, rate_hz)
    if suffix in _TABLES:
        return open_table(path, rate_hz)
    if rate_hz is not None:
        raise rate_twice(path, rate_hz)
    return open_wav(path)


def _open_array(path: Path, rate_hz: float | None) -> ArraySource:
    if rate_hz is None:
        raise SamplesError(
            f"{path.name} does not state its sample rate.", hint="give it: --rate 48000."
        )
    try:
        array: npt.NDArray[np.generic] = np.lib.format.open_memmap(path, mode="r")
    except _NO_ARRAY as error:
        # The library's own words are for programmers; the one thing to tell apart is this.
        objects = "; it holds objects of a program" if "Python objects" in str(error) else ""
        raise SamplesError(
            f"{path.name} is no NumPy array of numbers, or not all of one{objects}.", hint=_HINT
        ) from error
    complex_row = array.ndim == 1 and array.dtype.kind in "iufc"
    two_columns = array.ndim == 2 and array.shape[1] == 2 and array.dtype.kind in "iuf"
    if not complex_row and not two_columns:
        raise SamplesError(
            f"{path.name} holds {array.dtype} of shape {array.shape}; (n,) real or complex, or"
            " (n, 2) for I and Q, is needed.",
            hint="save one channel.",
        )
    if two_columns and _is_time(np.asarray(array[:_TIME_ROWS, 0], dtype=np.float64)):
        raise SamplesError(
            f"{path.name}: the first column rises evenly, so it is a time axis; two columns are"
            " taken for I and Q.",
            hint="save the volts alone, as (n,).",
        )
    return ArraySource(array, rate_hz)


def _is_time(column: Floats) -> bool:
    """Return whether a column rises by the same step all the way, but for rounding."""
    steps = np.diff(column)
    return len(steps) > 1 and bool(steps.min() > 0.5 * steps.max() > 0.0)
