"""Look over the shoulder of another operator, so that a simulated run can be watched."""

from __future__ import annotations

from types import TracebackType
from typing import Self

from rich.console import Console

from daq.roles import Answer, Operator, Prompt, WatchCommand, WatchView
from procedures.terminal.live import LiveDisplay
from procedures.terminal.numbers import suggested
from procedures.terminal.screen import Prompts, say


class NarratingOperator:
    """An operator that shows what another one is asked, sees and answers.

    Parameters
    ----------
    inner
        Who really answers and turns the controls.
    console
        Where it is shown.
    """

    def __init__(self, inner: Operator, console: Console) -> None:
        self._inner = inner
        self._console = console
        self._prompts = Prompts(console)
        self._display = LiveDisplay(console)

    @property
    def name(self) -> str:
        """Role under which the inner operator's answers are logged."""
        return self._inner.name

    def answer(self, prompt: Prompt) -> Answer:
        """Show the prompt, let the inner operator answer it, show the answer."""
        self._display.finish()
        self._prompts.pose(prompt)
        answer = self._inner.answer(prompt)
        say(self._console, f"  {self.name}: {_spoken(answer, prompt)}")
        return answer

    def watching(self, view: WatchView) -> WatchCommand:
        """Show the view, let the inner operator see it, and return what it says."""
        self._display.show(view)
        command = self._inner.watching(view)
        if command != "go on":
            self._display.show(view, now=True)
        if command in ("capture", "abort"):
            self._display.finish()
            say(self._console, f"  {self.name}: {command}")
        return command

    def tell(self, text: str) -> None:
        """Show it and pass it on."""
        self._display.finish()
        say(self._console, text)
        self._inner.tell(text)

    def close(self) -> None:
        """End what is being watched; harmless when repeated."""
        self._display.finish()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        self.close()


def _spoken(answer: Answer, prompt: Prompt) -> str:
    if isinstance(answer, bool):
        return "yes" if answer else "no"
    return answer if isinstance(answer, str) else suggested(answer, prompt.unit)
