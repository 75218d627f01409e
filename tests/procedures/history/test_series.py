"""What is read from a log as the visits of a parameter."""

from __future__ import annotations

import pandas as pd
import pytest

from daq.clock import ManualClock
from daq.errors import InputError
from daq.log.reader import LogReader
from procedures.history.model import Parameter, day_of, start_of
from procedures.history.series import COLUMNS, find_parameter, read_history, table
from tests.procedures.history.log_of_years import YearsLog, write_station

LEVEL = Parameter("course line IF", "vpp")
WIDTH = Parameter("course width", "ddm")


def test_a_visit_has_what_was_found_and_what_an_adjustment_left(tmp_path, clock):
    station = write_station(tmp_path)
    with YearsLog(station, clock) as log:
        log.start()
        log.found("course line IF", 1.63)
        log.adjusted("course line IF", 1.5, control="course line IF level")
        log.end()
    with LogReader(station.log_path) as reader:
        (visit,) = read_history(reader)[LEVEL]
    assert visit.found is not None
    assert visit.left is not None
    assert (visit.found.value, visit.left.value, visit.adjusted) == (1.63, 1.5, True)
    assert visit.limit is not None
    assert (visit.limit.low, visit.limit.high) == (1.4, 1.6)


def test_a_reading_repeated_with_no_work_between_is_not_an_adjustment(tmp_path, clock):
    station = write_station(tmp_path)
    with YearsLog(station, clock) as log:
        log.start()
        log.found("course width", 0.155)
        log.found("course width", 0.1552, label="as left")
        log.end()
    with LogReader(station.log_path) as reader:
        (visit,) = read_history(reader)[WIDTH]
    assert not visit.adjusted
    assert visit.last is not None
    assert visit.last.value == 0.1552


def test_another_points_control_turned_between_counts_as_work_on_this_one(tmp_path, clock):
    station = write_station(tmp_path)
    with YearsLog(station, clock) as log:
        log.start()
        log.found("course width", 0.155)
        log.found("course line IF", 1.63)
        log.adjusted("course line IF", 1.5, control="course line IF level")
        log.found("course width", 0.151, label="as left")
        log.end()
    with LogReader(station.log_path) as reader:
        assert read_history(reader)[WIDTH][0].adjusted


def test_readings_around_a_profile_are_of_the_normal_state_and_its_own_are_not_found(
    tmp_path, clock
):
    station = write_station(tmp_path)
    with YearsLog(station, clock) as log:
        log.start()
        for label, value in (("normal", 0.155), ("wide alarm", 0.1287), ("normal restored", 0.156)):
            log.found("course width", value, label=label)
        log.end()
    with LogReader(station.log_path) as reader:
        history = read_history(reader)
    (normal,) = history[WIDTH]
    assert normal.found is not None
    assert normal.left is not None
    assert (normal.found.value, normal.left.value) == (0.155, 0.156)
    (alarm,) = history[Parameter("course width", "ddm", "at the wide alarm")]
    assert alarm.found is None


def test_what_a_traverse_gave_is_followed_and_its_places_are_not(tmp_path, clock):
    station = write_station(tmp_path)
    with YearsLog(station, clock) as log:
        log.start("course")
        for place in (1, 2):
            key = f"course/as found/place {place}/ddm"
            log.found("course width", 0.05 * place, label=f"as found, {place} m", key=key)
        log.result("course/as found/alignment/verdict", "alignment", 3.1)
        log.found("course line IF", 1.63)
        log.adjusted("course line IF", 1.5, control="course line IF level")
        log.result("course/as left/alignment/verdict", "alignment", 0.2)
        log.end()
    with LogReader(station.log_path) as reader:
        history = read_history(reader)
    assert {parameter.name for parameter in history} == {"course line IF", "course: alignment"}
    (parameter,) = (p for p in history if p.name == "course: alignment")
    assert parameter.printed_unit == "m"
    (visit,) = history[parameter]
    assert visit.found is not None
    assert visit.left is not None
    assert (visit.found.value, visit.left.value, visit.adjusted) == (3.1, 0.2, True)
    assert visit.limit is not None
    assert (visit.limit.low, visit.limit.status) == (-7.5, "read in a secondary text")


def test_checks_of_instruments_and_connections_are_not_followed(tmp_path, clock):
    station = write_station(tmp_path)
    with YearsLog(station, clock) as log:
        log.start()
        log.found("course width", 0.155, label="comparison")
        log.found("course width", 0.2, label="150 Hz made to predominate")
        log.found("course width", 0.156, label="width, as found")
        log.end()
    with LogReader(station.log_path) as reader:
        assert [p.name for p in read_history(reader)] == ["course width, width"]


def test_a_run_that_was_cut_off_still_found_what_it_found(tmp_path, clock):
    station = write_station(tmp_path)
    with YearsLog(station, clock) as log:
        log.start()
        log.found("course width", 0.155)
    with LogReader(station.log_path) as reader:
        (visit,) = read_history(reader)[WIDTH]
    assert visit.result == "cut off"


def test_the_table_has_the_documented_columns_and_times_in_utc(tmp_path, clock):
    station = write_station(tmp_path)
    with YearsLog(station, clock) as log:
        log.start()
        log.found("course width", 0.155)
        log.end()
    with LogReader(station.log_path) as reader:
        frame = table(read_history(reader))
    assert list(frame.columns) == list(COLUMNS)
    assert frame["time"][0] == pd.Timestamp("2027-01-15T08:00:05Z")
    assert frame["left"].isna().all()


def test_a_period_takes_only_the_runs_begun_in_it(tmp_path, clock):
    station = write_station(tmp_path)
    with YearsLog(station, clock) as log:
        for _ in range(3):
            log.start()
            log.found("course width", 0.155)
            log.end()
            clock.sleep(86_400.0)
    begin = ManualClock().utc_ns()
    with LogReader(station.log_path) as reader:
        history = read_history(
            reader, from_utc_ns=begin + 1, before_utc_ns=begin + 100_000_000_000_000
        )
    assert [visit.run for visit in history[WIDTH]] == [2]


def test_an_unknown_parameter_is_told_with_those_that_are_there():
    with pytest.raises(InputError, match=r"course width.*did you mean 'course width'"):
        find_parameter([WIDTH, LEVEL], "course widht")
    assert find_parameter([WIDTH, LEVEL], " Course LINE if") == LEVEL


def test_days_begin_at_midnight_utc():
    day = day_of(1_800_000_000_000_000_000)
    assert day.isoformat() == "2027-01-15"
    assert day_of(start_of(day)) == day
    assert day_of(start_of(day) - 1).isoformat() == "2027-01-14"
