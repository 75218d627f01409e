"""Open a file of samples by what it is."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt

from daq.errors import SamplesError
from daq.samples.screen import check_length, check_rate
from daq.samples.source import ArraySource, Source
from daq.samples.table import open_table
from daq.samples.wav import open_wav

_TABLES: Final = frozenset({".csv", ".txt", ".tsv", ".dat"})
_HINT: Final = "give WAV, CSV of time and volts, or .npy with a rate."


def open_samples(path: Path | str, *, rate_hz: float | None = None) -> Source:
    """Open a record of detector output or complex baseband.

    Parameters
    ----------
    path
        ``.wav`` (one channel: detector; two: I and Q), a table of time and volts (``.csv``,
        ``.txt``, ``.tsv``, ``.dat``), or ``.npy`` (real or complex (n,), or (n, 2)).
    rate_hz
        Samples per second; needed for ``.npy``, and refused where the file says it itself.

    Raises
    ------
    SamplesError
        If the file cannot be opened or holds nothing that can be measured.
    """
    path = Path(path)
    try:
        source = _open(path, rate_hz)
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
    if suffix == ".npy":
        return _open_array(path, rate_hz)
    if rate_hz is not None:
        raise SamplesError(
            f"{path.name} states its own sample rate; {rate_hz:g} Hz was given besides.",
            hint="leave the rate out, it is for .npy only.",
        )
    if suffix in {".wav", ".wave"}:
        return open_wav(path)
    if suffix in _TABLES:
        return open_table(path)
    raise SamplesError(f"{path.name} is of no known kind ({suffix or 'no ending'}).", hint=_HINT)


def _open_array(path: Path, rate_hz: float | None) -> ArraySource:
    if rate_hz is None:
        raise SamplesError(
            f"{path.name} does not state its sample rate.", hint="give the rate in hertz."
        )
    try:
        array: npt.NDArray[np.generic] = np.load(path, mmap_mode="r", allow_pickle=False)
    except (ValueError, EOFError) as error:
        raise SamplesError(f"{path.name} is not a NumPy array: {error}.", hint=_HINT) from error
    complex_row = array.ndim == 1 and array.dtype.kind in "iufc"
    two_columns = array.ndim == 2 and array.shape[1] == 2 and array.dtype.kind in "iuf"
    if not complex_row and not two_columns:
        raise SamplesError(
            f"{path.name} holds {array.dtype} of shape {array.shape}; (n,) real or complex, or"
            " (n, 2) for I and Q, is needed.",
            hint="save one channel.",
        )
    return ArraySource(array, rate_hz)
