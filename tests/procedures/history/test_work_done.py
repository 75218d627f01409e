"""What was done between two visits, the most telling first."""

from __future__ import annotations

from daq.log.reader import LogReader
from procedures.history.work_done import Deed, near, read_deeds
from tests.procedures.history.log_of_years import YearsLog, write_station

DAY_NS = 86_400_000_000_000


def test_cuts_controls_instruments_notes_and_events_are_read(tmp_path, clock):
    station = write_station(tmp_path)
    with YearsLog(station, clock) as log:
        log.start("monitor-baseline")
        log.found("course line IF", 1.63)
        log.adjusted("course line IF", 1.5, control="course line IF level")
        cut = {"do": "number", "verb": "cut", "arguments": {"path": "sbo", "stage": "monitor"}}
        log.asked("cut", cut, 0.318)
        log.asked("note", {}, "snow in front of the array")
        log.journal.event("gap", {"event": "gap"})
        log.end()
        log.start(serial="0633")
        log.end()
    with LogReader(station.log_path) as reader:
        deeds = read_deeds(reader)
    name = "Halvorsund NR2 serial"
    assert [(deed.kind, deed.what) for deed in deeds] == [
        ("run", "monitor-baseline"),
        ("adjustment", "'course line IF level' turned for 'course line IF'"),
        ("cut", "SBO path shortened by 0.318 m"),
        ("note", "snow in front of the array"),
        ("event", "gap"),
        ("run", "routine"),
        ("instrument", f"receiver: {name} 0633 instead of {name} 0417"),
    ]


def _deed(kind, at, *, run=5, point=""):
    return Deed(at, run, kind, kind, point)


def test_the_most_telling_comes_first_and_the_points_own_control_before_others():
    deeds = [
        _deed("run", 10),
        _deed("note", 11),
        _deed("adjustment", 12, point="clearance 90"),
        _deed("adjustment", 13, point="course width"),
        _deed("cut", 14),
        _deed("instrument", 15),
    ]
    found = near(deeds, 5, 100, "course width")
    assert [(d.kind, d.point) for d in found] == [
        ("cut", ""),
        ("adjustment", "course width"),
        ("adjustment", "clearance 90"),
        ("instrument", ""),
        ("note", ""),
        ("run", ""),
    ]


def test_what_hands_did_after_the_reading_explains_nothing_but_words_of_that_day_count():
    noon = DAY_NS // 2
    deeds = [
        _deed("cut", noon + 1),
        _deed("note", noon + 1),
        _deed("note", DAY_NS + 1),
    ]
    assert [d.utc_ns for d in near(deeds, 0, noon, "")] == [noon + 1]


def test_the_two_visits_themselves_explain_nothing():
    deeds = [_deed("run", 10, run=4), _deed("run", 20, run=5)]
    assert near(deeds, 5, 100, "", own_runs=frozenset({5})) == (deeds[0],)
