"""Alarms on a simulated monitor: point, time, restoration, and what happens when one is missing."""

from __future__ import annotations

from collections.abc import Mapping

import pytest

from daq.roles import Answer, Prompt
from procedures.engine.runner import RunEnd
from tests.support.equipment import (
    Judged,
    equipment_bench,
    notes,
    station_text,
    verdicts,
    without_tables,
)
from tests.support.equipment_plants import ALARMS
from tests.support.operators import Minded

IDENT = '[[alarms.entries]]\nname = "identification"\nkind = "ident"\n\n'


def only(*names: str, text: str = "") -> str:
    drop = [f'[[alarms.entries]]\nname = "{name}"\n' for name in ALARMS if name not in names]
    return without_tables(text or station_text(), *drop)


def tried(plant: Mapping[str, object], text: str) -> tuple[RunEnd, dict[str, Judged]]:
    with equipment_bench({"seed": 7, **plant}, text=text) as made:
        end = made.run("alarms")
        return end, verdicts(made, end)


def test_the_actual_point_is_found_where_the_unit_is_set() -> None:
    """The unit's set point is the truth; the receiver is within 0.001 + 1 per cent of it."""
    end, found = tried({"alarms": {"width_wide_ddm": 0.1350}}, only("wide"))
    assert end.result == "finished"
    judged = found["alarm/wide/point/verdict"]
    assert judged.value == pytest.approx(0.1350, abs=0.0025)
    assert judged.low == pytest.approx(0.12865)
    assert judged.verdict == "in tolerance"


def test_an_alarm_that_comes_too_late_is_out_of_tolerance() -> None:
    _, found = tried({"alarms": {"width_wide_ddm": 0.1230}}, only("wide"))
    assert found["alarm/wide/point/verdict"].verdict == "out of tolerance"


@pytest.mark.parametrize(("delay_s", "verdict"), [(1.5, "in"), (4.2, "in"), (7.0, "out of")])
def test_the_time_to_the_alarm_is_the_unit_s_delay(delay_s: float, verdict: str) -> None:
    """Category II: 5 s (Annex 10 Vol I, 3.1.3.11.3.1, from memory)."""
    _, found = tried({"alarms": {"delay_s": delay_s}}, only("narrow"))
    judged = found["alarm/narrow/time/verdict"]
    assert judged.verdict == f"{verdict} tolerance"
    if verdict == "in":
        assert judged.value == pytest.approx(delay_s, abs=2.0 * judged.u)


def test_an_alarm_that_never_comes_is_said_and_judged_at_the_farthest_step() -> None:
    with equipment_bench(
        {"seed": 7, "alarms": {"sdm_high": 0.9}}, text=only("sum of depths, high")
    ) as made:
        who = Minded(made.technician(1))
        end = made.run("alarms", who)
        found = verdicts(made, end)
    assert end.result == "finished"
    assert any("NO ALARM" in said for said in who.told)
    assert found["alarm/sum of depths, high/point/verdict"].verdict == "out of tolerance"
    assert "alarm/sum of depths, high/time/verdict" not in found


def test_everything_is_put_back_and_at_rest() -> None:
    names = ("course shift, 90 Hz side", "course power")
    with equipment_bench({"seed": 7}, text=only(*names)) as made:
        controls = ("course alignment", "course carrier power")
        before = [made.sim.plant.position(name) for name in controls]
        end = made.run("alarms")
        after = [made.sim.plant.position(name) for name in controls]
        states = made.sim.device("halvorsund-ma3").states()  # type: ignore[attr-defined]
    assert end.open_hazards == ()
    assert after == pytest.approx(before, abs=0.01)
    assert set(states.values()) <= {"N", "-"}


def test_the_power_alarm_is_a_part_of_the_normal_power() -> None:
    _, found = tried({"alarms": {"power_percent": 86.0}}, only("clearance power"))
    judged = found["alarm/clearance power/point/verdict"]
    assert judged.value == pytest.approx(0.86, abs=2.0 * judged.u)
    assert judged.u < 0.01


