"""Reference values: fixed once, versioned, never edited."""

from __future__ import annotations

import sqlite3

import pytest

from daq.errors import InputError, LogDamaged, Refused
from daq.log.entry import Kind
from daq.log.reader import LogReader
from daq.log.writer import LogWriter
from procedures.history.model import Parameter, Value
from procedures.history.references import (
    KEY,
    Difference,
    Reference,
    all_versions,
    current,
    difference,
    fix_references,
    standing_in,
)
from procedures.record.collect import collect
from tests.procedures.history.log_of_years import YearsLog, write_station

ROLE = "maintenance supervisor"


@pytest.fixture
def station(tmp_path):
    return write_station(tmp_path)


def _run(station, clock, width=0.155, *, result="finished", hazards=()):
    with YearsLog(station, clock) as log:
        log.start("monitor-baseline")
        log.found("course width", width)
        log.found("course line IF", 1.63)
        log.adjusted("course line IF", 1.5, control="course line IF level")
        if result:
            log.end(result, hazards)
        return log.run


def _fix(station, clock, run, role=ROLE):
    with LogWriter(station.log_path, clock) as writer:
        return fix_references(writer, station, run, role)


def test_what_a_finished_run_left_is_fixed(station, clock):
    fixed = _fix(station, clock, _run(station, clock))
    assert (fixed.version, fixed.run, fixed.supersedes) == (1, 1, None)
    assert fixed.values["course width"].value == 0.155
    assert fixed.values["course line IF"].value == 1.5
    assert fixed.values["course line IF"].unit == "V"


def test_the_row_in_the_log_says_all_of_it_and_the_chain_holds(station, clock):
    _fix(station, clock, _run(station, clock))
    with LogReader(station.log_path) as reader:
        (row,) = (e for e in reader.entries(kind=Kind.EVENT) if e.key == KEY)
        reader.verify()
    assert row.body["event"] == "reference values"
    assert row.body["signed_by"] == ROLE
    assert row.body["run"] == 1
    assert row.run == 2


def test_the_signed_record_of_the_baseline_keeps_its_digest(station, clock):
    run = _run(station, clock)
    with LogReader(station.log_path) as reader:
        before = collect(reader, run)
    _fix(station, clock, run)
    with LogReader(station.log_path) as reader:
        assert collect(reader, run) == before


def test_a_new_set_supersedes_and_the_old_one_still_holds_for_its_time(station, clock):
    first = _fix(station, clock, _run(station, clock))
    clock.sleep(86_400.0)
    second = _fix(station, clock, _run(station, clock, 0.1551))
    assert (second.version, second.supersedes) == (2, 1)
    with LogReader(station.log_path) as reader:
        assert current(reader, first.fixed_utc_ns - 1) is None
        assert current(reader, second.fixed_utc_ns - 1) == first
        assert current(reader, second.fixed_utc_ns) == second


def test_a_later_reading_is_compared_with_the_set_of_its_time(station, clock):
    _fix(station, clock, _run(station, clock))
    with YearsLog(station, clock) as log:
        log.start()
        reading = log.found("course width", 0.1563)
        value = Value(reading.value, reading.u, reading.utc_ns)
        log.end()
    with LogReader(station.log_path) as reader:
        versions = all_versions(reader)
    width = Parameter("course width", "ddm")
    found = difference(versions, width, value)
    assert found is not None
    assert found.value == pytest.approx(0.0013)
    assert found.u == pytest.approx(0.0003 * 2**0.5)  # two independent readings, JCGM 100, 5.1.2
    assert found.version == 1
    assert difference(versions, Parameter("clearance 90", "ddm"), value) is None
    assert str(found) == "0.00130 ± 0.00085"
    assert found.reference.value == 0.155
    assert difference((), width, value) is None


@pytest.mark.parametrize(
    ("parameter", "value"),
    [
        (Parameter("course width", "ddm"), 0.155),
        (Parameter("course width", "sdm"), None),
        (Parameter("course width", "ddm", "quadrature"), None),
        (Parameter("course width", "ddm", unit="uA"), None),
        (Parameter("course line IF", "vpp", unit="V"), 1.5),
    ],
)
def test_only_the_same_kind_of_value_has_the_reference(station, clock, parameter, value):
    """A value less one of another quantity, state or unit would be a number without meaning."""
    fixed = _fix(station, clock, _run(station, clock))
    found = fixed.of(parameter)
    assert (None if found is None else found.value) == value
    assert (fixed.less(parameter, Value(0.2, 0.0, 0)) is None) == (value is None)


