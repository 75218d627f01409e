"""A sound file, or a table of samples, as an instrument: record after record until it is over."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Final

import numpy as np

from daq.errors import AnswerError, InputError, LinkLost, SamplesError
from daq.reading import Quality, Reading, Waveform, impossible_ddm
from daq.roles import InstrumentClass
from daq.samples.files import open_samples
from daq.samples.model import Analysis, Estimate
from daq.samples.source import Samples
from drivers.profiled import Place
from drivers.standing_in import Recording

RECORD_S: Final = 0.5
"""Length, seconds, of the piece of the recording that makes one reading."""

_BY_CLASS: Final = {
    InstrumentClass.OSCILLOSCOPE: ("vpp",),
    InstrumentClass.NAVIGATION_RECEIVER: (
        "ddm",
        "sdm",
        "depth_90",
        "depth_150",
        "tone_90",
        "tone_150",
    ),
}


class RecordedSamples(Recording):
    """Fulfils `daq.roles.Instrument`, and `Oscilloscope`, with samples of another day.

    As a receiver it demodulates them; as an oscilloscope it hands them over.

    Parameters
    ----------
    instrument_class
        What it stands for: an oscilloscope or a navigation receiver.
    place
        Its alias and resource; the clock gives the pace.
    path
        WAV, or a table of time and volts.

    Raises
    ------
    InputError
        Another class.
    SamplesError
        The file holds no samples.
    """

    def __init__(self, instrument_class: InstrumentClass, place: Place, path: Path) -> None:
        if instrument_class not in _BY_CLASS:
            raise InputError(
                f"Samples cannot stand for a {instrument_class}.",
                hint="let the entry's class be oscilloscope or navigation receiver.",
            )
        super().__init__(instrument_class, place)
        self._path = path
        source = open_samples(path)
        self._rate_hz = source.rate_hz
        self._size = round(RECORD_S * source.rate_hz)
        self._pieces: Iterator[Samples] = source.chunks(self._size)

    @property
    def quantities(self) -> frozenset[str]:
        """See `Instrument`."""
        return frozenset(_BY_CLASS[self._class])

    def measure(self, quantity: str, *, point: str = "", channel: str = "") -> Reading:
        """Return what the next half second of the recording shows, whatever the channel.

        Raises
        ------
        InputError
            Not a quantity of this class.
        AnswerError
            The samples cannot be measured.
        LinkLost
            The recording is over.
        """
        self._check_quantity(quantity, self.quantities)
        del channel
        clock = self._place.clock
        began_ns = clock.monotonic_ns()
        samples = self._next_piece()
        found = (
            _peak_to_peak(samples) if quantity == "vpp" else self._demodulated(samples, quantity)
        )
        impossible = quantity == "ddm" and impossible_ddm(*found)
        mono_ns = clock.monotonic_ns()
        return Reading(
            quantity=quantity,
            value=found[0],
            u=found[1],
            source=self.alias,
            point=point,
            utc_ns=clock.utc_ns(),
            mono_ns=mono_ns,
            took_ns=mono_ns - began_ns,
            quality=Quality.IMPOSSIBLE if impossible else Quality.OK,
            raw=f"recorded in {self._path.name}",
        )

    def waveform(self, *, point: str = "", channel: str = "") -> Waveform:
        """Return the next half second of the recording; raises as `measure` does."""
        del channel
        samples = self._next_piece()
        if np.iscomplexobj(samples):
            raise AnswerError(
                "The recording holds complex baseband, an oscilloscope gives volts.",
                instrument=self._place.label,
                hint="let the entry's class be navigation receiver.",
            )
        return Waveform(
            samples_v=np.asarray(samples, dtype=np.float64),
            rate_hz=self._rate_hz,
            source=self.alias,
            point=point,
            utc_ns=self._place.clock.utc_ns(),
            mono_ns=self._place.clock.monotonic_ns(),
        )

    def close(self) -> None:
        """See `Instrument`; the file is not held open."""

    def _next_piece(self) -> Samples:
        piece = next(self._pieces, None)
        if piece is None or len(piece) < self._size:
            raise LinkLost(
                "The recording is over.",
                instrument=self._place.label,
                hint="begin again, or use the instrument itself.",
            )
        self._place.clock.sleep(RECORD_S)
        return piece

    def _demodulated(self, samples: Samples, quantity: str) -> tuple[float, float]:
        # scipy and the estimator load only where samples are really looked at.
        from daq.samples.analyze import analyze_samples

        try:
            analysis = analyze_samples(samples, self._rate_hz)
        except SamplesError as error:
            raise AnswerError(
                error.message, instrument=self._place.label, hint=error.hint
            ) from error
        found = _estimate(analysis, quantity)
        return found.value, found.u


def _estimate(analysis: Analysis, quantity: str) -> Estimate:
    tones = {"tone_90": analysis.tone_90_hz, "tone_150": analysis.tone_150_hz}
    depths = {"depth_90": analysis.depth_90, "depth_150": analysis.depth_150}
    return {"ddm": analysis.ddm, "sdm": analysis.sdm, **depths, **tones}[quantity]


def _peak_to_peak(samples: Samples) -> tuple[float, float]:
    """Return peak to peak, and its uncertainty from the steps of the values next to the peaks."""
    ordered = np.sort(np.real(samples))
    step = max(float(ordered[1] - ordered[0]), float(ordered[-1] - ordered[-2]))
    top = float(ordered[-1] - ordered[0])
    return top, max(step, 1e-6 * top, 1e-12) / np.sqrt(3.0).item()
