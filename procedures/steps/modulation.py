"""The modulation that an oscilloscope's records of a detector show."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Final

from daq.log.entry import Body
from daq.station import Point
from procedures.engine.bench import Bench
from procedures.steps.detector_records import (
    Mean,
    analyzed,
    connect_probe,
    kept,
    mean_of,
    read_mean,
    take_record,
)

if TYPE_CHECKING:
    from daq.samples.model import Estimate

ANALYZED: Final = (
    "ddm",
    "sdm",
    "depth_90",
    "depth_150",
    "tone_90_hz",
    "tone_150_hz",
    "tone_phase_deg",
    "harmonics_90",
    "harmonics_150",
)
"""Estimates of `daq.samples.model.Analysis` that are kept of a detector."""

TONES: Final = (*ANALYZED, "second_harmonic_90")
"""Everything that is kept of a detector."""


def measure_modulation(bench: Bench, key: str, point_name: str, records: int) -> Mapping[str, Mean]:
    """Average what several records say of the tones, by the names of `TONES`.

    Raises
    ------
    Refused
        The records cannot be measured; the message says why.
    """
    point = connect_probe(bench, key, point_name)

    def live() -> Body:
        said = [_record(bench, point) for _ in range(records)]
        return {name: mean_of([one[name] for one in said]) for name in TONES}

    body = kept(bench, key, "modulation", point, live)
    return {name: read_mean(body[name]) for name in TONES}


def _record(bench: Bench, point: Point) -> Mapping[str, Estimate]:
    from daq.samples.tone_lines import second_harmonic_90

    waveform = take_record(bench, point)
    analysis = analyzed(point, waveform.samples_v, waveform.rate_hz)
    said: dict[str, Estimate] = {name: getattr(analysis, name) for name in ANALYZED}
    said["second_harmonic_90"] = second_harmonic_90(waveform.samples_v, analysis)
    return said