def test_the_log_at_a_path_says_what_is_in_force(station, clock):
    fixed = _fix(station, clock, _run(station, clock))
    assert standing_in(station.log_path, fixed.fixed_utc_ns) == fixed
    assert standing_in(station.log_path, fixed.fixed_utc_ns - 1) is None


def test_the_difference_of_two_levels_is_in_db():
    level = Reference(-43.0, 0.3, "rf_level", "dBm")
    assert (str(level), str(Difference(-0.5, 0.4, 1, level))) == (
        "−43.00 ± 0.60 dBm",
        "−0.50 ± 0.80 dB",
    )


@pytest.mark.parametrize("result", ["aborted", "refused", ""])
def test_a_run_that_did_not_finish_fixes_nothing(station, clock, result):
    run = _run(station, clock, result=result)
    with pytest.raises(Refused, match=f"Run 1 did not finish \\({result or 'cut off'}\\)"):
        _fix(station, clock, run)


def test_a_run_that_left_something_out_of_tolerance_fixes_nothing(station, clock):
    run = _run(station, clock, 0.160)
    with pytest.raises(Refused, match="'course width' out of tolerance"):
        _fix(station, clock, run)


def test_a_computed_result_out_of_tolerance_counts_too(station, clock):
    with YearsLog(station, clock) as log:
        log.start("course")
        log.result("course/as found/alignment/verdict", "alignment", 9.0)
        log.result("course/as left/alignment/verdict", "alignment", 8.0)
        log.end()
    with pytest.raises(Refused, match="'course: alignment' out of tolerance"):
        _fix(station, clock, 1)


def test_what_was_out_as_found_and_in_as_left_is_fixed(station, clock):
    with YearsLog(station, clock) as log:
        log.start("course")
        log.result("course/as found/alignment/verdict", "alignment", 9.0)
        log.result("course/as left/alignment/verdict", "alignment", 0.4)
        log.end()
    assert str(_fix(station, clock, 1).values["course: alignment"]) == "0.40 ± 0.60 m"


def test_a_run_that_left_a_hazard_fixes_nothing(station, clock):
    run = _run(station, clock, hazards=["the quarter-wave line is in the SBO path"])
    with pytest.raises(Refused, match="not confirmed as put back"):
        _fix(station, clock, run)


def test_the_same_run_is_not_fixed_twice(station, clock):
    run = _run(station, clock)
    _fix(station, clock, run)
    with pytest.raises(Refused, match="already the reference, as version 1"):
        _fix(station, clock, run)


def test_a_refusal_writes_nothing(station, clock):
    run = _run(station, clock, result="aborted")
    with pytest.raises(Refused):
        _fix(station, clock, run)
    with LogReader(station.log_path) as reader:
        assert reader.run_numbers() == [run]


@pytest.mark.parametrize("role", ["", "   ", "x" * 81, "super\u202evisor"])
def test_a_role_has_to_be_named(station, clock, role):
    run = _run(station, clock)
    with pytest.raises(InputError, match="names no role"):
        _fix(station, clock, run, role)


def test_an_unknown_run_is_told(station, clock):
    _run(station, clock)
    with pytest.raises(InputError, match="no run 7"):
        _fix(station, clock, 7)


def test_nothing_in_a_log_that_was_changed_becomes_a_reference(station, clock):
    run = _run(station, clock)
    connection = sqlite3.connect(station.log_path)
    connection.execute("DROP TRIGGER no_update")
    connection.execute("UPDATE entries SET utc_ns = utc_ns + 1 WHERE seq = 2")
    connection.commit()
    connection.close()
    with pytest.raises(LogDamaged, match="chain breaks at row 2"):
        _fix(station, clock, run)
    with LogReader(station.log_path) as reader:
        assert all_versions(reader) == ()
