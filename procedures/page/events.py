"""Server-sent events on the wire (WHATWG HTML, section 9.2): plain functions, bytes out."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Final

RETRY_MS: Final = 500
"""How soon a browser tries again after the stream broke."""


def event(name: str, body: Mapping[str, object], *, seq: int | None = None) -> bytes:
    """Return one event; its data is one line of JSON, so nothing in it can end the event.

    Parameters
    ----------
    seq
        Row of the log; the browser sends the last one back when it connects again.
    """
    data = json.dumps(body, separators=(",", ":"), allow_nan=False)
    head = f"event: {name}\n" if seq is None else f"event: {name}\nid: {seq}\n"
    return f"{head}data: {data}\n\n".encode()


def retry() -> bytes:
    """Return the line that tells a browser how soon to try again."""
    return f"retry: {RETRY_MS}\n\n".encode()


def last_id(text: str | None) -> int:
    """Return the row that a browser saw last; 0 for none or for what is no row."""
    if text is None or not (text.isascii() and text.isdigit()) or len(text) > 18:
        return 0
    return int(text)
