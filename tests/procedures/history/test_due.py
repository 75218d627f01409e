"""What is due, and on which day."""

from __future__ import annotations

from datetime import date

import pytest

from daq.errors import StationFileError
from daq.log.reader import LogReader
from procedures.history.due import DEFAULTS, NO_SOURCE, RoutineItem, routine_items, what_is_due
from tests.procedures.history.log_of_years import YearsLog, write_station

KNOWN = ("routine", "monitor-baseline")
MONTHLY = RoutineItem("monthly readings", "routine", 30.0, "local order 4")


def _entry(**changes):
    entry = {"name": "monthly readings", "procedure": "routine", "interval": "30 d", **changes}
    return {"routine": [{k: v for k, v in entry.items() if v is not None}]}


def test_the_station_files_intervals_are_read():
    items = routine_items(_entry(source="local order 4"), known=KNOWN)
    assert items == (MONTHLY,)


@pytest.mark.parametrize(("text", "days"), [("30 d", 30), ("12 weeks", 84), ("48 h", 2)])
def test_an_interval_is_written_as_people_say_it(text, days):
    (item,) = routine_items(_entry(interval=text), known=KNOWN)
    assert item.interval_days == pytest.approx(days)


def test_without_a_table_the_defaults_hold_each_with_a_source():
    items = routine_items(None, known=KNOWN)
    assert {item.procedure for item in items} == set(KNOWN)
    assert all(item.source == NO_SOURCE or "CAP 670" in item.source for item in DEFAULTS)


def test_an_empty_table_asks_for_nothing():
    assert routine_items({}, known=KNOWN) == ()


@pytest.mark.parametrize(
    ("table", "message"),
    [
        (_entry(interval=None), r"maintenance\.routine\.1\.interval: expected a text"),
        (_entry(interval="30"), r"interval.*30 d"),
        (_entry(interval="5 V"), "interval"),
        (_entry(interval="0 d"), "between a day and ten years"),
        (_entry(interval="-3 d"), "between a day and ten years"),
        (_entry(procedure="rutine"), "did you mean 'routine'"),
        (_entry(intervall="30 d"), "did you mean 'interval'"),
        (_entry(name=" "), r"name: expected a text"),
        ({"routine": "x"}, "expected entries"),
        ({"routine": ["x"]}, "expected a table"),
        ({"rutine": []}, r"maintenance\.rutine"),
        ({"routine": [*_entry()["routine"], *_entry()["routine"]]}, "stands twice"),
    ],
)
def test_a_faulty_table_is_told_with_file_and_key(table, message):
    with pytest.raises(StationFileError, match=message) as caught:
        routine_items(table, file="x.toml", known=KNOWN)
    assert str(caught.value).startswith("x.toml: maintenance")


def _due(station, today, items=(MONTHLY,)):
    with LogReader(station.log_path) as reader:
        return {item.name: item for item in what_is_due(reader, station, items, today)}


@pytest.mark.parametrize(
    ("today", "state"),
    [
        (date(2027, 1, 20), "later"),
        (date(2027, 1, 31), "due soon"),
        (date(2027, 2, 14), "due soon"),
        (date(2027, 2, 15), "overdue"),
    ],
)
def test_a_routine_is_due_an_interval_after_the_last_finished_run(tmp_path, clock, today, state):
    """Done on 15 January 2027, every 30 days: due on 14 February, which is still in time."""
    station = write_station(tmp_path)
    with YearsLog(station, clock) as log:
        log.start()
        log.end()
        clock.sleep(5 * 86_400.0)
        log.start()
        log.end("aborted")
    item = _due(station, today)["monthly readings"]
    assert (item.last, item.due) == (date(2027, 1, 15), date(2027, 2, 14))
    assert item.state == state


def test_what_was_never_done_is_due_today(tmp_path):
    station = write_station(tmp_path)
    items = what_is_due(None, station, (MONTHLY,), date(2027, 1, 20))
    assert (items[0].state, items[0].due) == ("never done", date(2027, 1, 20))


def test_calibrations_are_due_by_the_station_file(tmp_path):
    station = write_station(tmp_path)
    (item,) = what_is_due(None, station, (), date(2032, 2, 4))
    assert (item.kind, item.name, item.due, item.state) == (
        "calibration",
        "receiver",
        date(2032, 2, 3),
        "overdue",
    )


def test_an_instrument_without_a_date_is_last_and_says_so(tmp_path):
    text = write_station(tmp_path).text.replace("calibration_due = 2032-02-03", "")
    station = write_station(tmp_path, text)
    items = what_is_due(None, station, (MONTHLY,), date(2032, 2, 4))
    assert (items[-1].name, items[-1].state, items[-1].due) == ("receiver", "no date", None)
