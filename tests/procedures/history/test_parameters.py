"""A single measurement or result is called as the history of a whole run calls it."""

from __future__ import annotations

import pytest

from daq.log.entry import Kind
from daq.log.reader import LogReader
from daq.measurement import Measurement
from procedures.history.model import Parameter
from procedures.history.parameters import (
    normal_parameter,
    parameter_of,
    parameter_of_result,
    value_of,
)
from procedures.history.series import read_history, visits_of_run
from procedures.record.model import Measured
from procedures.record.rows import mapping
from procedures.record.steps import read_steps
from tests.procedures.history.log_of_years import YearsLog, write_station
from tests.procedures.record.run_log import RunLog, write_reversed_width


def measured(label: str, *, key: str = "k", quantity: str = "ddm") -> Measured:
    unit = Measurement(quantity, "course width", "receiver", 0.155, 1e-3, 1e-4, 8, True, 5)
    return Measured(key, label, unit)


@pytest.mark.parametrize(
    ("label", "state"),
    [
        ("as found", ""),
        ("as left", ""),
        ("normal, round 2", ""),
        ("normal", ""),
        ("profile removed", ""),
        ("quadrature, round 2", "quadrature"),
        ("wide alarm", "at the wide alarm"),
        ("alignment, as found", "alignment"),
        ("transmitter 2", "transmitter 2"),
    ],
)
def test_the_label_says_the_state(label: str, state: str):
    assert parameter_of(measured(label)) == Parameter("course width", "ddm", state)


@pytest.mark.parametrize(
    ("label", "key"),
    [("traverse, step 2", "k"), ("comparison", "k"), ("as found", "course/place 2/ddm")],
)
def test_what_is_not_followed_is_nothing(label: str, key: str):
    assert parameter_of(measured(label, key=key)) is None


def test_the_unit_is_that_of_the_quantity():
    found = parameter_of(measured("as found", quantity="vpp"))
    assert found is not None
    assert found.unit == normal_parameter("course width", "vpp").unit == "V"


def test_each_line_of_a_run_is_called_as_the_history_of_the_run_calls_it(tmp_path):
    with RunLog(tmp_path / "x.tblog") as log:
        write_reversed_width(log)
    with LogReader(log.path) as reader:
        lines = read_steps(list(reader.entries(run=1, kind=Kind.OUTCOME))).measured
        visits = visits_of_run(reader, reader.run(1))
    assert {parameter_of(line) for line in lines} == {parameter for parameter, _ in visits}
    assert {parameter.name for parameter, _ in visits} == {
        "course line IF",
        "course width",
        "course width, quadrature",
    }


def test_a_result_is_called_as_the_history_calls_it(tmp_path, clock):
    station = write_station(tmp_path)
    with YearsLog(station, clock) as log:
        log.start("course")
        log.result("course/as found/alignment/verdict", "alignment", 0.4)
        log.result("routine/course width/as found/reference/verdict", "difference", 0.1)
        log.end()
    with LogReader(station.log_path) as reader:
        (followed,) = read_history(reader)
        judged = list(reader.entries(kind=Kind.OUTCOME))
    asked = [parameter_of_result(e.key, mapping(e.body, "request")) for e in judged]
    assert asked == [followed, None]
    assert (followed.name, followed.unit) == ("course: alignment", "m")


def test_a_value_is_the_measurement_with_its_uncertainty_and_moment():
    value = value_of(measured("as found").measurement)
    assert (value.value, value.u, value.utc_ns) == (0.155, 1e-3, 5)
