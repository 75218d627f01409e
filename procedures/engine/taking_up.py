"""Where a run that was stopped or refused can be taken up again, and from which outcome on.

A run that is cut off leaves the station as it was; one that is ended puts back first what radiates
false guidance. What was put back has to be set anew: the run is taken up from the outcome at which
it was set, and everything since is done again. A cable that was cut since stays cut, so that such
a run is not taken up.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Final

from daq.log.entry import Body
from daq.roles import Action, Answer, Prompt
from procedures.engine.hazards import Hazard

TAKE_UP: Final = "take_up"
"""Key in the last row of a run: how many of its outcomes hold when it is taken up."""


@dataclass
class Trail:
    """What was asked in a run, by the number of the outcome.

    Attributes
    ----------
    acts
        What hands have done.
    undoing
        Acts that undo a hazard; none of them sets one.
    refusal
        Number of the last question that was answered with no, or with nothing.
    """

    acts: dict[int, Action] = field(default_factory=dict)
    undoing: list[Action] = field(default_factory=list)
    refusal: int | None = None

    def asked(self, number: int, prompt: Prompt, answer: Answer) -> None:
        """Remember a question and its answer."""
        if answer is False or (isinstance(answer, str) and not answer.strip()):
            self.refusal = number
        elif prompt.action is not None:
            self.acts[number] = prompt.action

    def holds_until(self, hazard: Hazard) -> int:
        """Return the number of the outcome at which a hazard was set."""
        # Some are set by the act just before the reminder begins, some by the first one after.
        before = hazard.since - 1
        act = self.acts.get(before)
        sets = act is not None and act not in self.undoing and not _is_cut(act)
        return before if sets else hazard.since

    def cut_since(self, number: int) -> bool:
        """Whether a cable was cut at that outcome or after it."""
        return any(at >= number and _is_cut(act) for at, act in self.acts.items())


def stopped_at(trail: Trail, hazards: Iterable[Hazard], outcomes: int) -> int | None:
    """Return how many outcomes hold when a run that the technician stopped is taken up.

    Returns
    -------
    int or None
        None when it cannot be taken up.
    """
    holds = min([outcomes, *(trail.holds_until(hazard) for hazard in hazards)])
    return None if trail.cut_since(holds) else holds


def refused_at(trail: Trail, hazards: Iterable[Hazard], outcomes: int) -> int | None:
    """Return the same of a run that was refused; None where the plant refused, and not an answer.

    The answer that refused it is asked again.
    """
    last = outcomes - 1
    return stopped_at(trail, hazards, last) if trail.refusal == last else None


def held(ended: Body) -> int | None:
    """Return how many outcomes hold by the last row of a run; None when it is not taken up."""
    number = ended.get(TAKE_UP)
    return number if isinstance(number, int) else None


def _is_cut(act: Action) -> bool:
    return act.verb.startswith("cut")
