"""An identification caught: what records of a detector say of it, one after the other."""

from __future__ import annotations

import contextlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from daq.errors import Refused
from daq.log.entry import Body
from daq.reading import Waveform
from daq.station import Point
from daq.station_equipment import IdentCheck
from procedures.engine.bench import Bench
from procedures.steps.detector_records import (
    Mean,
    analyzed,
    connect_probe,
    kept,
    mean_of,
    read_mean_or_none,
    take_record,
)

if TYPE_CHECKING:
    from daq.samples.keyed_ident import TimedRecord
    from daq.samples.model import Estimate

PIECE_S: Final = 1.0
"""Length of the pieces of a record in which the ident is looked for: several marks at any speed."""

SHORTEST_DOT_S: Final = 0.1
"""Taken for a dot where none was decoded (Annex 10 Vol I, 3.1.3.9.4: 0.1 to 0.160 s)."""


@dataclass(frozen=True, slots=True)
class Ident:
    """An identification as it was caught.

    Attributes
    ----------
    depth, tone_hz
        While the key is down; None when no record held it.
    text
        What it spells; empty where no record was long enough.
    dot_s
        Length of a dot, s; None likewise.
    per_minute, unequal
        How often it is sent, and longest less shortest interval over their mean; None when fewer
        than two intervals were seen.
    intervals_s
        From one transmission to the next.
    """

    depth: Mean | None
    tone_hz: Mean | None
    text: str = ""
    dot_s: float | None = None
    per_minute: Mean | None = None
    unequal: Mean | None = None
    intervals_s: tuple[float, ...] = ()

    @property
    def letters(self) -> str:
        """The text without its spaces."""
        return self.text.replace(" ", "")

    def long_enough_for(self, wanted: str) -> bool:
        """Whether so much was heard that it can be told from `wanted`."""
        return len(self.letters) >= len(wanted)

    def spells(self, wanted: str) -> bool:
        """Whether the text is `wanted` again and again; a record may begin in the middle of it."""
        letters = self.letters
        return self.long_enough_for(wanted) and letters in wanted * (len(letters) + 1)

    @property
    def words_per_minute(self) -> float | None:
        """Speed: a word is 50 dots (PARIS)."""
        return None if self.dot_s is None else 1.2 / self.dot_s


def catch_identification(bench: Bench, key: str, table: IdentCheck) -> Ident:
    """Take records one after the other and return what they say of the identification.

    Raises
    ------
    Refused
        A record cannot be measured; the message says why.
    """
    point = connect_probe(bench, key, table.point)

    def live() -> Body:
        waveforms, timed = _records(bench, point, table.records)
        for waveform in waveforms:
            keyed = _keyed(point, waveform)
            if keyed:
                depth, tone_hz = (mean_of(each) for each in zip(*keyed, strict=True))
                keying = _keying(timed, tone_hz["value"], bench.station.station.ident)
                return {"depth": depth, "tone_hz": tone_hz, **keying}
        return {"depth": None, "tone_hz": None, "text": "", "dot_s": None}

    body = kept(bench, key, "identification", point, live)
    intervals_s = body.get("intervals_s", [])
    return Ident(
        depth=read_mean_or_none(body["depth"]),
        tone_hz=read_mean_or_none(body["tone_hz"]),
        text=str(body["text"]),
        dot_s=None if body["dot_s"] is None else float(str(body["dot_s"])),
        per_minute=read_mean_or_none(body.get("per_minute")),
        unequal=read_mean_or_none(body.get("unequal")),
        intervals_s=tuple(intervals_s) if isinstance(intervals_s, list | tuple) else (),
    )


def _records(bench: Bench, point: Point, count: int) -> tuple[list[Waveform], list[TimedRecord]]:
    """Take records without a pause, each with the bench's time before and after it."""
    from daq.samples.keyed_ident import timed_record

    waveforms: list[Waveform] = []
    timed: list[TimedRecord] = []
    for _ in range(count):
        before_s = bench.clock.monotonic_ns() / 1e9
        one = take_record(bench, point)
        after_s = one.mono_ns / 1e9
        waveforms.append(one)
        timed.append(timed_record(one.samples_v, one.rate_hz, before_s, after_s))
    return waveforms, timed


def _keyed(point: Point, waveform: Waveform) -> list[tuple[Estimate, Estimate]]:
    """Return depth and tone of the ident in each piece of a record in which it is keyed.

    A piece between two transmissions holds none, or a trace that is the converter's: it would
    pull a mean over the record down.

    A piece that cannot be taken apart says nothing; the others do.
    """
    from daq.samples.keyed_ident import TRACE

    size = round(min(PIECE_S * waveform.rate_hz, waveform.samples_v.size))
    starts = range(0, waveform.samples_v.size - size + 1, size)
    whole: list[tuple[Estimate, Estimate]] = []
    for at in starts:
        with contextlib.suppress(Refused):
            one = analyzed(point, waveform.samples_v[at : at + size], waveform.rate_hz)
            if one.ident_depth is not None and one.ident_hz is not None:
                whole.append((one.ident_depth, one.ident_hz))
    least = max(TRACE, 0.5 * max((depth.value for depth, _ in whole), default=0.0))
    return [(depth, tone) for depth, tone in whole if depth.value > least]


def _keying(records: Sequence[TimedRecord], tone_hz: float, wanted: str) -> dict[str, object]:
    """Return code, dot and repetition as they are kept; `wanted` is the code of the station."""
    from daq.samples.ident_repetition import decode_longest, marks_of, repetition
    from daq.samples.keyed_ident import keyed_envelopes

    envelopes = keyed_envelopes(records, tone_hz)
    message = decode_longest(envelopes)
    dot_s = None if message is None else message.dot_s
    said: dict[str, object] = {"text": "" if message is None else message.text, "dot_s": dot_s}
    sent = repetition(envelopes, dot_s or SHORTEST_DOT_S, marks_of(wanted))
    if sent is None:
        return said
    said["intervals_s"] = list(sent.intervals_s)
    for name, one in (("per_minute", sent.per_minute), ("unequal", sent.unequal)):
        if one is not None:
            said[name] = {"value": one.value, "u": one.u}
    return said
