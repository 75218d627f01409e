"""Five invented years in a log, and what is made of them."""

from __future__ import annotations

import json

import numpy as np
import pytest

from daq.clock import ManualClock
from daq.errors import InputError
from daq.log.reader import LogReader
from daq.log.writer import LogWriter
from procedures.history.drift import Exit
from procedures.history.plot import trend_picture, write_plot
from procedures.history.references import fix_references
from procedures.history.trend import SAID, Attention, make_trends
from procedures.history.trend_words import as_data, leaves_words, limit_words, remarks, visit_rows
from tests.procedures.history.log_of_years import (
    STEP_DDM,
    WIDTH_PER_YEAR,
    YearsLog,
    write_five_years,
    write_station,
)


@pytest.fixture(scope="module")
def years(tmp_path_factory):
    clock = ManualClock()
    station = write_station(tmp_path_factory.mktemp("years"))
    write_five_years(station, clock)
    with LogReader(station.log_path) as reader:
        trends = make_trends(reader, station, clock.utc_ns())
    return {trend.parameter.name: trend for trend in trends}


def test_the_drift_of_the_width_is_what_was_put_in(years):
    drift = years["course width"].drift
    assert abs(drift.per_year - WIDTH_PER_YEAR) <= drift.half_width
    assert years["course width"].attention is Attention.DRIFTS


def test_the_step_is_dated_and_tied_to_what_was_said_that_day(years):
    (step,) = years["clearance 90"].steps
    assert abs(step.size - STEP_DDM) <= step.half_width
    assert [deed.what for deed in step.deeds] == ["mast struck by lightning on the 3rd"]
    (words, *_) = remarks(years["clearance 90"])
    assert "first seen 2030-02-14, not yet 2030-01-15" in words


def test_the_season_is_told_and_no_drift_is_made_of_it(years):
    drift = years["clearance 90"].drift
    assert drift.season is not None
    assert drift.season.amplitude == pytest.approx(0.0008, abs=0.0002)
    assert not drift.significant


def test_adjustments_are_not_steps_and_the_drift_goes_through_them(years):
    trend = years["course line IF"]
    assert sum(visit.adjusted for visit in trend.visits) == 2
    assert trend.steps == ()
    assert abs(trend.drift.per_year - 0.045) <= trend.drift.half_width


def test_the_limit_is_the_one_it_was_judged_by(years):
    assert limit_words(years["course width"]) == "0.152 to 0.158"
    assert years["course width"].limit.source == "station file"


def test_a_trend_as_data_is_json_with_times_in_utc(years):
    told = as_data(years["clearance 90"], with_visits=True)
    data = json.loads(json.dumps(told, allow_nan=False))
    assert data["attention"] == SAID[Attention.QUIET]
    assert data["steps"][0]["seen"].startswith("2030-02-14T")
    assert len(data["history"]) == 60


def test_no_date_beyond_the_horizon(years):
    assert leaves_words(years["clearance 90"].leaves) == "not within 10 years"
    assert leaves_words(None) == ""


@pytest.mark.parametrize(("kind", "begin"), [("svg", b"<?xml"), ("png", b"\x89PNG")])
def test_the_same_trend_gives_the_same_picture(years, kind, begin):
    picture = trend_picture(years["clearance 90"], kind)
    assert picture.startswith(begin)
    assert picture == trend_picture(years["clearance 90"], kind)


def test_a_plot_is_svg_or_png(years, tmp_path):
    write_plot(years["course width"], tmp_path / "w.SVG")
    assert (tmp_path / "w.SVG").read_bytes().startswith(b"<?xml")
    with pytest.raises(InputError, match=r"an \.svg or a \.png"):
        write_plot(years["course width"], tmp_path / "w.gif")


def _visits(station, clock, widths):
    with YearsLog(station, clock) as log:
        for width in widths:
            log.start()
            log.found("course width", width)
            log.end()
            clock.sleep(30 * 86_400.0)


def _trend(station, clock):
    with LogReader(station.log_path) as reader:
        (trend,) = make_trends(reader, station, clock.utc_ns())
    return trend


def test_what_is_out_of_limits_comes_first(tmp_path, clock):
    station = write_station(tmp_path)
    with YearsLog(station, clock) as log:
        for _ in range(3):
            log.start()
            log.found("course line IF", 1.5)
            log.found("course width", 0.1600)
            log.end()
            clock.sleep(30 * 86_400.0)
    with LogReader(station.log_path) as reader:
        trends = make_trends(reader, station, clock.utc_ns())
    assert [t.attention for t in trends] == [Attention.OUT, Attention.TOO_SHORT]
    assert trends[0].parameter.name == "course width"


