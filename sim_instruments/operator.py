"""A simulated technician: answers prompts, does what they ask with the hands, turns controls.

Fulfils by its shape what procedures ask of an operator; the few things of a prompt and of a watch
that it looks at are stated here as protocols.
"""

from __future__ import annotations

import math
import re
import uuid
from collections.abc import Mapping
from typing import Final, Literal, Protocol

from sim_instruments.approach import Approach, Step
from sim_instruments.clock import Clock, SystemClock
from sim_instruments.hands import HandsPort, Outcome

LOOKS_AT_LEAST: Final = 5
PATIENCE: Final = 60
"""Readings for which it waits for steadiness when there is nothing left to turn."""
GIVES_UP_AT: Final = 3
"""The question of that number whether to try a step again is answered with no."""
MENDING_S: Final = 0.5
"""What looking at a cable takes; an instrument that restarts is back by then."""
_TRY_AGAIN: Final = re.compile(r"/retry (?P<number>\d+)\Z")


class Action(Protocol):
    """What hands are to do."""

    @property
    def verb(self) -> str:
        """Such as ``cut``."""

    @property
    def arguments(self) -> Mapping[str, str | float]:
        """By name."""


class Prompt(Protocol):
    """One question."""

    @property
    def key(self) -> str:
        """Stable within a run."""

    @property
    def kind(self) -> Literal["acknowledge", "confirm", "number", "text"]:
        """What kind of answer is wanted."""

    @property
    def action(self) -> Action | None:
        """What is to be done before answering."""

    @property
    def suggestion(self) -> float | None:
        """What a number is expected to be."""


class SeenReading(Protocol):
    """A reading, as far as it is looked at."""

    @property
    def value(self) -> float:
        """SI unit of its quantity; NaN when there is none."""


class WatchView(Protocol):
    """What is shown after each reading."""

    @property
    def key(self) -> str:
        """Key of the watch within the run."""

    @property
    def control(self) -> str:
        """The control under the hand; empty for none."""

    @property
    def reading(self) -> SeenReading:
        """The newest reading."""

    @property
    def target(self) -> float | None:
        """Wanted value."""

    @property
    def band(self) -> float | None:
        """Accepted distance from it."""

    @property
    def steady(self) -> bool:
        """Whether the readings have settled."""


class SimulatedOperator:
    """A technician that is part of the simulation.

    Parameters
    ----------
    hands
        The hands at the plant, here or over a link.
    run
        Identifies the run, so that a prompt repeated after an interruption is recognized as the
        same act, and the same prompt in another run is not.
    name
        Role under which answers are logged.
    clock
        Waited on while a cable is looked at; the machine's own by default.
    """

    def __init__(
        self,
        hands: HandsPort,
        run: str = "",
        *,
        name: str = "technician (simulated)",
        clock: Clock | None = None,
    ) -> None:
        self._hands = hands
        self._run = run
        self._name = name
        self._clock = clock or SystemClock()
        self._watch: _Watch | None = None

    @property
    def name(self) -> str:
        """Role under which answers are logged."""
        return self._name

    def answer(self, prompt: Prompt) -> bool | float | str:
        """Do what the prompt asks, once, and answer it.

        Whether a step that failed is to be tried again (its key ends with ``/retry N``) is answered
        with yes until `GIVES_UP_AT`: an instrument that stays dead ends the run.

        Raises
        ------
        HandsError
            The act cannot be done, such as a cut longer than what is there.
        """
        if failed := _TRY_AGAIN.search(prompt.key):
            return self._tries_again(int(failed["number"]))
        outcome: Outcome = {}
        if prompt.action is not None:
            act = f"{self._run}/{prompt.key}"
            outcome = self._hands.do(prompt.action.verb, prompt.action.arguments, act)
        if prompt.kind == "number":
            measured = outcome.get("measured_m", outcome.get("measured", prompt.suggestion))
            return float(measured) if isinstance(measured, int | float) else 0.0
        if prompt.kind == "text":
            return str(outcome.get("text", "done by the simulated technician"))
        return True

    def _tries_again(self, number: int) -> bool:
        if number >= GIVES_UP_AT:
            return False
        self._clock.sleep(MENDING_S)
        return True

    def watching(self, view: WatchView) -> Literal["go on", "capture"]:
        """See one more reading, perhaps turn the control; "capture" when content and steady."""
        if self._watch is None or self._watch.key != view.key:
            self._watch = _Watch(view, self._hands)
        if self._watch.content(view):
            self._watch = None
            return "capture"
        return "go on"

    def tell(self, text: str) -> None:
        """Hear something that needs no answer."""


class _Watch:
    """One control being watched while it is turned, or a reading that is only awaited."""

    def __init__(self, view: WatchView, hands: HandsPort) -> None:
        self.key = view.key
        self._hands = hands
        self._control = view.control
        self._since_turn = 0
        self._approach: Approach | None = None
        if view.control and view.target is not None:
            found = hands.do("position", {"control": view.control})["position"]
            position = float(str(found))
            self._approach = Approach(view.target, view.band or 0.0, position)

    def content(self, view: WatchView) -> bool:
        """Whether nothing is left to turn and the reading is steady; turns when something is."""
        self._since_turn += 1
        if self._approach is not None and self._since_turn < PATIENCE:
            if math.isnan(view.reading.value):
                return False
            step = self._approach.see(view.reading.value)
            if isinstance(step, float):
                self._turn(self._approach, step)
                return False
            if step is Step.LOOK:
                return False
        enough = self._since_turn >= LOOKS_AT_LEAST
        return (enough and view.steady) or self._since_turn >= PATIENCE

    def _turn(self, approach: Approach, by: float) -> None:
        arguments: dict[str, str | float] = {"control": self._control, "by": by}
        felt = self._hands.do("turn", arguments, uuid.uuid4().hex)
        approach.felt(at_stop=bool(felt["at_stop"]))
        self._since_turn = 0
