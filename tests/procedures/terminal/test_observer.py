"""A simulated run that can be watched."""

from __future__ import annotations

import pytest

from daq.errors import Aborted
from daq.roles import Answer, Operator, Prompt, WatchCommand, WatchView
from procedures.terminal.observer import NarratingOperator


class Scripted:
    """An operator whose answers and commands are written down beforehand."""

    name = "simulated technician"

    def __init__(self, answers: list[Answer], commands: list[WatchCommand]) -> None:
        self.answers = answers
        self.commands = commands
        self.heard: list[str] = []

    def answer(self, prompt: Prompt) -> Answer:
        if not self.answers:
            raise Aborted("Stopped.")
        return self.answers.pop(0)

    def watching(self, view: WatchView) -> WatchCommand:
        return self.commands.pop(0)

    def tell(self, text: str) -> None:
        self.heard.append(text)


def test_question_and_answer_are_both_shown(plain_console):
    operator: Operator = NarratingOperator(Scripted([True, 0.97028, "none"], []), plain_console)
    assert operator.answer(Prompt("a", "acknowledge", "Clear?", caution="High voltage")) is True
    assert operator.answer(Prompt("b", "number", "Cut?", unit="m")) == 0.97028
    assert operator.answer(Prompt("c", "text", "Notes?")) == "none"
    shown = plain_console.file.getvalue()
    assert "High voltage" in shown
    assert "Clear?\n  simulated technician: yes\n" in shown
    assert "Cut?\n  simulated technician: 0.970 m (38.2 in)\n" in shown
    assert "Notes?\n  simulated technician: none\n" in shown


def test_the_value_is_shown_and_the_command_passed_on(plain_console, make_view):
    operator = NarratingOperator(Scripted([], ["go on", "go on", "capture"]), plain_console)
    commands = [operator.watching(make_view(v, at_s=v)) for v in (0.10, 0.13, 0.1551)]
    assert commands == ["go on", "go on", "capture"]
    shown = plain_console.file.getvalue()
    assert "100.0 thousandths," in shown
    assert "155.1 thousandths," in shown
    assert "130.0" not in shown, "within the same second"
    assert shown.endswith("simulated technician: capture\n")


def test_what_is_told_reaches_both(plain_console):
    inner = Scripted([], [])
    NarratingOperator(inner, plain_console).tell("The line is out.")
    assert inner.heard == ["The line is out."]
    assert "The line is out." in plain_console.file.getvalue()


def test_an_abort_of_the_inner_operator_passes_through(plain_console):
    with pytest.raises(Aborted), NarratingOperator(Scripted([], []), plain_console) as operator:
        operator.answer(Prompt("a", "confirm", "Done?"))
