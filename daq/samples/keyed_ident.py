"""When the key of an ident is down, over one record or over several that follow each other.

The ident's amplitude is followed through whole records on one axis of time; the analysis of blocks
leaves out a few milliseconds at each joint, which is nothing to a letter and too much to the
distance of two transmissions.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from daq.samples.lowpass import Floats

STEP_S: Final = 0.002
"""About the step of an envelope: a fiftieth of the shortest dot."""

WINDOW_S: Final = 0.02
"""Length of the window of a step (Hann): the nearest harmonic of the tones is eight of its lines
away and 60 dB down; a switching is smeared over half of it and keeps its place."""

LONGEST_HOLE_S: Final = 0.04
"""Between two records: with a window's length it is less than the shortest dot, so that no mark and
no gap is hidden."""

TRACE: Final = 0.005
"""Depth up to which an ident is none: what a converter of eight bits leaves at its frequency."""


@dataclass(frozen=True, slots=True)
class TimedRecord:
    """A record of a detector, and when it was taken.

    Attributes
    ----------
    samples_v
        Shape (n,).
    rate_hz
        Samples per second.
    start_s, start_u_s
        Time of the first sample on a clock that all records share, and its standard uncertainty;
        None where no clock says.
    """

    samples_v: Floats
    rate_hz: float
    start_s: float | None = None
    start_u_s: float = 0.0


@dataclass(frozen=True, slots=True)
class KeyedEnvelope:
    """Depth of the ident in consecutive steps.

    Attributes
    ----------
    depth
        Shape (k,), amplitude over the mean of the record.
    step_s
        Length of a step.
    place_u_s
        Standard uncertainty of the place of a switching against another one of the envelope.
    """

    depth: Floats
    step_s: float
    place_u_s: float


def timed_record(samples_v: Floats, rate_hz: float, before_s: float, after_s: float) -> TimedRecord:
    """Return a record with the time at which it began, from a clock read before and after it.

    It began after the first look and ended before the second; where in between nobody knows, so the
    time is evenly distributed over what is left (JCGM 100:2008, 4.3.7). A clock that saw less time
    go by than the record lasts is not the record's.

    Parameters
    ----------
    before_s, after_s
        The clock before the record was asked for and after it had arrived, s.
    """
    slack_s = after_s - before_s - len(samples_v) / rate_hz
    if slack_s < -STEP_S:
        return TimedRecord(samples_v, rate_hz)
    slack_s = max(slack_s, 0.0)
    return TimedRecord(samples_v, rate_hz, before_s + slack_s / 2.0, slack_s / np.sqrt(12.0))


def keyed_envelopes(records: Sequence[TimedRecord], ident_hz: float) -> list[KeyedEnvelope]:
    """Return the ident's envelope over records, joined where they follow each other closely.

    Parameters
    ----------
    records
        In the order in which they were taken, all at one rate.
    ident_hz
        The ident's tone, within some hertz.
    """
    return [_joined(chain, ident_hz) for chain in _chains(records)]


def keyed_down(envelope: KeyedEnvelope) -> Floats | None:
    """Return the times at which the key goes down and up, in turn, s from the first step.

    Half-way between off and on, between steps by interpolation. A key that is down at the first
    step goes down at time 0, one that is down at the last goes up at its end. None when there is no
    ident, or none that is keyed.
    """
    depth = envelope.depth
    on = depth[depth > 0.5 * depth.max()]
    level = 0.5 * float(np.median(on)) if on.size else 0.0
    if level < 0.5 * TRACE or depth.min() > level:
        return None
    down = np.concatenate([[False], depth > level, [False]])
    edges = np.flatnonzero(down[1:] != down[:-1])
    times = [_crossing(depth, int(place), level) for place in edges]
    return np.array(times) * envelope.step_s


def _crossing(depth: Floats, place: int, level: float) -> float:
    """Return where between steps `place - 1` and `place` the level is crossed, in steps."""
    if place in (0, len(depth)):
        return float(place)
    before, after = float(depth[place - 1]), float(depth[place])
    # Steps stand for their middles.
    return place - 0.5 + (level - before) / (after - before)


def _chains(records: Sequence[TimedRecord]) -> list[list[TimedRecord]]:
    """Return the records in groups that have no long hole inside."""
    chains: list[list[TimedRecord]] = []
    for record in records:
        if chains and _follows(record, chains[-1][-1]):
            chains[-1].append(record)
        else:
            chains.append([record])
    return chains


def _follows(record: TimedRecord, before: TimedRecord) -> bool:
    if record.start_s is None or before.start_s is None or record.rate_hz != before.rate_hz:
        return False
    ended_s = before.start_s + len(before.samples_v) / before.rate_hz
    return abs(record.start_s - ended_s) <= LONGEST_HOLE_S


def _joined(chain: Sequence[TimedRecord], ident_hz: float) -> KeyedEnvelope:
    """Put envelopes on one axis; what no record saw is as the nearest step that one saw."""
    step = max(1, round(STEP_S * chain[0].rate_hz))
    step_s = step / chain[0].rate_hz
    starts_s = [record.start_s or 0.0 for record in chain]
    rows = [_depth(record, ident_hz, step) for record in chain]
    places = [round((start_s - starts_s[0]) / step_s) for start_s in starts_s]
    seen = np.full(places[-1] + len(rows[-1]), np.nan)
    for place, row in zip(places, rows, strict=True):
        seen[place : place + len(row)] = row
    depth, widest = _filled(seen)
    clocks_u_s = max(record.start_u_s for record in chain) if len(chain) > 1 else 0.0
    return KeyedEnvelope(
        depth=depth,
        step_s=step_s,
        place_u_s=float(np.hypot((1 + widest) * step_s / np.sqrt(12.0), clocks_u_s)),
    )


def _filled(seen: Floats) -> tuple[Floats, int]:
    """Return `seen` with what is not a number as its nearest number, and the widest hole inside."""
    known = np.flatnonzero(~np.isnan(seen))
    if len(known) < 2:
        return np.zeros(len(seen)), 0
    axis = np.arange(len(seen))
    after = np.clip(np.searchsorted(known, axis), 1, len(known) - 1)
    is_before = axis - known[after - 1] <= known[after] - axis
    nearest = np.where(is_before, known[after - 1], known[after])
    return seen[nearest], int(np.diff(known).max()) - 1


def _depth(record: TimedRecord, ident_hz: float, step: int) -> Floats:
    """Return the ident's amplitude over the mean in steps of `step` samples, shape (k,).

    Not a number at the ends, where the window would reach beyond the record: cut off short it lets
    the tones through.
    """
    v, width = record.samples_v, round(WINDOW_S * record.rate_hz)
    window = np.hanning(width + 2)[1:-1]
    mean = float(v.mean())
    turn = np.exp(-2j * np.pi * ident_hz / record.rate_hz * np.arange(len(v)))
    depth = np.full(len(v) // step, np.nan)
    # The window's middle lies in the middle of its step.
    first = np.arange(len(depth)) * step + (step - width) // 2
    whole = (first >= 0) & (first + width <= len(v))
    if whole.any():
        at = first[whole]
        turned = np.lib.stride_tricks.sliding_window_view((v - mean) * turn, width)
        sums = turned[at[0] : at[-1] + 1 : step] @ window
        depth[whole] = 2.0 * np.abs(sums) / window.sum() / abs(mean)
    return depth