def test_a_fast_drift_leaves_soon(tmp_path, clock):
    station = write_station(tmp_path)
    _visits(station, clock, [0.1540 + 0.0003 * i + 0.00002 * (-1) ** i for i in range(12)])
    assert _trend(station, clock).attention is Attention.SOON


def test_a_newest_reading_that_stands_apart_is_said(tmp_path, clock):
    station = write_station(tmp_path)
    widths = [0.1550 + 0.0001 * (-1) ** i for i in range(20)]
    _visits(station, clock, [*widths, 0.1570])
    assert _trend(station, clock).attention is Attention.APART


def test_a_step_without_a_cause_is_said(tmp_path, clock):
    station = write_station(tmp_path)
    noise = [0.00008, -0.00005, 0.00001, -0.00009, 0.00006]
    widths = [0.1545 + (0.0012 if i >= 14 else 0.0) + noise[i % 5] for i in range(20)]
    _visits(station, clock, widths)
    trend = _trend(station, clock)
    assert trend.attention is Attention.UNEXPLAINED
    assert "look outside it" in remarks(trend)[0]


def test_without_a_verdict_the_station_files_target_is_the_limit(tmp_path, clock):
    station = write_station(tmp_path)
    with YearsLog(station, clock) as log:
        log.start()
        measurement = log.measured("course width", 0.155)
        request = {"do": "measure", "point": "course width", "label": "as found"}
        log.journal.outcome("w", request, measurement.to_body)
        log.end()
    trend = _trend(station, clock)
    assert trend.limit is not None
    assert (trend.limit.low, trend.limit.high) == pytest.approx((0.152, 0.158))
    assert "target" in trend.limit.source


def test_a_later_reading_shows_its_difference_from_the_reference(tmp_path, clock):
    station = write_station(tmp_path)
    _visits(station, clock, [0.155])
    with LogWriter(station.log_path, clock) as writer:
        fix_references(writer, station, 1, "maintenance supervisor")
    _visits(station, clock, [0.1562])
    trend = _trend(station, clock)
    assert trend.reference is not None
    assert trend.reference.value == 0.155
    assert trend.difference is not None
    assert trend.difference.value == pytest.approx(0.0012)
    assert trend.differences[0] is None
    assert as_data(trend, with_visits=True)["reference"] == 0.155
    assert visit_rows(trend)[-1][2:5] == ["0.15620 ± 0.00060", "", "0.00120 ± 0.00085"]


def test_a_log_with_nothing_found_has_no_trends(tmp_path, clock):
    station = write_station(tmp_path)
    with YearsLog(station, clock) as log:
        log.start()
        log.end()
    with LogReader(station.log_path) as reader:
        assert make_trends(reader, station, clock.utc_ns()) == ()


def test_the_difference_told_is_from_the_very_reference_that_is_told(tmp_path, clock):
    """The set changed after the newest visit: newest - reference = difference all the same."""
    station = write_station(tmp_path)
    _visits(station, clock, [0.1540])
    with LogWriter(station.log_path, clock) as writer:
        fix_references(writer, station, 1, "maintenance supervisor")
    _visits(station, clock, [0.1549, 0.1553])
    with LogWriter(station.log_path, clock) as writer:
        fix_references(writer, station, 3, "maintenance supervisor")
    data = json.loads(json.dumps(as_data(_trend(station, clock), with_visits=True)))
    assert (data["reference"], data["reference_version"]) == (0.1549, 2)
    assert data["newest"]["value"] - data["reference"] == data["difference"]["value"]
    assert data["difference"]["version"] == 2
    assert [visit["reference_version"] for visit in data["history"]] == [None, 1, 1]


def test_what_is_out_already_gets_no_day_on_which_it_will_be(tmp_path, clock):
    station = write_station(tmp_path)
    rng = np.random.default_rng(3)
    _visits(station, clock, 0.150 + 0.0004 * np.arange(24) + 0.00005 * rng.standard_normal(24))
    trend = _trend(station, clock)
    assert trend.attention is Attention.OUT
    assert trend.drift is not None
    assert (trend.leaves, leaves_words(trend.leaves)) == (None, "")
    assert as_data(trend)["leaves_limits"] is None


def test_a_line_that_is_outside_from_today_on_gets_no_day_either():
    now = 1_800_000_000_000_000_000
    assert leaves_words(Exit("high", now, now, now)) == "the fitted line is outside already"
    assert leaves_words(Exit("high", now, now, None)).startswith("2027-01-15 (2027-01-15 to")
