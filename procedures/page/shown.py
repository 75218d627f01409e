"""An operator whose prompts and watched values are also shown on screens."""

from __future__ import annotations

from collections import deque
from typing import Final

from daq.clock import Clock
from daq.roles import Answer, Operator, Prompt, WatchCommand, WatchView
from procedures.page.advice import HISTORY_S, Sample, advise
from procedures.page.hub import Hub
from procedures.page.offers import Offers
from procedures.page.present import prompt_body, spoken, view_body

SAYS_KEPT: Final = 40
"""Messages that need no answer, kept for a screen that connects late."""


class ShownOperator:
    """Wrap another operator; what it is asked and sees is published, its answers are its own.

    Parameters
    ----------
    inner
        Who answers and turns the controls.
    hub
        Where it is published.
    offers
        Where screens may answer; None when they may only look, as on a simulated technician.
    clock
        Stamps what is published.
    """

    def __init__(self, inner: Operator, hub: Hub, offers: Offers | None, clock: Clock) -> None:
        self._inner = inner
        self._hub = hub
        self._offers = offers
        self._clock = clock
        self._questions = 0
        self._watch = ""
        self._watch_key = ""
        self._on_page = False
        self._samples: deque[Sample] = deque()
        self._says: deque[dict[str, object]] = deque(maxlen=SAYS_KEPT)

    @property
    def name(self) -> str:
        """Role under which the newest answer is logged; says when it came from a screen."""
        return f"{self._inner.name} (page)" if self._on_page else self._inner.name

    def answer(self, prompt: Prompt) -> Answer:
        """See `daq.roles.Operator`."""
        self._end_watch()
        self._on_page = False
        question = self._open()
        self._hub.publish("prompt", prompt_body(prompt, question, acts=self._offers is not None))
        try:
            answer = self._inner.answer(prompt)
        finally:
            self._on_page = self._close()
            self._hub.publish("prompt", {})
        if self._on_page:
            self._inner.tell(f"Answered on the page: {spoken(answer, prompt.unit)}.")
        return answer

    def watching(self, view: WatchView) -> WatchCommand:
        """See `daq.roles.Operator`."""
        if not self._watch or view.key != self._watch_key:
            self._watch, self._watch_key = self._open(), view.key
            self._samples.clear()
        self._remember(view)
        advice = advise(list(self._samples), target=view.target, band=view.band)
        acts = self._offers is not None
        self._hub.publish("view", view_body(view, self._watch, advice, acts=acts))
        command = self._inner.watching(view)
        if command != "go on":
            self._end_watch()
        elif self._offers is not None:
            self._offers.again()
        return command

    def tell(self, text: str) -> None:
        """See `daq.roles.Operator`."""
        self._says.append({"text": text, "utc_ms": self._clock.utc_ns() // 1_000_000})
        self._hub.publish("says", {"lines": list(self._says)})
        self._inner.tell(text)

    def _remember(self, view: WatchView) -> None:
        if not view.reading.usable:
            self._samples.clear()
            return
        now_s = view.reading.mono_ns / 1e9
        self._samples.append(Sample(now_s, view.reading.value))
        while self._samples[0].at_s < now_s - HISTORY_S:
            self._samples.popleft()

    def _end_watch(self) -> None:
        if self._watch:
            self._watch = ""
            self._on_page = self._close()
            self._hub.publish("view", {})

    def _open(self) -> str:
        self._questions += 1
        question = f"q{self._questions}"
        if self._offers is not None:
            self._offers.open(question)
        return question

    def _close(self) -> bool:
        return self._offers.close() if self._offers is not None else False
