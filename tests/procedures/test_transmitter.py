"""The transmitter procedure against the plant's own numbers."""

from __future__ import annotations

import pytest

from tests.support.equipment import (
    equipment_bench,
    notes,
    station_of,
    station_text,
    verdicts,
    without_tables,
)
from tests.support.operators import Minded

IDENT = '[transmitter.ident]\npoint = "course CSB detector"\nrecords = 2\n\n'
WITH_IDENT = station_text(
    ("[[transmitter.carriers]]\ncarrier = \"course\"",
     f"{IDENT}[[transmitter.carriers]]\ncarrier = \"course\""),
)  # fmt: skip


def test_a_good_transmitter_and_its_standby_are_within_every_limit() -> None:
    with equipment_bench({"seed": 2}) as made:
        end = made.run("transmitter")
        found = verdicts(made, end)
    assert end.result == "finished"
    assert {each.verdict for each in found.values()} == {"in tolerance"}
    assert {key.split("/")[0] for key in found} == {
        "transmitter 1", "transmitter 2", "transmitters",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("change", "key", "true"),
    [
        ({"course": {"carrier_error_hz": 3000.0}}, "course/frequency", 3000.0 / 109.35475e6),
        ({"course": {"depth_90": 0.23}}, "course/depth_90", 0.23),
        ({"clearance": {"depth_150": 0.206}}, "clearance/balance", 0.006),
        ({"harmonic_percent": 13.0}, "course/harmonics_150", 0.13),
        ({"tone_phase_deg": 26.0}, "course/tone_phase", 26.0),
        ({"tone_90_error_percent": 1.8}, "course/tone_90", 90.0 * 1.018),
        # AM theory: the meter shows carrier and both sidebands, 1 + m^2/2 for each tone.
        ({"clearance": {"power_db": -0.8}}, "clearance/power", -0.8),
    ],
)
def test_what_is_off_is_found_and_nothing_else(
    change: dict[str, object], key: str, true: float
) -> None:
    with equipment_bench({"seed": 2, "tx1": change}) as made:
        end = made.run("transmitter")
        found = verdicts(made, end)
    judged = found[f"transmitter 1/{key}/verdict"]
    assert judged.verdict == "out of tolerance"
    assert judged.value == pytest.approx(true, abs=3.0 * judged.u + 1e-9)
    of_two = {k for k, each in found.items() if k.startswith("transmitter 2/")}
    assert {found[k].verdict for k in of_two} == {"in tolerance"}


def test_carriers_that_are_too_close_are_found() -> None:
    """Annex 10 Vol I, 3.1.3.2.1, from memory: 5 to 14 kHz apart."""
    errors = {"course": {"carrier_error_hz": -2400.0}, "clearance": {"carrier_error_hz": 2300.0}}
    with equipment_bench({"seed": 2, "tx1": errors}) as made:
        found = verdicts(made, made.run("transmitter"))
    judged = found["transmitter 1/separation/verdict"]
    assert judged.value == pytest.approx(9500.0 - 4700.0, abs=10.0)
    assert judged.verdict == "out of tolerance"


def test_two_transmitters_that_differ_are_told() -> None:
    change = {"course": {"power_db": -0.45, "depth_90": 0.187, "depth_150": 0.187}}
    with equipment_bench({"seed": 2, "tx1": {}, "tx2": change}) as made:
        who = Minded(made.technician(1))
        end = made.run("transmitter", who)
        found, kept = verdicts(made, end), notes(made, end)
    assert found["transmitters/course/depth_90/verdict"].verdict == "out of tolerance"
    assert found["transmitters/course/ddm/verdict"].verdict == "in tolerance"
    rows = kept["transmitters/course/differences"]["quantities"]
    assert isinstance(rows, list)
    power = next(row for row in rows if row["quantity"] == "power")
    assert power["difference"] == pytest.approx(-0.45 - 0.02, abs=0.03)
    assert any("change-over" in said for said in who.told)


def test_the_first_transmitter_feeds_the_antennas_in_the_end() -> None:
    with equipment_bench({"seed": 2}) as made:
        made.run("transmitter")
        assert made.sim.plant.transmitter == 1


def test_one_that_is_left_with_the_standby_on_says_so() -> None:
    with equipment_bench({"seed": 2}) as made:
        who = Minded(made.technician(1), answers={"transmitter/back": False, "put back/1.1": False})
        end = made.run("transmitter", who)
    assert end.result == "refused"
    assert end.open_hazards == ("it is not said that the transmitter in use feeds the antennas",)


def test_the_identification_is_caught_with_depth_speed_and_code() -> None:
    tx = {"ident_depth": 0.09, "ident_dot_s": 0.12}
    with equipment_bench(
        {"seed": 2, "tx1": tx, "tx2": tx}, text=WITH_IDENT, long_records=True
    ) as made:
        end = made.run("transmitter")
        found, kept = verdicts(made, end), notes(made, end)
    key = "transmitter 1/identification"
    assert found[f"{key}/depth/verdict"].value == pytest.approx(0.09, abs=0.001)
    assert found[f"{key}/tone/verdict"].value == pytest.approx(1020.0, abs=0.2)
    assert found[f"{key}/dot/verdict"].value == pytest.approx(0.12, abs=0.003)
    assert (kept[f"{key}/code"]["right"], kept[f"{key}/code"]["by_ear"]) == (True, False)


def test_another_station_s_code_is_told() -> None:
    tx = {"ident_depth": 0.09}
    with equipment_bench(
        {"seed": 2, "tx1": tx, "tx2": tx, "ident": "ITS"}, text=WITH_IDENT, long_records=True
    ) as made:
        end = made.run("transmitter")
        kept = notes(made, end)
    assert kept["transmitter 1/identification/code"]["right"] is False


def test_a_short_record_leaves_the_code_to_the_ear() -> None:
    tx = {"ident_depth": 0.08}
    text = WITH_IDENT.replace("records = 2", "records = 40")
    with equipment_bench({"seed": 2, "tx1": tx, "tx2": tx}, text=text) as made:
        end = made.run("transmitter")
        found, kept = verdicts(made, end), notes(made, end)
    assert end.result == "finished", end
    assert found["transmitter 1/identification/depth/verdict"].verdict == "in tolerance"
    assert kept["transmitter 1/identification/code"]["by_ear"] is True


def test_a_record_that_leaves_the_range_is_refused_with_what_to_do() -> None:
    with equipment_bench({"seed": 2, "tx1": {"course": {"power_db": 1.5}}}) as made:
        end = made.run("transmitter")
    assert end.result == "refused"
    assert "leaves the range" in end.message
    assert "more volts" in end.message


def test_one_transmitter_with_one_carrier_is_not_compared_with_anything() -> None:
    text = station_text(("transmitters = 2", "transmitters = 1"), ("carriers = 2", "carriers = 1"))
    with equipment_bench({"seed": 2, "transmitters": 1}, text=text) as made:
        end = made.run("transmitter")
        found = verdicts(made, end)
    assert end.result == "finished"
    assert {key.split("/")[0] for key in found} == {"transmitter 1"}
    assert not any("clearance" in key or "separation" in key for key in found)


def test_without_the_table_there_is_nothing_to_measure() -> None:
    text = without_tables(station_text(), "[transmitter", "[[transmitter")
    assert station_of(text).transmitter is None
    with equipment_bench({"seed": 2}, text=text) as made:
        end = made.run("transmitter")
    assert "no table [transmitter]" in end.message
