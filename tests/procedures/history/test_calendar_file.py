"""The iCalendar file, read by an independent parser."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime

import icalendar
import pytest
from hypothesis import given
from hypothesis import strategies as st

from procedures.history.calendar_file import calendar_text, uid_of, write_calendar
from procedures.history.due import DueItem
from tests.procedures.history.log_of_years import write_station

NOW_NS = 1_800_000_000_000_000_000
ROUTINE = DueItem(
    "routine", "monthly readings", "routine", None, date(2027, 2, 14), "later", "order 4, §2; a\\b"
)
CALIBRATION = DueItem(
    "calibration", "receiver", "", date(2026, 8, 3), date(2027, 2, 3), "later", "station file"
)
NO_DATE = DueItem("calibration", "scope", "", None, None, "no date", "station file")


@pytest.fixture
def facility(tmp_path):
    return write_station(tmp_path).station


def _events(text):
    return list(icalendar.Calendar.from_ical(text).walk("VEVENT"))


def test_another_programs_parser_reads_each_item_back(facility):
    events = _events(calendar_text([CALIBRATION, ROUTINE, NO_DATE], facility, now_utc_ns=NOW_NS))
    assert [str(e["SUMMARY"]) for e in events] == [
        "ITN: calibration of receiver due",
        "ITN: monthly readings due",
    ]
    assert events[1].decoded("DTSTART") == date(2027, 2, 14)
    assert events[1].decoded("DTEND") == date(2027, 2, 15)
    assert events[1].decoded("DTSTAMP") == datetime(2027, 1, 15, 8, 0, tzinfo=UTC)
    assert "order 4, §2; a\\b" in str(events[1]["DESCRIPTION"])
    assert str(events[1]["LOCATION"]) == "Tarnholt aerodrome, runway 16"


def test_an_item_keeps_its_uid_when_its_day_moves_and_the_later_file_wins(facility):
    moved = DueItem("routine", "monthly readings", "routine", None, date(2027, 4, 1), "later", "x")
    (before,) = _events(calendar_text([ROUTINE], facility, now_utc_ns=NOW_NS))
    later = NOW_NS + 86_400_000_000_000
    (after,) = _events(calendar_text([moved], facility, now_utc_ns=later))
    assert before["UID"] == after["UID"] == uid_of(ROUTINE, facility)
    assert after["SEQUENCE"] > before["SEQUENCE"]
    assert uid_of(CALIBRATION, facility) != uid_of(ROUTINE, facility)


@given(st.text(min_size=1, max_size=300))
def test_any_text_survives_folded_lines(tmp_path_factory, text):
    """RFC 5545, 3.1: lines end in CR LF and have at most 75 octets."""
    facility = write_station(tmp_path_factory.mktemp("s")).station
    item = DueItem("routine", f"x{text}y", "routine", None, date(2027, 2, 14), "later", text)
    calendar = calendar_text([item], facility, now_utc_ns=NOW_NS)
    assert calendar.endswith("\r\n")
    lines = calendar.split("\r\n")[:-1]
    assert all(len(line.encode()) <= 75 for line in lines)
    assert not any(re.search(r"[\x00-\x1f]", line) for line in lines)
    (event,) = _events(calendar)
    assert str(event["SUMMARY"]).startswith("ITN: x")
    if text.isprintable():
        assert str(event["SUMMARY"]) == f"ITN: x{text}y due"


def test_the_file_is_written_whole(facility, tmp_path):
    write_calendar([ROUTINE], facility, tmp_path / "due.ics", now_utc_ns=NOW_NS)
    assert (tmp_path / "due.ics").read_bytes().endswith(b"END:VCALENDAR\r\n")
