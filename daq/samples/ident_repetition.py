"""How often an ident is sent, and whether at equal intervals, from when its key is down.

ICAO Annex 10, volume I, 3.1.3.9.4: at about equal intervals, not less than six times a minute.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
import numpy.typing as npt

from daq.samples.keyed_ident import KeyedEnvelope, keyed_down
from daq.samples.lowpass import Floats
from daq.samples.model import Estimate
from daq.samples.morse import CODE, Message, decode

Mask = npt.NDArray[np.bool_]

WORD_GAP_DOTS: Final = 5.0
"""A silence of more dots is no space between letters: that has three, one between words seven
(ITU-R M.1677-1, part I, section 2, from memory)."""

PAUSE_SHARE: Final = 0.25
"""Of the longest silence: where another code is sent than the one that is known, a shorter one
belongs to the inside of a transmission, as the short pause after an I that comes before the letters
of the station."""

ALIKE: Final = 1.25
"""Silences of which none is longer than the next shorter one by more than this factor are of one
kind: they do not tell a pause inside a transmission from the silence after it."""

TIME_BASE_U: Final = 1e-4
"""Standard uncertainty of the time base of an oscilloscope, a part of the time (common practice, no
source: most are better)."""


@dataclass(frozen=True, slots=True)
class Transmission:
    """One sending of the whole code, as far as it was seen.

    Attributes
    ----------
    start_s, end_s
        First going down and last going up of the key; None where that was not seen.
    """

    start_s: float | None
    end_s: float | None


@dataclass(frozen=True, slots=True)
class Repetition:
    """How often an ident is sent.

    Attributes
    ----------
    intervals_s
        From one transmission to the next, in the order in which they were seen.
    per_minute
        How often in a minute on the average; None when only one interval was seen: where they are
        unequal one says nothing of the next.
    unequal
        Longest less shortest interval over the mean; None likewise.
    """

    intervals_s: tuple[float, ...]
    per_minute: Estimate | None = None
    unequal: Estimate | None = None


def decode_longest(envelopes: Sequence[KeyedEnvelope]) -> Message | None:
    """Return the text of the longest envelope that spells one, None where none does."""
    for envelope in sorted(envelopes, key=lambda one: one.depth.size, reverse=True):
        if keyed_down(envelope) is None:
            continue
        message = decode(envelope.depth, envelope.step_s)
        if message is not None:
            return message
    return None


def marks_of(ident: str) -> int:
    """Return how many dots and dashes an ident has, by which one transmission is told from two.

    Raises
    ------
    KeyError
        It has a character that the code has not.
    """
    return sum(len(CODE[letter]) for letter in ident.upper() if letter != " ")


def transmissions(envelope: KeyedEnvelope, dot_s: float, marks: int) -> tuple[Transmission, ...]:
    """Return the transmissions in an envelope; none where it cannot be told where they begin.

    A new one begins when the marks of the last one have gone by. The start is known only after a
    silence longer than any inside a transmission, the end before one; where the envelope begins or
    ends, what was seen of a silence has to be so long.

    Parameters
    ----------
    dot_s
        Length of a dot.
    marks
        Of the code that should be sent. Where another one is, silences tell transmissions apart as
        far as they are clearly of two kinds.
    """
    edges = keyed_down(envelope)
    if edges is None:
        return ()
    ons, offs = edges[0::2], edges[1::2]
    whole_s = len(envelope.depth) * envelope.step_s
    silences = np.concatenate([ons, [whole_s]]) - np.concatenate([[0.0], offs])
    word_gap_s = WORD_GAP_DOTS * dot_s
    between = silences[1:-1]
    whole = np.ones(2, dtype=np.bool_)
    first = _first_by_count(between, word_gap_s, marks)
    if first is None:
        parted = _by_silence(between, word_gap_s)
        if parted is None:
            return ()
    else:
        parted = np.zeros(between.size, dtype=np.bool_)
        parted[first::marks] = True
        # What has fewer marks was cut by the envelope, however long it is silent beside them.
        whole[:] = first + 1 == marks, (between.size - first) % marks == 0
    inside_s = float(between[~parted].max(initial=0.0))
    ends = whole & (silences[[0, -1]] > max(word_gap_s, inside_s))
    return tuple(_grouped(ons, offs, np.concatenate([ends[:1], parted, ends[1:]])))


def _first_by_count(between: Floats, word_gap_s: float, marks: int) -> int | None:
    """Return the first silence that parts transmissions of so many marks; None where none does.

    The record may begin at any mark. Where silences of more than one place in the code are long
    enough, those on which it is silent longest are between transmissions.
    """
    best, longest_s = None, 0.0
    for first in range(min(marks, between.size)):
        parting = between[first::marks]
        if parting.min() > word_gap_s and parting.mean() > longest_s:
            best, longest_s = first, float(parting.mean())
    return best


def _by_silence(between: Floats, word_gap_s: float) -> Mask | None:
    """Return which silences are long; None where long ones are of kinds too like each other."""
    long_s = np.sort(between[between > word_gap_s])
    if not long_s.size:
        return np.zeros(between.size, dtype=np.bool_)
    least_s = PAUSE_SHARE * float(long_s[-1])
    kinds = np.max(long_s[1:] / long_s[:-1], initial=1.0) > ALIKE
    if kinds and long_s[0] > least_s:
        return None
    parted: Mask = between > max(word_gap_s, least_s)
    return parted


def _grouped(ons: Floats, offs: Floats, apart: Mask) -> list[Transmission]:
    """Return transmissions from marks; `apart[k]` is the silence before mark k."""
    found: list[Transmission] = []
    start_s = float(ons[0]) if apart[0] else None
    for k, off in enumerate(offs):
        last = k + 1 == len(offs)
        if last or apart[k + 1]:
            found.append(Transmission(start_s, float(off) if apart[k + 1] else None))
            start_s = None if last else float(ons[k + 1])
    return found


def repetition(envelopes: Sequence[KeyedEnvelope], dot_s: float, marks: int) -> Repetition | None:
    """Return how often the ident is sent; None when no two transmissions were seen to follow.

    Parameters
    ----------
    envelopes
        What lies between two of them was not seen, and nothing is concluded over it.
    dot_s, marks
        As for `transmissions`.
    """
    intervals: list[float] = []
    u_s = 0.0
    for envelope in envelopes:
        own = list(_intervals(transmissions(envelope, dot_s, marks)))
        if own:
            intervals += own
            u_s = max(u_s, float(np.sqrt(2.0)) * envelope.place_u_s)
    if not intervals:
        return None
    if len(intervals) == 1:
        return Repetition(tuple(intervals))
    mean_s, count = float(np.mean(intervals)), len(intervals)
    scatter_s = float(np.std(intervals, ddof=1)) / np.sqrt(count)
    mean_u_s = float(np.sqrt(u_s**2 + scatter_s**2 + (TIME_BASE_U * mean_s) ** 2))
    spread = (max(intervals) - min(intervals)) / mean_s
    return Repetition(
        intervals_s=tuple(intervals),
        per_minute=Estimate(60.0 / mean_s, 60.0 / mean_s**2 * mean_u_s),
        unequal=Estimate(spread, float(np.hypot(np.sqrt(2.0) * u_s, spread * mean_u_s)) / mean_s),
    )


def _intervals(sent: Sequence[Transmission]) -> list[float]:
    """Return the time from each to the next where both starts, or else both ends, were seen."""
    found: list[float] = []
    for one, other in pairwise(sent):
        if one.start_s is not None and other.start_s is not None:
            found.append(other.start_s - one.start_s)
        elif one.end_s is not None and other.end_s is not None:
            found.append(other.end_s - one.end_s)
    return found
