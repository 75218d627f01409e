"""From the keying of the ident to its text.

Timing by ITU-R M.1677-1, part I, section 2 (from memory): a dash is three dots, the space inside
a letter one, between letters three, between words seven.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby
from types import MappingProxyType
from typing import Final

import numpy as np
import numpy.typing as npt

from daq.samples.lowpass import Floats

CODE: Final = MappingProxyType(
    {
        "A": ".-",
        "B": "-...",
        "C": "-.-.",
        "D": "-..",
        "E": ".",
        "F": "..-.",
        "G": "--.",
        "H": "....",
        "I": "..",
        "J": ".---",
        "K": "-.-",
        "L": ".-..",
        "M": "--",
        "N": "-.",
        "O": "---",
        "P": ".--.",
        "Q": "--.-",
        "R": ".-.",
        "S": "...",
        "T": "-",
        "U": "..-",
        "V": "...-",
        "W": ".--",
        "X": "-..-",
        "Y": "-.--",
        "Z": "--..",
        "0": "-----",
        "1": ".----",
        "2": "..---",
        "3": "...--",
        "4": "....-",
        "5": ".....",
        "6": "-....",
        "7": "--...",
        "8": "---..",
        "9": "----.",
    }
)
"""Letters and figures of ITU-R M.1677-1, part I, section 1.1."""

UNKNOWN: Final = "?"
"""Stands for a group that is no letter or figure."""

_LETTERS: Final = MappingProxyType({code: letter for letter, code in CODE.items()})
_DOT_RANGE_S: Final = (0.03, 0.4)
_DOTS_PER_WORD: Final = 50.0
"""The word PARIS with the space after it, by which speed is counted."""


@dataclass(frozen=True, slots=True)
class Message:
    """Decoded keying.

    Attributes
    ----------
    text
        Letters, figures and single spaces; `UNKNOWN` for a group that is none.
    dot_s
        Length of a dot.
    """

    text: str
    dot_s: float

    @property
    def wpm(self) -> float:
        """Words a minute, a word being 50 dots."""
        return 60.0 / (_DOTS_PER_WORD * self.dot_s)


def decode(envelope: Floats, step_s: float) -> Message | None:
    """Return the text that an ident envelope spells, or None if it is not keyed.

    Parameters
    ----------
    envelope
        Amplitude in consecutive steps, shape (k,).
    step_s
        Length of a step; a few steps to the dot at least.
    """
    low, high = np.percentile(envelope, [5.0, 95.0])
    if not high > 3.0 * low:
        return None
    runs = _runs(envelope > 0.5 * (low + high))
    marks = np.array([length for on, length in runs[1:-1] if on]) * step_s
    if len(marks) < 2:
        return None
    gaps = np.array([length for on, length in runs[1:-1] if not on]) * step_s
    dot_s = _dot(marks, gaps)
    if not _DOT_RANGE_S[0] <= dot_s <= _DOT_RANGE_S[1]:
        return None
    text = _spell(_whole_letters(runs, 2.0 * dot_s / step_s), dot_s / step_s)
    return Message(text, dot_s) if text.strip(f" {UNKNOWN}") else None


def _runs(on: npt.NDArray[np.bool_]) -> list[tuple[bool, int]]:
    """Return (keyed, steps) of each stretch, single-step glitches joined to their surroundings."""
    smooth = on.copy()
    smooth[1:-1] = (on[:-2].astype(int) + on[1:-1] + on[2:]) >= 2
    return [(bool(key), sum(1 for _ in group)) for key, group in groupby(smooth)]


def _dot(marks: Floats, gaps: Floats) -> float:
    """Estimate the dot from marks of one and three and gaps of one, three and seven dots."""
    shortest = float(min(marks.min(), gaps.min() if len(gaps) else np.inf))
    units = np.concatenate([marks, gaps[gaps < 5.0 * shortest]])
    counts = np.where(units > 2.0 * shortest, 3.0, 1.0)
    return float((units @ counts) / (counts @ counts))


def _whole_letters(runs: list[tuple[bool, int]], letter_gap: float) -> list[tuple[bool, int]]:
    """Drop what the record's ends have cut: up to the first and after the last letter space."""
    breaks = [k for k, (on, length) in enumerate(runs) if not on and length > letter_gap]
    return runs[breaks[0] : breaks[-1] + 1] if len(breaks) > 1 else []


def _spell(runs: list[tuple[bool, int]], dot: float) -> str:
    text, group = "", ""
    for on, length in runs:
        if on:
            group += "-" if length > 2.0 * dot else "."
        elif length > 2.0 * dot:
            text += _LETTERS.get(group, UNKNOWN) if group else ""
            text += " " if length > 5.0 * dot else ""
            group = ""
    return " ".join(text.split())
