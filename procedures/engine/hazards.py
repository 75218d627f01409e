"""A state in which false guidance is radiated, and how it is undone."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from daq.log.entry import Body, Entry
from daq.roles import Action

BEGINS: Final = "false guidance begins"
ENDS: Final = "false guidance ends"
"""Events at its beginning and its end; the event's key is its own, its ``what`` says it."""

PUT_BACK: Final = "put back"
"""Event when a run that ends has asked to undo it; says by ``confirmed`` whether it is undone."""


@dataclass(frozen=True, slots=True)
class Hazard:
    """Something that has to be put back before a run may end well.

    Attributes
    ----------
    what
        In words, as they follow "reminder:".
    undo
        What hands do to undo it, in order; empty where only words can say it.
    since
        How many outcomes the run had when it began.
    """

    what: str
    undo: tuple[Action, ...] = ()
    since: int = 0

    def begins(self) -> Body:
        """Return the event at its beginning, with what undoes it."""
        undo = [{"verb": act.verb, "arguments": dict(act.arguments)} for act in self.undo]
        return {"event": BEGINS, "what": self.what, "undo": undo}

    def ends(self) -> Body:
        """Return the event at its end."""
        return {"event": ENDS, "what": self.what}


def standing(rows: Iterable[Entry]) -> dict[str, Hazard]:
    """Return what began and neither ended nor was put back, by its key.

    Parameters
    ----------
    rows
        The rows of a run, in order; those of an older log say nothing of it.
    """
    found: dict[str, Hazard] = {}
    for row in rows:
        event = row.body.get("event")
        if event == BEGINS:
            found[row.key] = Hazard(str(row.body.get("what")), _acts(row.body.get("undo")))
        elif event == ENDS or (event == PUT_BACK and row.body.get("confirmed") is True):
            found.pop(row.key, None)
    return found


def _acts(undo: object) -> tuple[Action, ...]:
    acts = undo if isinstance(undo, list) else []
    return tuple(Action(str(act["verb"]), dict(act["arguments"])) for act in acts)
