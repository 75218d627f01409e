"""Text from people and instruments, made fit to print: every character is seen, none acts."""

from __future__ import annotations

import unicodedata
from typing import Final

LONGEST: Final = 2000
"""Characters printed of one text; the log has the rest."""

_HIDDEN: Final = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})
r"""Unicode categories printed as an escape: controls, formats (bidirectional overrides and
zero-width characters among them), surrogates, private and unassigned characters, separators."""


def visible(text: str) -> str:
    r"""Return `text` with hidden characters escaped (``\x07``, ``\u202e``) and cut at `LONGEST`.

    Line breaks and tabs become blanks: a text stays in its place on the page.
    """
    shown = "".join(_character(c) for c in text[:LONGEST])
    if len(text) > LONGEST:
        return f"{shown} … (shortened: {len(text)} characters in the log)"
    return shown


def _character(character: str) -> str:
    if character in "\n\r\t":
        return " "
    if unicodedata.category(character) in _HIDDEN:
        return character.encode("unicode_escape").decode("ascii")
    return character
