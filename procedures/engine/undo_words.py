"""What hands do to put something back to normal, as it is said to a technician."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from daq.roles import Action

_SAID: Final[Mapping[str, str]] = {
    "restore control": "Turn '{control}' back to its normal mark.",
    "remove line": "Take the quarter-wave line out of the {path} path and restore the connection.",
    "switch carrier": "Switch the {carrier} carrier {state}.",
    "switch tone": "Switch the {tone:g} Hz tone {state}.",
    "key ident": "Set the keying of the identification to '{mode}'.",
    "select transmitter": "Put transmitter {number:g} back on the air.",
}
"""Verb of an act that undoes something -> the sentence, with the act's own arguments."""


def undo_words(act: Action | None) -> str:
    """Return what is to be done; general words where the act has none of its own."""
    said = _SAID.get(act.verb) if act is not None else None
    if act is None or said is None:
        return "Put it back to normal now."
    arguments = dict(act.arguments)
    if "path" in arguments:
        arguments["path"] = cable_words(str(arguments["path"]))
    return said.format_map(arguments)


def cable_words(cable: str) -> str:
    """Return a cable's name as it is said: ``SBO``, ``clearance SBO``."""
    carrier, _, path = cable.rpartition(" ")
    return f"{carrier} {path.upper()}".strip()
