"""An operator whose prompts and values are shown, on the bench, without a browser."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import pytest

from daq.clock import SystemClock
from daq.errors import Aborted, InputError
from procedures.page.actions import Stale, Wish, act
from procedures.page.hub import Topic

if TYPE_CHECKING:
    from procedures.engine.bench import Bench
    from tests.procedures.page.conftest import Rig


def wait(rig: Rig, topic: Topic, key: str) -> str:
    """Wait until the question with `key` is open and return its id."""
    clock = SystemClock()
    for _ in range(1000):
        body = rig.page.hub.now(topic)
        if body.get("key") == key:
            return str(body["id"])
        clock.sleep(0.005)
    pytest.fail(f"'{key}' was never asked")


def wish(rig: Rig, question: str, do: str, text: str = "") -> None:
    act(Wish(question, do, text), rig.page.hub, rig.page._offers)


@pytest.mark.parametrize(("do", "answer"), [("yes", True), ("no", False)])
def test_a_screen_s_answer_is_the_run_s(rig: Rig, do: str, answer: bool) -> None:
    rig.start(lambda bench: bench.confirm("a", "Is it so?"))
    wish(rig, wait(rig, "prompt", "a"), do)
    assert rig.finish() is answer
    assert f"Answered on the page: {do}." in rig.said


def test_the_log_says_that_the_answer_came_from_the_page(rig: Rig) -> None:
    from daq.log.entry import Kind
    from daq.log.reader import LogReader

    rig.start(lambda bench: (bench.confirm("a", "Is it so?"), bench.confirm("b", "And so?")))
    wish(rig, wait(rig, "prompt", "a"), "yes")
    wait(rig, "prompt", "b")
    rig.type("y\n")
    rig.finish()
    with LogReader(rig.station.log_path) as reader:
        by = [e.body["outcome"] for e in reader.entries(kind=Kind.OUTCOME)]
    assert by == [
        {"answer": True, "by": "technician (page)"},
        {"answer": True, "by": "technician"},
    ]


def test_an_answer_to_an_earlier_question_is_refused(rig: Rig) -> None:
    """A tap that comes late must not acknowledge a caution that nobody read."""
    rig.start(lambda bench: (bench.confirm("a", "First?"), bench.confirm("b", "Second?")))
    first = wait(rig, "prompt", "a")
    wish(rig, first, "yes")
    second = wait(rig, "prompt", "b")
    with pytest.raises(Stale, match="no longer open"):
        wish(rig, first, "yes")
    wish(rig, second, "yes")
    with pytest.raises(Stale, match=r"quicker|no longer"):
        wish(rig, second, "no")
    assert rig.finish() == (True, True)


def test_a_number_is_checked_before_it_is_handed_over(rig: Rig) -> None:
    rig.start(lambda bench: bench.number("n", "How long?", unit="m"))
    question = wait(rig, "prompt", "n")
    for text in ("", "long", "3 V", "nan"):
        with pytest.raises(InputError):
            wish(rig, question, "say", text)
    wish(rig, question, "say", "38.2 in")
    assert rig.finish() == pytest.approx(0.97028)  # 38.2 x 0.0254 m, exactly by definition


@pytest.mark.parametrize("text", ["", "   ", "q", "Q", "x" * 501])
def test_a_text_that_would_do_something_else_is_refused(rig: Rig, text: str) -> None:
    rig.start(lambda bench: bench.text("t", "Remarks?"))
    question = wait(rig, "prompt", "t")
    with pytest.raises(InputError):
        wish(rig, question, "say", text)
    wish(rig, question, "say", "two\nlines\x1b[31m")
    assert rig.finish() == "two lines?[31m"


@pytest.mark.parametrize("do", ["say", "capture", "redo", "", "yes\n"])
def test_a_question_takes_only_its_own_kind_of_answer(rig: Rig, do: str) -> None:
    rig.start(lambda bench: bench.confirm("a", "Is it so?"))
    question = wait(rig, "prompt", "a")
    with pytest.raises(InputError):
        wish(rig, question, do, "y")
    wish(rig, question, "yes")
    assert rig.finish() is True


def test_stopping_from_a_screen_ends_the_run_in_good_order(rig: Rig) -> None:
    rig.start(lambda bench: bench.confirm("a", "Is it so?"))
    wish(rig, wait(rig, "prompt", "a"), "stop")
    assert isinstance(rig.finish(), Aborted)


def adjusting(bench: Bench) -> object:
    found = bench.measure("found", "clearance 90 IF", label="as found")
    return bench.adjust(
        "live",
        "course line IF",
        target=0.155,
        band=0.001,
        control="monitor width",
        instruction="Turn it.",
        before=found,
    )


@pytest.fixture
def turning(rig: Rig) -> Callable[[], str]:
    def begin() -> str:
        rig.type("y\n")
        rig.start(adjusting)
        return wait(rig, "view", "live")

    return begin


def test_a_value_is_captured_once(rig: Rig, turning: Callable[[], str]) -> None:
    question = turning()
    wish(rig, question, "capture")
    with pytest.raises(Stale):
        wish(rig, question, "capture")
    rig.finish()
    assert rig.said.count("Captured.") == 1


def test_beginning_again_opens_another_watch(rig: Rig, turning: Callable[[], str]) -> None:
    first = turning()
    wish(rig, first, "redo")
    clock = SystemClock()
    while (second := wait(rig, "view", "live")) == first:
        clock.sleep(0.005)
    with pytest.raises(Stale):
        wish(rig, first, "capture")
    wish(rig, second, "stop")
    assert isinstance(rig.finish(), Aborted)


@pytest.mark.parametrize(("on_page", "who"), [(True, "technician (page)"), (False, "technician")])
def test_a_watch_is_stopped_by_whoever_stopped_it(
    rig: Rig, turning: Callable[[], str], on_page: bool, who: str
) -> None:
    question = turning()
    if on_page:
        wish(rig, question, "stop")
    else:
        rig.type("q\nq\n")
    assert f"Stopped by the {who} at" in str(rig.finish())


def test_a_screen_that_only_looks_cannot_answer(rig: Rig) -> None:
    rig.page.hub.publish("prompt", {"id": "q1", "kind": "confirm"})
    with pytest.raises(Stale):
        wish(rig, "q1", "yes")
