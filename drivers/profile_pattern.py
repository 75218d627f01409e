"""Make a pattern for answers from one answer that came and from what its parts are."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Final

from daq.errors import InputError

_NEEDLESS: Final = re.compile(r"\\([-#&~ ])")
"""Escaped by `re.escape` for character sets and verbose patterns only, of which this is neither."""

Part = tuple[str, str, str]
"""Text of a part of an answer, the name of its group (empty: none), and what may stand there."""


def literal(text: str) -> str:
    """Return the pattern of this very text, with no more backslashes than it needs."""
    return _NEEDLESS.sub(r"\1", re.escape(text))


def pattern_for(answer: str, parts: Sequence[Part]) -> str:
    """Return a regular expression for answers like `answer`.

    Parameters
    ----------
    answer
        An answer as it came.
    parts
        What may differ in another answer; of each the first place is taken where its text stands
        and that is still free.

    Raises
    ------
    InputError
        One place is said to be two things.
    """
    places: list[tuple[int, int, str]] = []
    for text, name, inside in parts:
        start = _free_place(answer, text, places)
        places.append((start, start + len(text), f"(?P<{name}>{inside})" if name else inside))
    pattern, done = "", 0
    for start, stop, group in sorted(places):
        pattern += literal(answer[done:start]) + group
        done = stop
    return pattern + literal(answer[done:])


def _free_place(answer: str, text: str, taken: Sequence[tuple[int, int, str]]) -> int:
    start = answer.find(text)
    while start >= 0:
        if all(start + len(text) <= first or start >= last for first, last, _ in taken):
            return start
        start = answer.find(text, start + 1)
    raise InputError(f"{text!r} cannot mean two things in {answer!r}.")
