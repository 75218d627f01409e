"""Every error pickles, says what is needed, and has the exit code of its kind."""

from __future__ import annotations

import pickle

import pytest

from daq import errors


def all_classes(base: type[errors.TrimbenchError]) -> list[type[errors.TrimbenchError]]:
    return [base, *(c for sub in base.__subclasses__() for c in all_classes(sub))]


@pytest.mark.parametrize("cls", all_classes(errors.TrimbenchError))
def test_every_error_pickles(cls: type[errors.TrimbenchError]) -> None:
    error = cls("It broke.", hint="look.")
    again = pickle.loads(pickle.dumps(error))
    assert type(again) is cls
    assert str(again) == str(error)
    assert again.details() == error.details()


def test_a_bench_error_says_who_what_was_sent_and_what_came() -> None:
    error = errors.LinkTimeout(
        "no complete answer within 1 s.",
        instrument="receiver at ASRL/dev/x",
        sent=b"DDM\r",
        received=b"DDM +0.1",
        hint="check the cable.",
    )
    assert str(error) == (
        "receiver at ASRL/dev/x: no complete answer within 1 s. Sent 'DDM\\r'. "
        "Received 'DDM +0.1'. Try: check the cable."
    )
    assert pickle.loads(pickle.dumps(error)).received == b"DDM +0.1"


def test_bytes_that_arrived_are_never_thrown_away_even_if_there_are_many() -> None:
    error = errors.AnswerError("odd.", received=b"\xff" * 1000)
    assert "920 bytes more" in str(error)
    assert len(error.received) == 1000


def test_a_file_error_names_file_line_and_key() -> None:
    error = errors.StationFileError("expected 'I'.", file="a.toml", line=3, key="station.category")
    assert str(error) == "a.toml:3: station.category: expected 'I'."


@pytest.mark.parametrize(
    ("cls", "code"),
    [(errors.UnitError, 2), (errors.LinkLost, 3), (errors.LogFull, 4), (errors.Refused, 5)],
)
def test_exit_codes_go_by_kind(cls: type[errors.TrimbenchError], code: int) -> None:
    assert cls.exit_code == code
