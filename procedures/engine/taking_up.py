"""Where a run that was stopped or refused can be taken up again, and from which outcome on.

A run that is cut off leaves the station as it was; one that is ended puts back first what radiates
false guidance. What was put back has to be set anew: the run is taken up from the outcome at which
it was set, and everything since is done again. A control that was turned since, and that nothing
put back, stays turned: what was read before with the control elsewhere is read again too. A cable
that was cut since stays cut, so that such a run is not taken up.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Final

from daq.journal import RESUMED
from daq.log.entry import Body, Entry, Kind
from daq.roles import Action, Answer, Prompt
from procedures.engine.hazards import Hazard

TAKE_UP: Final = "take_up"
"""Key in the last row of a run: how many of its outcomes hold when it is taken up."""

ENDING: Final = "ending"
"""Event before anything is put back; says what the last row of the run says of taking it up."""

_READ_NOTHING: Final = frozenset(
    {
        *("acknowledge", "confirm", "number", "text", "note", "judge", "adjust"),
        *("day", "look up", "now", "reference values", "marks"),
    }
)
"""What outcomes do that are no reading of the station; every other counts as one."""

_CUT_SINCE: Final = (
    "a cable was cut since the outcome from which it would have to be done again, and a cut "
    "cannot be done again"
)


@dataclass(frozen=True, slots=True)
class TakeUp:
    """How a run that ended can be taken up.

    Attributes
    ----------
    holds
        How many of its outcomes hold; None when it is not taken up.
    turned
        Controls that were turned since and that nothing puts back.
    moved
        An instrument was connected or carried elsewhere since.
    why_not
        Why it is not taken up, where that is for a reason of its own.
    """

    holds: int | None
    turned: tuple[str, ...] = ()
    moved: bool = False
    why_not: str = ""

    def to_body(self) -> Body:
        """Return what the log keeps of it."""
        if self.holds is None:
            return {"not_taken_up": self.why_not} if self.why_not else {}
        return {TAKE_UP: self.holds, "turned": list(self.turned), "moved": self.moved}

    @classmethod
    def from_body(cls, body: Body) -> TakeUp:
        """Return it from the log; of an older log without what hands did since."""
        holds, turned = body.get(TAKE_UP), body.get("turned")
        return cls(
            holds if isinstance(holds, int) else None,
            tuple(str(each) for each in turned) if isinstance(turned, list) else (),
            body.get("moved") is True,
            str(body.get("not_taken_up", "")),
        )


NOT_TAKEN_UP: Final = TakeUp(None)


@dataclass
class Trail:
    """What was asked and turned in a run, by the number of the outcome.

    Attributes
    ----------
    acts
        What hands have done.
    undoing
        Acts that undo a hazard; none of them sets one.
    refusal
        Number of the last question that was answered with no, or with nothing.
    turned
        Controls that were turned live, also where no value was captured.
    spans
        From which outcome on to before which one each hazard stood that is undone.
    """

    acts: dict[int, Action] = field(default_factory=dict)
    undoing: list[Action] = field(default_factory=list)
    refusal: int | None = None
    turned: dict[int, str] = field(default_factory=dict)
    spans: list[tuple[int, float]] = field(default_factory=list)

    def asked(self, number: int, prompt: Prompt, answer: Answer) -> None:
        """Remember a question and its answer."""
        if answer is False or (isinstance(answer, str) and not answer.strip()):
            self.refusal = number
        elif prompt.action is not None:
            self.acts[number] = prompt.action

    def undone(self, hazard: Hazard, outcomes: int) -> None:
        """Remember that a hazard was undone when the run had so many outcomes."""
        self.spans.append((self.holds_until(hazard), outcomes))

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

    def moved_since(self, number: int) -> bool:
        """Whether an instrument was connected or carried elsewhere at that outcome or after it."""
        return any(at >= number and _moves(act) for at, act in self.acts.items())

    def last_centred(self, control: str) -> int:
        """Return the number of the last outcome at which a control was centred; -1 before any."""
        centred = [
            at
            for at, act in self.acts.items()
            if act.verb == "centre control" and act.arguments.get("control") == control
        ]
        return max(centred, default=-1)


def stopped_at(trail: Trail, hazards: Iterable[Hazard], deeds: Sequence[str]) -> TakeUp:
    """Return how a run that the technician stopped can be taken up.

    Parameters
    ----------
    hazards
        What stands at this moment and is put back before the run ends.
    deeds
        What each outcome did, in order.
    """
    return _from(trail, tuple(hazards), deeds, len(deeds))


def refused_at(trail: Trail, hazards: Iterable[Hazard], deeds: Sequence[str]) -> TakeUp:
    """Return the same of a run that was refused; not at all where the plant refused it.

    The answer that refused it is asked again.
    """
    last = len(deeds) - 1
    return _from(trail, tuple(hazards), deeds, last) if trail.refusal == last else NOT_TAKEN_UP


def ending_of(rows: Iterable[Entry]) -> Body | None:
    """Return what a run said as it ended, also where the end itself was cut off.

    Parameters
    ----------
    rows
        Its rows, in order.

    Returns
    -------
    Body or None
        None while it goes on, also after it was taken up.
    """
    said: Body | None = None
    for row in rows:
        event = row.body.get("event") if row.kind is Kind.EVENT else None
        if row.kind is Kind.RUN_ENDED or event == ENDING:
            said = row.body
        elif event == RESUMED:
            said = None
    return said


def _from(trail: Trail, hazards: Sequence[Hazard], deeds: Sequence[str], outcomes: int) -> TakeUp:
    """Go back until nothing that holds was read with a control elsewhere, or under a hazard."""
    spans = [*trail.spans, *((trail.holds_until(hazard), math.inf) for hazard in hazards)]
    restored = {act.arguments.get("control") for hazard in hazards for act in hazard.undo}
    turned = {at: control for at, control in trail.turned.items() if control not in restored}
    holds = outcomes
    while True:
        under = [start for start, end in spans if start < holds < end]
        # Whatever stood there is undone by now, so that it has to be set anew.
        back = min(under) if under else _first_untrue(trail, turned, deeds, holds)
        if back == holds:
            break
        holds = back
    if trail.cut_since(holds):
        return TakeUp(None, why_not=_CUT_SINCE)
    since = sorted({control for at, control in turned.items() if at >= holds})
    return TakeUp(holds, tuple(since), trail.moved_since(holds))


def _first_untrue(trail: Trail, turned: dict[int, str], deeds: Sequence[str], holds: int) -> int:
    """Return the first outcome that was read since the last adjustment or cut that holds.

    A procedure takes what it reads after one for how the station stands, until the next; where a
    control is turned that does not hold, the station stands otherwise. An adjustment that is the
    very next thing to be done only goes on.
    """
    if all(at <= holds for at in turned):
        return holds
    cuts = (at for at, act in trail.acts.items() if at < holds and _is_cut(act))
    adjusted = (at for at in range(holds) if deeds[at] == "adjust")
    fixed = max([-1, *cuts, *adjusted])
    reads = (at for at in range(fixed + 1, holds) if deeds[at] not in _READ_NOTHING)
    first = next(reads, holds)
    while first - 1 > fixed and first - 1 in trail.acts and _moves(trail.acts[first - 1]):
        first -= 1
    return first


def _is_cut(act: Action) -> bool:
    return act.verb.startswith("cut")


def _moves(act: Action) -> bool:
    return act.verb.startswith(("connect", "carry"))
