"""One reading at a point of the station file, by whichever instrument the file names for it."""

from __future__ import annotations

from typing import cast

from daq.errors import AnswerError, InputError, SamplesError
from daq.reading import Reading
from daq.roles import Instrument, Oscilloscope


def take(instrument: Instrument, quantity: str, *, point: str = "", channel: str = "") -> Reading:
    """Take one reading; an oscilloscope's DDM is computed from its samples.

    Raises
    ------
    BenchError
        The instrument failed.
    InputError
        It can neither read the quantity nor give samples to compute it from.
    """
    if quantity in instrument.quantities:
        return instrument.measure(quantity, point=point, channel=channel)
    if quantity != "ddm":
        raise InputError(
            f"'{instrument.alias}' does not read {quantity}, only "
            f"{', '.join(sorted(instrument.quantities))}.",
            hint="name another instrument for the point in the station file.",
        )
    # scipy and the estimator load only where samples are really looked at.
    from daq.samples.analyze import reading_from_waveform

    scope = oscilloscope(instrument)
    waveform = scope.waveform(point=point, channel=channel)
    try:
        return reading_from_waveform(waveform)
    except SamplesError as error:
        raise AnswerError(error.message, instrument=instrument.alias, hint=error.hint) from error


def oscilloscope(instrument: Instrument) -> Oscilloscope:
    """Return the instrument as one that gives samples.

    Raises
    ------
    InputError
        It gives none.
    """
    if not callable(getattr(instrument, "waveform", None)):
        raise InputError(
            f"'{instrument.alias}' gives no samples, only "
            f"{', '.join(sorted(instrument.quantities))}.",
            hint="name an oscilloscope whose profile has a [waveform] table.",
        )
    return cast("Oscilloscope", instrument)
