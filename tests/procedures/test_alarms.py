"""Alarms on a simulated monitor: point, time, restoration, and what happens when one is missing."""

from __future__ import annotations

import re
from collections.abc import Mapping

import pytest

from daq.log.entry import Kind
from daq.log.reader import LogReader
from daq.roles import Answer, Prompt, WatchCommand, WatchView
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
from tests.support.in_process import InProcessBench
from tests.support.operators import Minded

IDENT = '[[alarms.entries]]\nname = "identification"\nkind = "ident"\n\n'


def only(*names: str, text: str = "") -> str:
    drop = [f'[[alarms.entries]]\nname = "{name}"\n' for name in ALARMS if name not in names]
    return without_tables(text or station_text(), *drop)


def tried(plant: Mapping[str, object], text: str) -> tuple[RunEnd, dict[str, Judged]]:
    with equipment_bench({"seed": 7, **plant}, text=text) as made:
        end = made.run("alarms")
        return end, verdicts(made, end)


def steps_walked(made: InProcessBench, end: RunEnd, name: str) -> list[Mapping[str, object]]:
    """What came of each step of a walk, in order."""
    with LogReader(made.writer.path) as reader:
        return [
            dict(entry.body["outcome"])  # type: ignore[call-overload]
            for entry in reader.entries(run=end.run, kind=Kind.OUTCOME)
            if entry.key.startswith(f"alarm/{name}/place ") and entry.key.endswith("/watch")
        ]


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
    """Its delay is short here, since the preconditions may have moved something just before."""
    settings = {"sdm_low": 0.42, "delay_s": 0.2}
    with equipment_bench({"seed": 7, "alarms": settings}, text=only("wide")) as made:
        end = made.run("alarms")
    assert end.result == "refused"
    assert "in alarm before 'wide' is tried: course line sum of depths alarm, " in end.message


def test_an_alarm_of_another_parameter_is_told_and_not_taken_for_the_one_that_is_tried() -> None:
    """The clearance carrier fades during the walk; the width's own alarm is found beyond it."""
    plant = {"seed": 7, "alarms": {"width_wide_ddm": 0.1300}}
    with equipment_bench(plant, text=only("wide")) as made:
        inner, hands = made.technician(1), made.sim.hands

        class Elsewhere(Minded):
            def watching(self, view: WatchView) -> WatchCommand:
                if "/wide/place " in view.key and not self.views:
                    hands.do(
                        "turn control", {"control": "clearance carrier power", "change_db": -1.5}
                    )
                return super().watching(view)

        who = Elsewhere(inner)
        end = made.run("alarms", who)
        kept = notes(made, end)
        walked = steps_walked(made, end, "wide")
    assert any(
        "In alarm: clearance CSB power alarm. That is not what is tried" in said
        for said in who.told
    )
    assert walked[0]["parameters"] == ["clearance CSB power alarm"]
    assert [step["alarm"] for step in walked] == [False] * (len(walked) - 1) + [True]
    assert len(walked) > 2
    [note] = (body for key, body in kept.items() if key.endswith("place 6/watch/others"))
    assert note["parameters"] == "clearance CSB power alarm"
    # What was found does not end as if all were well: the other one is still there.
    assert end.result == "refused"
    assert "alarm stands" in end.message
    assert "clearance CSB power alarm" in end.message


def test_where_the_station_file_names_no_parameters_any_alarm_is_taken_for_the_one_tried() -> None:
    text = only("wide")
    parameters = re.findall(r'\[\[points\]\]\nname = "[^"]+ alarm"\n', text)
    assert len(parameters) == 10
    end, found = tried({"alarms": {"width_wide_ddm": 0.1350}}, without_tables(text, *parameters))
    assert end.result == "finished"
    assert found["alarm/wide/point/verdict"].verdict == "in tolerance"


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


@pytest.mark.parametrize("suppressed", [False, True])
def test_the_ident_is_switched_off_timed_and_left_as_it_was(suppressed: bool) -> None:
    """Suppressed for the work: its alarm stands until it is keyed, for the trial only."""
    plant: dict[str, object] = {"alarms": {"ident_depth": 0.04}, "tx1": {"ident_depth": 0.08}}
    if suppressed:
        plant["ident_suppressed"] = 1
    text = only() if suppressed else only().replace("\nsuppressed = true", "\nsuppressed = false")
    text = text.replace("[[flight_profiles]]", f"{IDENT}[[flight_profiles]]", 1)
    with equipment_bench({"seed": 7, **plant}, text=text) as made:
        end = made.run("alarms")
        found = verdicts(made, end)
        depth = made.sim.plant.ident_depth
    assert end.result == "finished", end
    judged = found["alarm/identification/time/verdict"]
    assert judged.value == pytest.approx(1.5, abs=2.0 * judged.u + 0.05)
    assert depth == pytest.approx(0.0 if suppressed else 0.08, rel=0.01, abs=1e-9)


def test_where_nothing_is_said_of_the_ident_it_is_keyed_for_the_trial_only() -> None:
    """As [transmitter.ident] has it where its `suppressed` is left out: with the reminder."""
    text = without_tables(only(), "[transmitter.ident]\n")
    text = text.replace("[[flight_profiles]]", f"{IDENT}[[flight_profiles]]", 1)
    plant = {"alarms": {"ident_depth": 0.04}, "ident_suppressed": 1}
    with equipment_bench({"seed": 7, **plant}, text=text) as made:
        who = Minded(made.technician(1))
        end = made.run("alarms", who)
        depth = made.sim.plant.ident_depth
    assert end.result == "finished", end
    assert depth == 0.0
    off = next(each for each in who.asked if each.key == "alarm/identification/keyed/off")
    assert "keyed although the facility is withdrawn" in off.caution


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