def test_a_unit_that_is_in_alarm_beforehand_is_refused() -> None:
    with equipment_bench({"seed": 7, "alarms": {"sdm_low": 0.42}}, text=only("wide")) as made:
        made.clock.sleep(3.0)  # longer than the unit's delay
        end = made.run("alarms")
    assert end.result == "refused"
    assert "in alarm before" in end.message


def test_a_profile_that_cannot_be_removed_stays_on_record_as_open() -> None:
    """The technician refuses to put the control back; the reminder stays and the run says so."""
    with equipment_bench({"seed": 7}, text=only("wide")) as made:
        inner = made.technician(1)

        class Stubborn(Minded):
            def answer(self, prompt: Prompt) -> Answer:
                if "remove" in prompt.key or prompt.key.startswith("put back"):
                    return False
                return super().answer(prompt)

        end = made.run("alarms", Stubborn(inner))
    assert end.result == "refused"
    assert end.open_hazards == (
        "'course SBO level' is away from normal to try the alarm 'wide'; the radiated guidance is "
        "false",
    )


def test_the_ident_is_switched_off_timed_and_switched_on_again() -> None:
    plant = {"alarms": {"ident_depth": 0.04}, "tx1": {"ident_depth": 0.08}}
    text = only().replace("[[flight_profiles]]", f"{IDENT}[[flight_profiles]]", 1)
    with equipment_bench({"seed": 7, **plant}, text=text) as made:
        end = made.run("alarms")
        found = verdicts(made, end)
        depth = made.sim.plant.ident_depth
    assert end.result == "finished", end
    judged = found["alarm/identification/time/verdict"]
    assert judged.value == pytest.approx(1.5, abs=2.0 * judged.u + 0.05)
    assert depth == pytest.approx(0.08, rel=0.01)


def test_a_far_field_monitor_may_take_the_time_that_the_station_gives_it() -> None:
    """At 4200 m on the course line: shifted like the near one, and slower to alarm."""
    far = (
        '[[alarms.entries]]\nname = "far field"\nkind = "course shift"\nwithin = "30 s"\n'
        'point = "far field monitor"\ncontrol = "course alignment"\n\n'
    )
    text = only().replace("[[flight_profiles]]", f"{far}[[flight_profiles]]", 1)
    settings = {"far_field_ddm": 0.0085, "far_field_delay_s": 20.0, "course_shift_ddm": 0.2}
    _, found = tried({"alarms": settings}, text)
    timed = found["alarm/far field/time/verdict"]
    assert (timed.high, timed.verdict) == (30.0, "in tolerance")
    assert timed.value == pytest.approx(20.0, abs=2.0 * timed.u)
    assert found["alarm/far field/point/verdict"].value == pytest.approx(0.0085, abs=0.0015)


def test_a_station_with_one_carrier_skips_the_clearance_s() -> None:
    text = only("clearance", "clearance power", "wide").replace("carriers = 2", "carriers = 1")
    with equipment_bench({"seed": 7}, text=text) as made:
        end = made.run("alarms")
        found, kept = verdicts(made, end), notes(made, end)
    assert end.result == "finished"
    assert any(key.startswith("alarm/wide/") for key in found)
    assert not any("clearance" in key for key in (*found, *kept))


def test_a_run_that_was_cut_off_in_a_walk_is_resumed_without_walking_again() -> None:
    with equipment_bench({"seed": 7}, text=only("narrow")) as made:
        inner = made.technician(1)

        class Cut(Minded):
            def answer(self, prompt: Prompt) -> Answer:
                if prompt.key.endswith("walked/remove/course SBO level"):
                    raise KeyboardInterrupt
                return super().answer(prompt)

        with pytest.raises(KeyboardInterrupt):
            made.run("alarms", Cut(inner))
        again = Minded(made.technician(1))
        end = made.resume(1, again)
    assert end.result == "finished"
    assert not any("/place " in view.key for view in again.views)


def test_without_the_table_there_is_nothing_to_try() -> None:
    text = without_tables(station_text(), "[alarms", "[[alarms")
    end, _ = tried({}, text)
    assert (end.result, "no table [alarms]" in end.message) == ("refused", True)
