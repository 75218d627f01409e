"""Means over records, and what ends the work."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from daq.errors import Refused
from daq.samples.model import Estimate
from procedures.steps.detector_records import (
    Mean,
    analyzed,
    connect_probe,
    mean_of,
    read_mean,
    read_mean_or_none,
    take_record,
)
from tests.support.steps import stage


def test_the_mean_s_uncertainty_is_the_larger_of_what_is_stated_and_shown() -> None:
    """JCGM 100:2008, 4.2.3: the standard deviation of a mean of n is s / sqrt(n)."""
    scattered = mean_of([Estimate(1.0, 0.01), Estimate(1.2, 0.01), Estimate(1.4, 0.01)])
    assert scattered == pytest.approx({"value": 1.2, "u": 0.2 / math.sqrt(3.0)})
    alike = mean_of([Estimate(1.0, 0.01), Estimate(1.0, 0.03)])
    assert alike == pytest.approx({"value": 1.0, "u": math.sqrt((0.01**2 + 0.03**2) / 2.0)})
    assert mean_of([Estimate(2.0, 0.5)]) == {"value": 2.0, "u": 0.5}


def test_what_was_kept_is_read_again() -> None:
    assert read_mean({"value": 2, "u": 0.5}) == Mean(2.0, 0.5)
    assert read_mean_or_none(None) is None
    with pytest.raises(Refused, match="without its values"):
        read_mean("2.0")


def test_the_probe_goes_to_the_socket_that_a_point_names(tmp_path: Path) -> None:
    with stage(tmp_path) as on:
        point = connect_probe(on.bench, "x", "identification")
        assert on.under.sim.connections.probe(1) == "course CSB detector"
        record = take_record(on.bench, point)
    assert record.samples_v.size / record.rate_hz == pytest.approx(10.0)
    assert on.who.asked[-1].text == (
        "Put the probe of scope for long records channel 1 on 'course CSB detector'."
    )


def test_two_profiles_of_one_oscilloscope_leave_each_other_s_settings_alone(tmp_path: Path) -> None:
    with stage(tmp_path) as on:
        take_record(on.bench, connect_probe(on.bench, "long", "identification"))
        record = take_record(on.bench, connect_probe(on.bench, "short", "course CSB detector"))
    assert record.rate_hz == pytest.approx(40_000.0)
    # Steps of 3 V over 256 codes.
    steps = np.diff(np.unique(record.samples_v))
    assert steps.min() == pytest.approx(3.0 / 256.0, rel=1e-4)


def test_a_record_that_says_nothing_is_refused_with_its_point(tmp_path: Path) -> None:
    with stage(tmp_path) as on:
        point = on.bench.station.point("course CSB detector")
    with pytest.raises(Refused, match="'course CSB detector': "):
        analyzed(point, np.ones(20_000), 40_000.0)
