"""What radiates false guidance when a run stops: seen undone, or said so that nobody misses it."""

from __future__ import annotations

from daq.errors import Aborted
from daq.roles import Action, Prompt
from procedures.engine.bench import Bench
from procedures.engine.undo_words import undo_words


def say_cut_off(bench: Bench) -> None:
    """Say how to go on when a run is cut off, whatever cut it off, and what is still open."""
    go_on = f"`trimbench resume {bench.journal.run}`"
    for hazard in bench.hazards.values():
        bench.operator.tell(
            f"CAUTION: the run stops here, but {hazard.what}. Put it back to normal, or go on with "
            f"{go_on}."
        )
    if not bench.hazards:
        bench.operator.tell(f"The run stops here; {go_on} goes on with it.")


def put_back(bench: Bench) -> None:
    """See every hazard undone before the run ends, or let the record say that it is not."""
    for number, (key, hazard) in enumerate(list(bench.hazards.items()), start=1):
        acts = hazard.undo or (None,)
        try:
            done = all(
                bool(bench.operator.answer(_put_back_prompt(f"{number}.{n}", hazard.what, act)))
                for n, act in enumerate(acts, start=1)
            )
        except Aborted:
            done = False
        bench.journal.event(key, {"event": "put back", "what": hazard.what, "confirmed": done})
        if done:
            del bench.hazards[key]


def _put_back_prompt(number: str, what: str, act: Action | None) -> Prompt:
    return Prompt(
        f"put back/{number}",
        "confirm",
        f"The run ends, but {what}. {undo_words(act)} Is it done?",
        caution="False guidance is radiated until it is done.",
        action=act,
    )
