"""What a procedure holds in its hands, each call on its own, with instruments of a few lines."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from itertools import repeat

import pytest

from daq.errors import LinkLost, LinkTimeout, Refused
from daq.log.entry import Kind
from daq.measurement import Measurement
from daq.roles import Action, Prompt, WatchCommand, WatchView
from procedures.engine.bench import Bench
from procedures.engine.hazards import Hazard
from procedures.judge import Limit, Verdict
from tests.procedures.engine.desk import Desk, noisy

# Connecting --------------------------------------------------------------------------------


def test_connecting_is_asked_for_only_when_something_has_to_move(desk: Desk) -> None:
    """Two points share channel 3 and two the receiver; channel 1 has a probe of its own."""
    for number, point in enumerate(
        ("line IF", "clearance 90 IF", "clearance 90 IF", "clearance 150 IF", "line IF",
         "clearance 90 IF", "course width", "course width", "course line"),
    ):  # fmt: skip
        desk.bench.measure(f"{number}", point, label="x")
    assert desk.who.asked_keys == [
        "1/connect", "3/connect", "5/connect", "6/connect", "8/connect",
    ]  # fmt: skip
    probe, receiver = desk.who.asked[0], desk.who.asked[3]
    assert probe.text == "Put the probe of scope channel 3 on 'clearance 90 IF'."
    assert probe.action == Action("connect probe", {"point": "clearance 90 IF", "channel": "3"})
    assert receiver.action == Action("connect receiver", {"point": "course width"})


def test_a_probe_that_is_not_connected_is_not_read(desk: Desk) -> None:
    desk.who.answers = {"connect": False}
    with pytest.raises(Refused, match="Not done: Connect the receiver to 'course width'"):
        desk.bench.measure("k", "course width", label="x")
    assert desk.rows(Kind.READING) == []


# Gaps ---------------------------------------------------------------------------------------


def test_an_instrument_that_fails_is_a_gap_and_goes_on_when_mended(desk: Desk) -> None:
    lost = LinkLost("Gone.", instrument="receiver", sent=b"DDM\r")
    late = LinkTimeout("Nothing came.", instrument="receiver")
    desk.answers(0.155, lost, late, then=repeat(0.155))
    desk.bench.measure("k", "course width", label="x")
    assert [e["event"] for e in desk.events()] == ["gap", "tried again", "gap", "tried again"]
    assert desk.events()[0]["error"] == {**lost.details()}
    assert desk.who.asked_keys == ["k/connect", "k/retry 1", "k/retry 2"]
    assert "Gone. Sent 'DDM\\r'. Received nothing." in desk.who.asked[1].text


def test_an_instrument_that_is_not_mended_ends_in_its_own_error(desk: Desk) -> None:
    desk.who.answers = {"retry 1": False}
    desk.answers(LinkLost("Gone."))
    with pytest.raises(LinkLost, match="Gone"):
        desk.bench.measure("k", "course width", label="x")
    assert [e["event"] for e in desk.events()] == ["gap"]
    assert desk.rows(Kind.OUTCOME)[-1].key == "k/connect"


def test_a_fault_in_the_middle_of_an_adjustment_does_not_end_it(desk: Desk) -> None:
    desk.answers(*repeat(0.1, 12), LinkLost("Kicked out."), then=repeat(0.155))
    desk.adjust()
    assert [e["event"] for e in desk.events()] == ["gap", "tried again"]
    assert desk.rows(Kind.OUTCOME)[-1].key == "width"


@pytest.mark.parametrize(("value", "inside"), [(0.1559, True), (0.1562, False)])
def test_an_adjustment_says_whether_it_ended_within_the_band(
    value: float, inside: bool, desk: Desk
) -> None:
    desk.answers(then=repeat(value))
    done = desk.adjust()
    assert done.in_band is inside
    assert done.after.value == pytest.approx(value)


# Hazards -------------------------------------------------------------------------------------

ASKS: dict[str, Callable[[Bench], object]] = {
    "acknowledge": lambda bench: bench.acknowledge("k", "x", caution="Mind the mains."),
    "confirm": lambda bench: bench.confirm("k", "x"),
    "require": lambda bench: bench.require("k", "x"),
    "number": lambda bench: bench.number("k", "x", unit="m", suggestion=0.2),
    "text": lambda bench: bench.text("k", "x"),
    "connect": lambda bench: bench.measure("k", "course width", label="x"),
}


@pytest.mark.parametrize("how", ASKS)
def test_every_kind_of_prompt_reminds_of_what_is_open(how: str, desk: Desk) -> None:
    with desk.bench.false_guidance("line", "the line is in"):
        ASKS[how](desk.bench)
    assert desk.who.asked[0].caution.endswith("Reminder: the line is in.")
    assert desk.bench.hazards == {}
    desk.bench.confirm("after", "x")
    assert desk.who.asked[-1].caution == ""


def test_the_question_whether_to_try_again_reminds_too(desk: Desk) -> None:
    desk.answers(LinkLost("Gone."), then=repeat(0.155))
    with desk.bench.false_guidance("line", "the line is in"):
        desk.bench.measure("k", "course width", label="x")
    assert desk.who.asked[-1].caution == "Reminder: the line is in."


def test_a_hazard_outlives_an_error(desk: Desk) -> None:
    with pytest.raises(Refused), desk.bench.false_guidance("line", "the line is in"):
        raise Refused("x")
    assert desk.bench.hazards == {"line": Hazard("the line is in")}


def test_two_hazards_are_both_named(desk: Desk) -> None:
    with desk.bench.false_guidance("a", "the line is in"), desk.bench.false_guidance("b", "wide"):
        desk.bench.confirm("k", "x")
    assert desk.who.asked[0].caution == "Reminder: the line is in. Reminder: wide."


# Asking ---------------------------------------------------------------------------------------


def test_answers_are_journalled_with_who_gave_them(desk: Desk) -> None:
    assert desk.bench.number("cut", "How much?", unit="m", suggestion=0.5) == 1.0
    assert desk.bench.text("why", "Why?") == "because"
    outcomes = [row.body["outcome"] for row in desk.rows(Kind.OUTCOME)]
    assert outcomes == [
        {"answer": 1.0, "by": "tester"},
        {"answer": "because", "by": "tester"},
    ]
    asked = desk.who.asked[0]
    assert asked == Prompt("cut", "number", "How much?", unit="m", suggestion=0.5)


@pytest.mark.parametrize("how", ["acknowledge", "require"])
def test_a_no_where_a_yes_is_needed_ends_the_procedure(how: str, desk: Desk) -> None:
    desk.who.answers = {"k": False}
    with pytest.raises(Refused, match="Not"):
        ASKS[how](desk.bench)


class ChangesMind:
    """Says no to the first question, and yes to the next."""

    name = "tester"

    def __init__(self) -> None:
        self.texts: list[str] = []

    def answer(self, prompt: Prompt) -> bool:
        self.texts.append(prompt.text)
        return len(self.texts) > 1

    def watching(self, view: WatchView) -> WatchCommand:
        return "go on"

    def tell(self, text: str) -> None:
        pass


@pytest.mark.parametrize("how", ["acknowledge", "require"])
def test_a_no_is_asked_once_more_before_it_ends_anything(how: str, desk: Desk) -> None:
    who = ChangesMind()
    desk.bench.operator = who
    ASKS[how](desk.bench)
    assert who.texts == ["x", "Without this the run ends here. Once more: x"]
    (row,) = desk.rows(Kind.OUTCOME)
    assert row.body["outcome"] == {"answer": True, "by": "tester"}


def test_a_no_that_is_an_answer_is_not_questioned(desk: Desk) -> None:
    desk.bench.operator = who = ChangesMind()
    assert desk.bench.confirm("k", "x") is False
    assert who.texts == ["x"]


# Judging --------------------------------------------------------------------------------------


def test_a_verdict_is_kept_with_its_limit_and_its_source(desk: Desk) -> None:
    measured = desk.bench.measure("k", "course width", label="x")
    limit = Limit(low=0.1535, high=None, name="width", source="Annex 10", status="from memory")
    simple = desk.bench.judge("simple", "width", measured, limit, rule="simple")
    guarded = desk.bench.judge("guarded", "width", measured, limit)
    assert simple.verdict is Verdict.IN_TOLERANCE
    # 0.155 is 0.0015 above the limit; twice the uncertainty of 0.001 is more than that.
    assert guarded.verdict is Verdict.TOO_CLOSE
    request = desk.rows(Kind.OUTCOME)[-1].body["request"]
    assert isinstance(request, Mapping)
    assert (request["low"], request["high"], request["source"]) == (0.1535, None, "Annex 10")
    assert (request["rule"], request["verdict"]) == ("guarded", "too close to call")


def test_a_measurement_comes_back_from_the_journal_as_it_was(desk: Desk) -> None:
    desk.answers(then=noisy(0.155, 0.0002))
    measured = desk.bench.measure("k", "course width", label="x")
    outcome = desk.rows(Kind.OUTCOME)[-1].body["outcome"]
    assert isinstance(outcome, Mapping)
    assert Measurement.from_body(outcome) == measured
