"""The station book as a PDF, read back by pypdf."""

from __future__ import annotations

import re
from datetime import date

import pytest
from pypdf import PdfReader

from daq.clock import ManualClock
from daq.errors import InputError
from daq.log.reader import LogReader
from daq.log.writer import LogWriter
from procedures.history.book import Period, write_book
from procedures.history.references import fix_references
from tests.procedures.history.log_of_years import write_five_years, write_station


@pytest.fixture(scope="module")
def years(tmp_path_factory):
    clock = ManualClock()
    station = write_station(tmp_path_factory.mktemp("book"))
    write_five_years(station, clock)
    with LogWriter(station.log_path, clock) as writer:
        fix_references(writer, station, 60, "maintenance supervisor")
    return station, clock.utc_ns()


def _write(years, period, path):
    station, now_ns = years
    with LogReader(station.log_path) as reader:
        write_book(reader, station, period, path, now_utc_ns=now_ns)
    return path


def _text(path):
    return re.sub(r"\s+", " ", " ".join(page.extract_text() for page in PdfReader(path).pages))


def test_the_book_has_trends_work_references_runs_and_room_to_sign(years, tmp_path):
    text = _text(_write(years, Period(date(2030, 1, 1), date(2032, 1, 31)), tmp_path / "b.pdf"))
    for words in (
        "Station book 2030-01-01 to 2032-01-31",
        "0 of 3 parameters need attention".upper(),
        "version 1, from run 60, fixed 2032-01-15 by maintenance supervisor",
        "step of 0.00397",
        "mast struck by lightning on the 3rd",
        "receiver: Halvorsund NR2 serial 0633 instead of Halvorsund NR2 serial 0417",
        "'course line IF level' turned for 'course line IF'",
        "holds, checked over the whole log",
        "Accepted for the facility by",
    ):
        assert words in text


def test_a_book_of_a_past_period_knows_nothing_of_what_came_after(years, tmp_path):
    text = _text(_write(years, Period(date(2027, 1, 1), date(2028, 12, 31)), tmp_path / "b.pdf"))
    assert "As of 2029-01-01 00:00:00 UTC" in text
    assert "lightning" not in text
    assert "References none fixed" in text


def test_the_same_book_has_the_same_bytes(years, tmp_path):
    period = Period(date(2027, 1, 1), date(2027, 12, 31))
    first = _write(years, period, tmp_path / "a.pdf").read_bytes()
    assert _write(years, period, tmp_path / "b.pdf").read_bytes() == first


def test_a_period_without_runs_is_refused(years, tmp_path):
    with pytest.raises(InputError, match="No run was begun in the period 2040-01-01 to 2040-12-31"):
        _write(years, Period(date(2040, 1, 1), date(2040, 12, 31)), tmp_path / "b.pdf")
    assert not (tmp_path / "b.pdf").exists()


def test_a_period_does_not_end_before_it_begins():
    with pytest.raises(InputError, match="before it begins"):
        Period(date(2027, 2, 1), date(2027, 1, 1))
