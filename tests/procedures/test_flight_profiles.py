"""Flight-inspection profiles: set where they belong, noted beside the flight's result, removed."""

from __future__ import annotations

import pytest

from daq.roles import Answer, Prompt
from tests.support.equipment import (
    equipment_bench,
    notes,
    seen_at,
    station_text,
    verdicts,
    without_tables,
)
from tests.support.equipment_plants import PROFILES, AtHold
from tests.support.operators import Minded

ALL = (*PROFILES, "phasing verification")


def only(*names: str) -> str:
    drop = [f'[[flight_profiles]]\nname = "{name}"\n' for name in ALL if name not in names]
    return without_tables(station_text(), *drop)


@pytest.mark.parametrize(
    ("name", "value", "within"),
    [
        # 17 per cent of sensitivity of 0.155; 7.5 m at the threshold; 80 per cent of 15.6 W.
        ("wide", 0.1287, 0.0025),
        ("narrow", 0.1814, 0.0030),
        ("shifted to the 150 Hz side", 0.0109, 0.0010),
        ("shifted to the 90 Hz side", -0.0109, 0.0010),
        ("low power", 12.48, 0.15),
    ],
)
def test_each_profile_is_set_at_its_alarm_point(name: str, value: float, within: float) -> None:
    """By the plant's own signal while it is held."""
    with equipment_bench({"seed": 4}, text=only(name)) as made:
        held = AtHold(made)
        end = made.run("flight-profiles", held)
    assert end.result == "finished", end
    assert held.truth[name] == pytest.approx(value, abs=within)


def test_the_clearance_goes_with_the_course_by_the_same_ratio() -> None:
    with equipment_bench({"seed": 4}, text=only("wide")) as made:
        found = verdicts(made, made.run("flight-profiles"))
    course, clearance = (found[f"profile/wide/set {n}/verdict 1"].value for n in (1, 2))
    assert clearance / 0.210 == pytest.approx(course / 0.155, abs=0.02)


def test_the_flight_s_result_stands_beside_the_ground_s() -> None:
    with equipment_bench({"seed": 4}, text=only("narrow")) as made:
        who = Minded(made.technician(1), answers={"narrow/flight": 3.30})
        kept = notes(made, made.run("flight-profiles", who))
        asked = next(prompt for prompt in who.asked if prompt.key.endswith("/flight"))
    note = kept["profile/narrow/correlation"]
    # 2 atan(106.9 m / 3120 m) = 3.925 degrees, and 17 per cent more sensitive.
    assert note["ground"] == pytest.approx(3.925 / 1.17, abs=0.03)
    assert asked.suggestion == note["ground"]
    assert asked.unit == "deg"
    assert note["flight"] == 3.30
    assert note["flight_less_ground"] == pytest.approx(3.30 - float(str(note["ground"])))


def test_the_line_is_out_again_after_the_phasing_verification() -> None:
    with equipment_bench({"seed": 4}, text=only("phasing verification")) as made:
        end = made.run("flight-profiles")
        kept = notes(made, end)
        assert made.sim.plant.truth().lines_in == []
    assert end.open_hazards == ()
    # In phase, and a quarter wave: nothing is left (common practice, no source).
    ground = kept["profile/phasing verification/correlation"]["ground_reading"]
    assert ground == pytest.approx(0.0, abs=0.001)


def test_everything_is_normal_after_all_of_them() -> None:
    with equipment_bench({"seed": 4}) as made:
        before = {name: made.sim.plant.position(name) for name in made.sim.plant.control_names}
        end = made.run("flight-profiles")
        after = {name: made.sim.plant.position(name) for name in made.sim.plant.control_names}
        width = seen_at(made.sim.plant, "course width").ddm
    assert end.result == "finished"
    assert after == pytest.approx(before, abs=0.01)
    assert width == pytest.approx(0.155, abs=0.002)


def test_a_profile_that_is_not_removed_keeps_its_reminder() -> None:
    with equipment_bench({"seed": 4}, text=only("wide")) as made:

        class Stubborn(Minded):
            def answer(self, prompt: Prompt) -> Answer:
                if "/remove/" in prompt.key or prompt.key.startswith("put back"):
                    return False
                return super().answer(prompt)

        end = made.run("flight-profiles", Stubborn(made.technician(1)))
    assert end.result == "refused"
    assert "the profile 'wide' is set" in end.open_hazards[0]


def test_with_one_carrier_only_the_course_is_turned() -> None:
    text = only("wide", "low power").replace("carriers = 2", "carriers = 1")
    with equipment_bench({"seed": 4}, text=text) as made:
        who = Minded(made.technician(1))
        end = made.run("flight-profiles", who)
    assert end.result == "finished"
    assert {view.control for view in who.views} == {"course SBO level", "course carrier power"}


def test_without_profiles_there_is_nothing_to_fly() -> None:
    with equipment_bench({"seed": 4}, text=without_tables(station_text(), "[[flight")) as made:
        end = made.run("flight-profiles")
    assert "no [[flight_profiles]]" in end.message
