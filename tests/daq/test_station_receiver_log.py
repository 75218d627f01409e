"""How a station says what its receiver's log looks like."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from daq.station_ground import Positions
from daq.station_receiver_log import ReceiverLog

LEAST = {"ddm_unit": "uA", "positive": 90, "u": "0.5 uA"}


def test_values_are_written_as_people_say_them_and_kept_in_si() -> None:
    log = ReceiverLog.model_validate(
        {**LEAST, "lag": "400 ms", "longest_gap": "1.5 s", "clock_offset": "-20 ms"}
    )
    assert (log.lag_s, log.longest_gap_s, log.clock_offset_s) == (0.4, 1.5, -0.02)
    assert log.u_ddm == pytest.approx(0.5 * 0.155 / 150)


@pytest.mark.parametrize("missing", ["ddm_unit", "positive", "u"])
def test_unit_sign_and_uncertainty_have_to_be_stated(missing: str) -> None:
    with pytest.raises(ValidationError, match=missing):
        ReceiverLog.model_validate({k: v for k, v in LEAST.items() if k != missing})


@pytest.mark.parametrize(
    ("more", "match"),
    [
        ({"latitude": "Lat"}, "latitude and longitude, not one of them"),
        ({"offset": "x", "angle": "az"}, "an offset, an angle, or"),
        ({"flag": "ddm"}, "the column 'ddm' is named for two things"),
        ({"positive": 1}, "positive"),
        ({"colour": "red"}, "colour"),
        ({"noise": "0.1 uA"}, "noise and resolution are given both, or neither"),
        ({"resolution": "0.1 uA"}, "noise and resolution are given both, or neither"),
        ({"noise": "0 uA", "resolution": "0.1 uA"}, "noise"),
    ],
)
def test_contradictions_are_refused(more: dict[str, object], match: str) -> None:
    with pytest.raises(ValidationError, match=match):
        ReceiverLog.model_validate({**LEAST, **more})


@pytest.mark.parametrize(
    ("columns", "axis"),
    [
        ({}, ""),
        ({"offset": "x"}, "offset_m"),
        ({"angle": "az"}, "angle_deg"),
        ({"latitude": "lat", "longitude": "lon"}, "latitude and longitude"),
    ],
)
def test_the_axis_follows_from_the_columns(columns: dict[str, str], axis: str) -> None:
    log = ReceiverLog.model_validate({**LEAST, **columns})
    assert log.axis == axis
    assert set(columns.values()) <= set(log.columns)


def test_it_stands_in_the_table_of_positions() -> None:
    positions = Positions.model_validate({"receiver_log": LEAST})
    assert positions.receiver_log == ReceiverLog.model_validate(LEAST)
    assert Positions().receiver_log is None


def test_what_is_known_of_its_noise_is_kept_as_ddm() -> None:
    noise = {"noise": "0.3 uA", "resolution": "0.1 uA", "update": "500 ms"}
    floor = ReceiverLog.model_validate({**LEAST, **noise}).floor
    assert floor is not None
    per_ua = 0.155 / 150
    assert (floor.sigma, floor.resolution) == pytest.approx((0.3 * per_ua, 0.1 * per_ua))
    assert floor.update_s == 0.5
    assert ReceiverLog.model_validate(LEAST).floor is None
