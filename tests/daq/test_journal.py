"""A journal returns what is recorded, goes live after it, and refuses what does not match."""

from __future__ import annotations

from pathlib import Path

import pytest

from daq.clock import ManualClock
from daq.errors import JournalMismatch
from daq.journal import RESUMED, Journal, TakenUp, recorded_outcomes, times_taken_up
from daq.log.entry import Entry, Kind
from daq.log.reader import LogReader
from daq.log.writer import LogWriter


def work(journal: Journal, live: list[str], questions: dict[str, int]) -> list[object]:
    def ask(key: str) -> dict[str, object]:
        live.append(key)
        return {"answer": len(live)}

    return [
        journal.outcome(key, {"q": question}, lambda key=key: ask(key))  # type: ignore[misc]
        for key, question in questions.items()
    ]


@pytest.fixture
def writer(tmp_path: Path, clock: ManualClock):
    with LogWriter(tmp_path / "x.tblog", clock) as opened:
        yield opened


def recorded(writer: LogWriter):
    with LogReader(writer.path) as reader:
        return tuple(reader.entries(kind=Kind.OUTCOME))


def test_recorded_outcomes_are_returned_and_the_next_one_is_live(writer: LogWriter) -> None:
    live: list[str] = []
    first = work(Journal(writer, 1), live, {"a": 1, "b": 2})
    again = work(Journal(writer, 1, recorded(writer)), live, {"a": 1, "b": 2, "c": 3})
    assert live == ["a", "b", "c"]
    assert again[:2] == first


def test_replaying_ends_with_the_last_recorded_outcome(writer: LogWriter) -> None:
    work(Journal(writer, 1), [], {"a": 1})
    journal = Journal(writer, 1, recorded(writer))
    assert journal.replaying
    work(journal, [], {"a": 1})
    assert not journal.replaying


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"a": 1, "x": 2}, "did 'b' .* now does 'x'"),
        ({"a": 1, "b": 5}, "'q' was 2 and is now 5"),
        ({"b": 2}, "did 'a'"),
    ],
)
def test_a_journal_that_does_not_match_is_refused_with_the_first_difference(
    writer: LogWriter, changed: dict[str, int], said: str
) -> None:
    work(Journal(writer, 1), [], {"a": 1, "b": 2})
    with pytest.raises(JournalMismatch, match=said):
        work(Journal(writer, 1, recorded(writer)), [], changed)


def test_a_step_name_is_used_once(writer: LogWriter) -> None:
    journal = Journal(writer, 1)
    journal.outcome("a", {}, dict)
    with pytest.raises(JournalMismatch, match="twice"):
        journal.outcome("a", {}, dict)


def test_what_no_longer_held_when_a_run_was_taken_up_is_not_gone_on_with(
    writer: LogWriter,
) -> None:
    """Twice taken up, the second time from further back; a plain resuming takes nothing away."""
    journal = Journal(writer, 1)
    for key, holds in (("a", None), ("b", None), ("c", 1), ("b", 2), ("d", 1), ("e", None)):
        writer.append(1, Kind.OUTCOME, key, {"request": {}, "outcome": {}})
        if holds is not None:
            journal.event(RESUMED, {"event": RESUMED, "outcomes": holds})
    writer.append(1, Kind.EVENT, "gap", {"event": "gap", "outcomes": 0})
    with LogReader(writer.path) as reader:
        rows = list(reader.entries(run=1))
    assert [row.key for row in recorded_outcomes(rows)] == ["a", "e"]


def test_the_journal_counts_what_is_done_and_not_what_failed(writer: LogWriter) -> None:
    def fail() -> dict[str, object]:
        raise ZeroDivisionError

    work(Journal(writer, 1), [], {"a": 1})
    journal = Journal(writer, 1, recorded(writer))
    work(journal, [], {"a": 1, "b": 2})
    with pytest.raises(ZeroDivisionError):
        journal.outcome("c", {}, fail)
    assert journal.done == 2


def resumed(seq: int, outcomes: int, *, turned: tuple[str, ...] = (), moved: bool = False) -> Entry:
    body = {"event": RESUMED, "outcomes": outcomes, "turned": list(turned), "moved": moved}
    return Entry(seq, 1, Kind.EVENT, RESUMED, 0, 0, body, b"")


def test_what_was_turned_in_a_part_that_holds_no_more_stays_known() -> None:
    """Also when the run is taken up further back later, and when it is only cut off after that."""
    rows = (resumed(1, 7, turned=("phase",)), resumed(2, 9), resumed(3, 5, moved=True))
    assert times_taken_up(rows[:2]) == (TakenUp(7, frozenset({"phase"})),)
    assert times_taken_up(rows) == (
        TakenUp(5, frozenset({"phase"})),
        TakenUp(5, moved=True),
    )


def test_a_control_counts_as_turned_from_where_the_run_was_taken_up(writer: LogWriter) -> None:
    journal = Journal(writer, 1, taken_up=(TakenUp(1, frozenset({"phase"}), moved=True),))
    assert not journal.turned_since(-1, "phase")
    journal.outcome("a", {"do": "note"}, dict)
    assert journal.turned_since(-1, "phase")
    assert journal.moved_since(0)
    assert not journal.turned_since(1, "phase")
    assert not journal.turned_since(-1, "width")
