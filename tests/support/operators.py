"""Operators for tests: one that answers some prompts its own way, one that is interrupted."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field

from daq.roles import Answer, Operator, Prompt, WatchCommand, WatchView

Says = Answer | BaseException


class Agreeable:
    """Says yes to everything, 1.0 for a number, a word for a text; captures when steady."""

    name = "tester"

    def answer(self, prompt: Prompt) -> Answer:
        answers: dict[str, Answer] = {"number": 1.0, "text": "because"}
        return answers.get(prompt.kind, True)

    def watching(self, view: WatchView) -> WatchCommand:
        return "capture" if view.steady else "go on"

    def tell(self, text: str) -> None:
        pass


@dataclass
class Minded:
    """Has its own mind about some keys; leaves the rest to `inner`; remembers everything.

    Attributes
    ----------
    inner
        Answers and watches what nobody else does.
    answers
        Last part of a key -> answer, or what is raised instead.
    commands
        Last part of a watch's key -> commands, one for each view until they are used up.
    """

    inner: Operator = field(default_factory=Agreeable)
    answers: Mapping[str, Says] = field(default_factory=dict)
    commands: Mapping[str, Iterator[WatchCommand]] = field(default_factory=dict)
    asked: list[Prompt] = field(default_factory=list)
    views: list[WatchView] = field(default_factory=list)
    told: list[str] = field(default_factory=list)

    @property
    def name(self) -> str:
        return self.inner.name

    @property
    def asked_keys(self) -> list[str]:
        return [prompt.key for prompt in self.asked]

    def answer(self, prompt: Prompt) -> Answer:
        self.asked.append(prompt)
        for ending, says in self.answers.items():
            if prompt.key.endswith(ending):
                if isinstance(says, BaseException):
                    raise says
                return says
        return self.inner.answer(prompt)

    def watching(self, view: WatchView) -> WatchCommand:
        self.views.append(view)
        for ending, commands in self.commands.items():
            if view.key.endswith(ending) and (command := next(commands, None)) is not None:
                return command
        return self.inner.watching(view)

    def tell(self, text: str) -> None:
        self.told.append(text)
        self.inner.tell(text)


@dataclass
class Interrupted:
    """Is interrupted as by Ctrl-C whenever one of the two rules says so.

    Attributes
    ----------
    at_prompt
        Called with the key before the hands act and once more after; true interrupts.
    at_view
        Called with each view before it is looked at; true interrupts.
    """

    inner: Operator
    at_prompt: Callable[[str, str], bool] = lambda _key, _when: False
    at_view: Callable[[WatchView], bool] = lambda _view: False

    @property
    def name(self) -> str:
        return self.inner.name

    def answer(self, prompt: Prompt) -> Answer:
        if self.at_prompt(prompt.key, "before"):
            raise KeyboardInterrupt
        answer = self.inner.answer(prompt)
        if self.at_prompt(prompt.key, "after"):
            raise KeyboardInterrupt
        return answer

    def watching(self, view: WatchView) -> WatchCommand:
        if self.at_view(view):
            raise KeyboardInterrupt
        return self.inner.watching(view)

    def tell(self, text: str) -> None:
        self.inner.tell(text)
