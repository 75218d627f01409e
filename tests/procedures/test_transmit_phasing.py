"""Transmit phasing out in the field, near and far."""

from __future__ import annotations

import pytest

from tests.support.ground import ground

FOUND = {"transmit_phase_error_deg": 130.0, "clearance_phase_error_deg": -75.0}


def test_both_carriers_are_phased_each_with_the_other_one_off():
    with ground(FOUND) as on:
        ran = on.run("transmit-phasing")
        truth = on.plant.truth()
    assert ran.end.result == "finished"
    # The line at hand is 1.2 degrees off, which no null can see.
    assert truth.transmit_phase_deg["course"] == pytest.approx(0.0, abs=2.2)
    assert truth.transmit_phase_deg["clearance"] == pytest.approx(0.0, abs=2.2)
    assert truth.lines_in == []
    assert {name for name, _ in truth.cuts} <= {
        "sbo transmitter", "csb transmitter", "clearance sbo transmitter",
        "clearance csb transmitter",
    }  # fmt: skip
    switched = [
        (p.action.arguments["carrier"], p.action.arguments["state"])
        for p in on.who.asked
        if p.action is not None and p.action.verb == "switch carrier"
    ]
    assert switched == [
        ("clearance", "off"), ("clearance", "on"), ("course", "off"), ("course", "on"),
    ]  # fmt: skip
    assert not any("/width/adjust" in key for key in ran.requests)


def test_the_near_field_adds_a_phase_that_the_station_file_holds():
    """Without it the same null leaves the far field off by what the place adds."""
    with ground(FOUND, {'place_phase = "-6.4 deg"': 'place_phase = "0 deg"'}) as on:
        on.run("transmit-phasing")
        left_deg = on.plant.truth().transmit_phase_deg["course"]
    assert left_deg == pytest.approx(6.4, abs=2.2)


def test_the_far_field_does_as_well():
    changes = {
        'place = {radius = "600 m", azimuth = "1.6 deg"}': (
            'place = {radius = "4200 m", azimuth = "1.6 deg"}'
        ),
        'place_phase = "-6.4 deg"': 'place_phase = "-0.9 deg"',
    }
    with ground(FOUND, changes) as on:
        ran = on.run("transmit-phasing")
        left_deg = on.plant.truth().transmit_phase_deg["course"]
    assert ran.end.result == "finished"
    assert left_deg == pytest.approx(0.0, abs=2.2)


def test_the_phase_that_is_left_is_judged_with_the_uncertainty_of_the_line():
    with ground(FOUND) as on:
        ran = on.run("transmit-phasing")
    row = ran.requests["phasing/course/phase left"]
    assert row["u"] == pytest.approx(2.0, abs=0.2)
    assert (row["high"], row["unit"], row["rule"]) == (8.0, "deg", "guarded")


def test_too_little_spare_is_refused_with_the_carrier_still_reminded_of():
    with ground(FOUND, {'spare = "1.30 m"': 'spare = "0.05 m"'}) as on:
        ran = on.run("transmit-phasing")
    assert ran.end.result == "refused"
    assert "spare cable" in ran.end.message
    assert ran.end.open_hazards == ()  # the technician confirmed that it is on again


def test_a_station_that_describes_none_is_refused():
    with ground() as on:
        on.bench.station = on.bench.station.model_copy(update={"phasing": {}})
        ran = on.run("transmit-phasing")
    assert "no table [phasing.course]" in ran.end.message
