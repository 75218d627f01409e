"""The modulation that an oscilloscope's records of a detector show."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from daq.errors import Refused, SamplesError
from daq.log.entry import Body
from daq.reading import Waveform
from daq.roles import Action
from daq.station import Point
from procedures.engine.bench import Bench
from procedures.engine.taking import oscilloscope

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    from daq.samples.model import Analysis, Estimate

PIECE_S: Final = 1.0
"""Length of the pieces of a record in which the ident is looked for: several marks at any speed."""

TRACE: Final = 0.005
"""Depth up to which an ident is none: what a converter of eight bits leaves at its frequency."""

TONES: Final = (
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


@dataclass(frozen=True, slots=True)
class Mean:
    """A mean over records and its standard uncertainty."""

    value: float
    u: float


@dataclass(frozen=True, slots=True)
class Ident:
    """An identification as it was caught.

    Attributes
    ----------
    depth, tone_hz
        While the key is down; None when no record held it.
    text
        What it spells; empty where no record was long enough.
    wpm
        Words a minute; None likewise.
    """

    depth: Mean | None
    tone_hz: Mean | None
    text: str
    wpm: float | None

    def spells(self, wanted: str) -> bool:
        """Whether the text is `wanted` again and again; a record may begin in the middle of it."""
        letters = self.text.replace(" ", "")
        return len(letters) >= len(wanted) and letters in wanted * (len(letters) + 1)

    @property
    def dot_s(self) -> float | None:
        """Length of a dot: a word is 50 of them (PARIS)."""
        return None if self.wpm is None else 1.2 / self.wpm


def measure_modulation(bench: Bench, key: str, point_name: str, records: int) -> Mapping[str, Mean]:
    """Average what several records say of the tones, by the names of `TONES`.

    Raises
    ------
    Refused
        The records cannot be measured; the message says why.
    """
    point = _connected(bench, key, point_name)

    def live() -> Body:
        analyses = [_record(bench, point) for _ in range(records)]
        return {name: _mean([getattr(one, name) for one in analyses]) for name in TONES}

    body = _outcome(bench, key, "modulation", point, live)
    return {name: _read(body[name]) for name in TONES}


def catch_ident(bench: Bench, key: str, point_name: str, records: int) -> Ident:
    """Take records until one holds the identification, and its text where records are long.

    Raises
    ------
    Refused
        As `measure_modulation`.
    """
    point = _connected(bench, key, point_name)

    def live() -> Body:
        for _ in range(records):
            waveform = _waveform(bench, point)
            keyed = _keyed(point, waveform)
            if keyed:
                whole = _analysis(point, waveform.samples_v, waveform.rate_hz)
                return {
                    "depth": _mean([depth for depth, _ in keyed]),
                    "tone_hz": _mean([tone for _, tone in keyed]),
                    "text": whole.ident_text or "",
                    "wpm": whole.ident_wpm,
                }
        return {"depth": None, "tone_hz": None, "text": "", "wpm": None}

    body = _outcome(bench, key, "identification", point, live)
    depth, tone_hz, wpm = body["depth"], body["tone_hz"], body["wpm"]
    return Ident(
        depth=None if depth is None else _read(depth),
        tone_hz=None if tone_hz is None else _read(tone_hz),
        text=str(body["text"]),
        wpm=None if wpm is None else float(str(wpm)),
    )


def _connected(bench: Bench, key: str, point_name: str) -> Point:
    point = bench.station.point(point_name)
    channel = f" channel {point.channel}" if point.channel else ""
    bench.require(
        f"{key}/connect",
        f"Put the probe of {point.instrument}{channel} on '{point.name}'.",
        action=Action("connect probe", {"point": point.name, "channel": point.channel}),
    )
    bench.carried(point)
    return point


def _outcome(bench: Bench, key: str, what: str, point: Point, live: Callable[[], Body]) -> Body:
    request = {"do": what, "point": point.name}
    return bench.journal.outcome(key, request, lambda: bench.patiently(key, live))


def _record(bench: Bench, point: Point) -> Analysis:
    waveform = _waveform(bench, point)
    return _analysis(point, waveform.samples_v, waveform.rate_hz)


def _waveform(bench: Bench, point: Point) -> Waveform:
    scope = oscilloscope(bench.instruments[point.instrument])
    waveform = scope.waveform(point=point.name, channel=point.channel)
    if waveform.clipped:
        raise Refused(
            f"The record of '{point.name}' leaves the range of {waveform.source}.",
            hint="use a profile with more volts for the detectors.",
        )
    return waveform


def _analysis(point: Point, samples_v: npt.NDArray[np.float64], rate_hz: float) -> Analysis:
    # scipy and the estimator load only where samples are really looked at.
    from daq.samples.analyze import analyze_samples

    try:
        return analyze_samples(samples_v, rate_hz)
    except SamplesError as error:
        raise Refused(f"'{point.name}': {error.message}", hint=error.hint) from error


def _keyed(point: Point, waveform: Waveform) -> list[tuple[Estimate, Estimate]]:
    """Return depth and tone of the ident in each piece of a record in which it is keyed.

    A piece between two transmissions holds none, or a trace that is the converter's: it would
    pull a mean over the record down.

    A piece that cannot be taken apart says nothing; the others do.
    """
    size = round(min(PIECE_S * waveform.rate_hz, waveform.samples_v.size))
    starts = range(0, waveform.samples_v.size - size + 1, size)
    whole: list[tuple[Estimate, Estimate]] = []
    for at in starts:
        with contextlib.suppress(Refused):
            one = _analysis(point, waveform.samples_v[at : at + size], waveform.rate_hz)
            if one.ident_depth is not None and one.ident_hz is not None:
                whole.append((one.ident_depth, one.ident_hz))
    least = max(TRACE, 0.5 * max((depth.value for depth, _ in whole), default=0.0))
    return [(depth, tone) for depth, tone in whole if depth.value > least]


def _mean(estimates: Sequence[Estimate]) -> dict[str, float]:
    """Return the mean; its uncertainty is the larger of what records state and what they show.

    What they state is not divided by the root of their number: the rounding of a converter whose
    records lock to the tones is the same in each.
    """
    n = len(estimates)
    value = math.fsum(one.value for one in estimates) / n
    stated = math.sqrt(math.fsum(one.u**2 for one in estimates) / n)
    spread = math.fsum((one.value - value) ** 2 for one in estimates)
    shown = math.sqrt(spread / (n * (n - 1))) if n > 1 else 0.0
    return {"value": value, "u": max(stated, shown)}


def _read(body: object) -> Mean:
    if not isinstance(body, Mapping):
        raise Refused("The journal holds a modulation without its values.")
    return Mean(float(str(body["value"])), float(str(body["u"])))
