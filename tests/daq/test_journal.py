"""A journal returns what is recorded, goes live after it, and refuses what does not match."""

from __future__ import annotations

from pathlib import Path

import pytest

from daq.clock import ManualClock
from daq.errors import JournalMismatch
from daq.journal import Journal
from daq.log.entry import Kind
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
