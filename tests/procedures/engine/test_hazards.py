"""What radiates false guidance is in the log from its beginning to its end."""

from __future__ import annotations

import pytest

from daq.errors import Aborted
from daq.log.reader import LogReader
from daq.roles import Action
from procedures.engine.hazards import BEGINS, ENDS, Hazard, standing
from procedures.engine.left_open import happened
from procedures.engine.put_back import put_back
from procedures.record.steps import read_steps
from tests.procedures.engine.desk import Desk


def standing_in_log(desk: Desk) -> list[str]:
    with LogReader(desk.bench.journal.writer.path) as reader:
        rows = happened(reader, 1)
    by_events = [f"{hazard.what}." for hazard in standing(rows).values()]
    assert list(read_steps(rows).standing_reminders) == by_events
    return by_events


def test_what_begins_and_ends_is_in_the_log_at_once_without_any_question(desk: Desk) -> None:
    """A kill before the next question leaves it known; a kill after the last one, undone."""
    with desk.bench.false_guidance("x", "it is off", Action("switch tone", {"tone": 90.0})):
        assert standing_in_log(desk) == ["it is off."]
        desk.bench.confirm("y", "Well?")
        assert standing_in_log(desk) == ["it is off."]
    assert standing_in_log(desk) == []


def test_what_was_confirmed_as_put_back_stands_no_more(desk: Desk) -> None:
    desk.who.answers = {"y": Aborted("Stopped.")}
    with pytest.raises(Aborted), desk.bench.false_guidance("x", "it is off"):
        desk.bench.confirm("y", "Well?")
    assert standing_in_log(desk) == ["it is off."]
    put_back(desk.bench)
    assert standing_in_log(desk) == []


def test_what_was_done_within_is_undone_before_what_it_was_done_within(desk: Desk) -> None:
    """An identification switched on again after the outer act was undone would stay on."""
    inner, outer = Action("key ident", {"mode": "code"}), Action("key ident", {"mode": "off"})
    desk.who.answers = {"y": Aborted("Stopped.")}
    with (
        pytest.raises(Aborted),
        desk.bench.false_guidance("outer", "it is keyed", outer),
        desk.bench.false_guidance("inner", "it is silent for a trial", inner),
    ):
        desk.bench.confirm("y", "Well?")
    put_back(desk.bench)
    undone = [prompt.action for prompt in desk.who.asked if prompt.key.startswith("put back/")]
    assert undone == [inner, outer]


def test_what_is_undone_by_hand_is_read_back_from_the_log(desk: Desk) -> None:
    undo = Action("switch tone", {"tone": 90.0})
    log = desk.bench.journal.writer.path
    with desk.bench.false_guidance("x", "it is off", undo), LogReader(log) as reader:
        assert standing(happened(reader, 1)) == {"x": Hazard("it is off", (undo,))}
    assert [row["event"] for row in desk.events()] == [BEGINS, ENDS]


def test_an_older_log_is_judged_by_the_last_reminder(desk: Desk) -> None:
    desk.bench.hazards["x"] = Hazard("it is off")
    desk.bench.confirm("y", "Well?")
    with LogReader(desk.bench.journal.writer.path) as reader:
        assert read_steps(happened(reader, 1)).standing_reminders == ("it is off.",)
