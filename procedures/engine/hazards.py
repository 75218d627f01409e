"""A state in which false guidance is radiated, and how it is undone."""

from __future__ import annotations

from dataclasses import dataclass

from daq.roles import Action


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
