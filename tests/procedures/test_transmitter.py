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
from tests.support.operators import Interrupted, Minded

QUICK = without_tables(station_text(), "[transmitter.ident]")
"""Without the half minute in which the identification is listened to."""


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
        ({"third_harmonic_percent": 12.0}, "course/harmonics_90", 0.12),
        ({"clearance": {"tone_90_phase_deg": 25.0}}, "carriers/tone_phase_90", 25.0),
        ({"clearance": {"tone_150_phase_deg": -24.0}}, "carriers/tone_phase_150", -24.0),
        ({"tone_phase_deg": 26.0}, "course/tone_phase", 26.0),
        ({"tone_90_error_percent": 1.8}, "course/tone_90", 90.0 * 1.018),
        # AM theory: the meter shows carrier and both sidebands, 1 + m^2/2 for each tone.
        ({"clearance": {"power_db": -0.8}}, "clearance/power", -0.8),
    ],
)
def test_what_is_off_is_found_and_nothing_else(
    change: dict[str, object], key: str, true: float
) -> None:
    with equipment_bench({"seed": 2, "tx1": change}, text=QUICK) as made:
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
    with equipment_bench({"seed": 2, "tx1": errors}, text=QUICK) as made:
        found = verdicts(made, made.run("transmitter"))
    judged = found["transmitter 1/separation/verdict"]
    assert judged.value == pytest.approx(9500.0 - 4700.0, abs=10.0)
    assert judged.verdict == "out of tolerance"


def test_two_transmitters_that_differ_are_told() -> None:
    change = {"course": {"power_db": -0.45, "depth_90": 0.187, "depth_150": 0.187}}
    with equipment_bench({"seed": 2, "tx1": {}, "tx2": change}, text=QUICK) as made:
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
    with equipment_bench({"seed": 2}, text=QUICK) as made:
        made.run("transmitter")
        assert made.sim.plant.transmitter == 1


def test_one_that_is_left_with_the_standby_on_says_so() -> None:
    with equipment_bench({"seed": 2}, text=QUICK) as made:
        who = Minded(made.technician(1), answers={"transmitter/back": False, "put back/1.1": False})
        end = made.run("transmitter", who)
    assert end.result == "refused"
    assert end.open_hazards == ("it is not said that the transmitter in use feeds the antennas",)


def test_the_identification_is_keyed_meanwhile_and_suppressed_again_of_each_transmitter() -> None:
    """As the notices of the demonstration have it."""
    with equipment_bench({"seed": 2, "ident_suppressed": 1}) as made:
        end = made.run("transmitter")
        found, kept = verdicts(made, end), notes(made, end)
        assert made.sim.plant.ident_depth == 0.0
    assert (end.result, end.open_hazards) == ("finished", ())
    for number, depth, every_s in ((1, 0.08, 6.0), (2, 0.085, 5.8)):
        key = f"transmitter {number}/identification"
        assert found[f"{key}/depth/verdict"].value == pytest.approx(depth, abs=0.001)
        assert found[f"{key}/tone/verdict"].value == pytest.approx(1020.0, abs=0.2)
        assert found[f"{key}/dot/verdict"].value == pytest.approx(0.12, abs=0.003)
        assert found[f"{key}/repetition/verdict"].value == pytest.approx(60 / every_s, abs=0.05)
        assert found[f"{key}/intervals/verdict"].verdict == "in tolerance"
        assert (kept[f"{key}/code"]["right"], kept[f"{key}/code"]["by_ear"]) == (True, False)


def test_another_station_s_code_is_told() -> None:
    with equipment_bench({"seed": 2, "ident": "ITS"}) as made:
        end = made.run("transmitter")
        kept = notes(made, end)
    assert kept["transmitter 1/identification/code"]["right"] is False


def test_a_few_short_records_leave_the_code_to_the_ear() -> None:
    """A second and a half is less than the code lasts: some letters of it are no code."""
    text = station_text(
        ('point = "identification"', 'point = "course CSB detector"'),
    )
    with equipment_bench(
        {"seed": 2, "tx1": {"ident_depth": 0.08, "ident_repeat_s": 3.0}}, text=text
    ) as made:
        end = made.run("transmitter")
        kept = notes(made, end)
    assert end.result == "finished", end
    assert kept["transmitter 1/identification/code"]["by_ear"] is True


def test_a_dead_record_with_the_identification_on_leaves_a_reminder() -> None:
    """The run ends in the middle of it: it is keyed and says that the facility may be used."""
    with equipment_bench({"seed": 2, "ident_suppressed": 1}) as made:
        who = Minded(
            made.technician(1), answers={"identification/off": False, "put back/1.1": True}
        )
        end = made.run("transmitter", who)
    assert end.result == "refused"
    assert any("keyed although" in prompt.caution for prompt in who.asked)


def test_a_run_that_was_cut_off_goes_on_and_does_not_listen_again() -> None:
    with equipment_bench({"seed": 2, "ident_suppressed": 1}) as made:
        who = Interrupted(
            made.technician(1),
            lambda key, when: key == "transmitter 1/identification/off" and when == "before",
        )
        with pytest.raises(KeyboardInterrupt):
            made.run("transmitter", who)
        assert made.sim.plant.ident_depth > 0.0
        before_ns = made.clock.mono_ns
        end = made.resume(1, Minded(made.technician(1)))
        found = verdicts(made, end)
        assert made.sim.plant.ident_depth == 0.0
    assert end.result == "finished"
    assert {each.verdict for each in found.values()} == {"in tolerance"}
    # Half a minute for the other transmitter's identification, not for both.
    assert made.clock.mono_ns - before_ns < 50e9


def test_the_second_harmonic_alone_is_judged_where_the_category_limits_it() -> None:
    """Annex 10 Vol I, 3.1.3.5.3 d), from memory: 5 per cent, of category III only."""
    plant = {"seed": 2, "tx1": {"harmonic_percent": 7.0, "third_harmonic_percent": 3.0}}
    key = "transmitter 1/course/second_harmonic_90"
    third = QUICK.replace('category = "II"', 'category = "III"')
    with equipment_bench(plant, text=third) as made:
        found = verdicts(made, made.run("transmitter"))
    judged = found[f"{key}/verdict"]
    assert judged.verdict == "out of tolerance"
    assert judged.value == pytest.approx(0.07, abs=3.0 * judged.u)
    assert found["transmitter 1/course/harmonics_90/verdict"].verdict == "in tolerance"
    with equipment_bench(plant, text=QUICK) as made:
        end = made.run("transmitter")
        found, kept = verdicts(made, end), notes(made, end)
    assert f"{key}/verdict" not in found
    assert kept[key]["value"] == pytest.approx(0.07, abs=0.005)


def test_a_record_that_leaves_the_range_is_refused_with_what_to_do() -> None:
    with equipment_bench({"seed": 2, "tx1": {"course": {"power_db": 1.5}}}, text=QUICK) as made:
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
    assert not any("carriers" in key for key in found)


def test_without_the_table_there_is_nothing_to_measure() -> None:
    text = without_tables(station_text(), "[transmitter", "[[transmitter")
    assert station_of(text).transmitter is None
    with equipment_bench({"seed": 2}, text=text) as made:
        end = made.run("transmitter")
    assert "no table [transmitter]" in end.message
