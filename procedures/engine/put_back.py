"""What radiates false guidance when a run stops: seen undone, or said so that nobody misses it."""

from __future__ import annotations

from collections.abc import MutableMapping

from daq.errors import Aborted
from daq.journal import Journal
from daq.roles import Action, Operator, Prompt
from procedures.engine.bench import Bench
from procedures.engine.hazards import PUT_BACK, Hazard
from procedures.engine.undo_words import undo_words


def say_cut_off(bench: Bench, *, resumable: bool = True) -> None:
    """Say how to go on when a run is cut off, whatever cut it off, and what is still open."""
    go_on = f"`trimbench resume {bench.journal.run}`"
    or_go_on = f", or go on with {go_on}" if resumable else ""
    for hazard in bench.hazards.values():
        bench.operator.tell(
            f"CAUTION: the run stops here, but {hazard.what}. Put it back to normal{or_go_on}."
        )
    if not bench.hazards:
        bench.operator.tell(f"The run stops here{f'; {go_on} goes on with it' * resumable}.")


def put_back(bench: Bench) -> None:
    """See every hazard undone before the run ends, or let the record say that it is not."""
    see_undone(bench.operator, bench.journal, bench.hazards, "The run ends, but")


def see_undone(
    operator: Operator, journal: Journal, hazards: MutableMapping[str, Hazard], begins: str
) -> None:
    """Have each hazard undone and keep what was answered.

    Parameters
    ----------
    hazards
        What stands, by its key; what is undone leaves it at once.
    begins
        How each question begins; what stands follows.
    """
    # The newest first: what was done within another act is undone before that act is.
    for number, (key, hazard) in enumerate(reversed(list(hazards.items())), start=1):
        acts = hazard.undo or (None,)
        prompts = (
            _prompt(f"{number}.{n}", f"{begins} {hazard.what}.", act)
            for n, act in enumerate(acts, start=1)
        )
        try:
            done = all(bool(operator.answer(prompt)) for prompt in prompts)
        except Aborted:
            done = False
        journal.event(key, {"event": PUT_BACK, "what": hazard.what, "confirmed": done})
        if done:
            del hazards[key]


def _prompt(number: str, stands: str, act: Action | None) -> Prompt:
    return Prompt(
        f"put back/{number}",
        "confirm",
        f"{stands} {undo_words(act)} Is it done?",
        caution="False guidance is radiated until it is done.",
        action=act,
    )
