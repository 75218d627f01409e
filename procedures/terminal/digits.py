"""Large digits, three lines high, to be read from where the hand is."""

from __future__ import annotations

from types import MappingProxyType
from typing import Final

_SHAPES: Final = MappingProxyType(
    {
        "0": ("█▀▀█", "█  █", "█▄▄█"),
        "1": ("  ▄█", "   █", "   █"),
        "2": ("▀▀▀█", "█▀▀▀", "█▄▄▄"),
        "3": ("▀▀▀█", " ▀▀█", "▄▄▄█"),
        "4": ("█  █", "▀▀▀█", "   █"),
        "5": ("█▀▀▀", "▀▀▀█", "▄▄▄█"),
        "6": ("█▀▀▀", "█▀▀█", "█▄▄█"),
        "7": ("▀▀▀█", "   █", "   █"),
        "8": ("█▀▀█", "█▀▀█", "█▄▄█"),
        "9": ("█▀▀█", "▀▀▀█", "▄▄▄█"),
        "-": ("   ", "▀▀▀", "   "),
        ".": (" ", " ", "▄"),
        " ": ("    ", "    ", "    "),
    }
)
"""Seven-segment digits of half blocks: thick strokes on any terminal that knows UTF-8."""


def large(text: str) -> tuple[str, str, str] | None:
    """Return `text` as three lines of equal length, or None where a character has no large form."""
    if not text or any(c not in _SHAPES for c in text):
        return None
    shapes = [_SHAPES[c] for c in text]
    top, middle, bottom = (" ".join(shape[row] for shape in shapes) for row in range(3))
    return top, middle, bottom
