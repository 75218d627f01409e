"""A set of feed cables, from sweeps to one electrical length."""

from __future__ import annotations

import pytest

from tests.support.ground import ground

LONG = {"transmit_phase_error_deg": -90.0, "clearance_phase_error_deg": 40.0}


def test_a_set_is_cut_to_its_shortest_and_swept_again():
    with ground(LONG) as on:
        ran = on.run("cable-set")
        phases = on.plant.truth().transmit_phase_deg
    assert ran.end.result == "finished"
    assert {row["verdict"] for row in ran.judged().values()} == {"in tolerance"}
    # Feed cables of one length are what transmit phasing begins with.
    assert phases["course"] == pytest.approx(0.0, abs=2.0)
    assert phases["clearance"] == pytest.approx(0.0, abs=2.0)
    first = {row["cable"]: row for row in ran.requests["cables/feed/sweep 1/cut list"]["cables"]}
    assert first["clearance sbo transmitter"]["cut_m"] == 0.0
    excess = first["sbo transmitter"]["excess_deg"]
    assert excess == pytest.approx(130.0, abs=1.5)


def test_a_damaged_cable_is_flagged_and_its_condition_judged():
    with ground({"feeds": {"damaged": "csb transmitter"}}) as on:
        ran = on.run("cable-set")
    assert any("'csb transmitter' looks damaged" in told for told in ran.told)
    rows = ran.judged()
    assert rows["cables/feed/csb transmitter/vswr/verdict"]["verdict"] == "out of tolerance"
    assert rows["cables/feed/csb transmitter/insulation/verdict"]["verdict"] == "out of tolerance"
    assert rows["cables/feed/sbo transmitter/vswr/verdict"]["verdict"] == "in tolerance"
    assert (rows["cables/feed/sbo transmitter/insulation/verdict"]["low"]) == 20e6


def test_a_cable_without_enough_to_spare_is_refused_with_what_it_would_take():
    text = '{name = "sbo transmitter", spare = "1.30 m"}'
    with ground(LONG, {text: text.replace("1.30", "0.10")}) as on:
        ran = on.run("cable-set")
        assert on.plant.truth().cuts == []
    assert ran.end.result == "refused"
    assert "'sbo transmitter' is 1" in ran.end.message
    assert "0.100 m" in ran.end.message


def test_shorts_at_the_far_end_do_as_well_as_opens():
    with ground(LONG, {'far_end = "open"': 'far_end = "short"'}) as on:
        ran = on.run("cable-set")
    assert ran.end.result == "finished"


def test_a_file_that_is_no_sweep_is_refused():
    with ground() as on:
        (on.folder / "notes.txt").write_text("nothing", encoding="utf-8")
        on.who.answers = {"sweep 1/csb transmitter/file": "notes.txt"}
        ran = on.run("cable-set")
    assert ran.end.result == "refused"
    assert "Touchstone" in ran.end.message


def test_a_resumed_run_keeps_the_sweeps_that_it_had(tmp_path):
    with ground(LONG) as on:
        on.who.answers = {"sweep 1/sbo transmitter/cut": KeyboardInterrupt()}
        with pytest.raises(KeyboardInterrupt):
            on.bench.run("cable-set", on.who)
        for sweep in on.folder.glob("*-1.s1p"):
            sweep.unlink()
        end = on.bench.resume(1)
    assert end.result == "finished"


def test_a_set_that_does_not_come_together_ends_with_what_to_look_at():
    with ground(LONG, {'matched = "2 deg"\n': 'matched = "2 deg"\nmax_rounds = 1\n'}) as on:
        ran = on.run("cable-set")
    assert "not of one length" in ran.end.message


def test_a_station_without_sets_is_refused():
    with ground() as on:
        on.bench.station = on.bench.station.model_copy(update={"cable_sets": {}})
        ran = on.run("cable-set")
    assert "no table [cable_sets.NAME]" in ran.end.message
