"""The monitor's alarm unit: limits, delays and its line protocol."""

from __future__ import annotations

import pytest

from daq.clock import ManualClock
from sim_instruments.bench import SimulatedBench

QUIET = {"phase_drift_deg": 0.0, "level_drift_db": 0.0}


class Desk:
    """A bench, its clock, and questions to the unit."""

    def __init__(self, **table) -> None:
        self.clock = ManualClock()
        self.bench = SimulatedBench({**QUIET, **table}, self.clock)
        self._line = self.bench.device("halvorsund-ma3").session()

    def ask(self, text: str) -> str:
        return self._line.feed(text.encode() + b"\r").decode().removesuffix("\r\n")

    def states(self) -> dict[str, str]:
        worst, *each = self.ask("S").split()[1:]
        return {"worst": worst, **dict(pair.split("=") for pair in each)}

    def turn(self, control: str, **change: float) -> None:
        self.bench.hands.do("turn control", {"control": control, **change})


def test_all_is_normal_on_a_tuned_plant():
    """Nothing out, the ident not monitored by default."""
    found = Desk().states()
    assert found.pop("ID") == "-"
    assert set(found.values()) == {"N"}


@pytest.mark.parametrize(
    ("control", "change", "codes"),
    [
        ("course alignment", {"change_ddm": 0.013}, {"CL"}),
        ("course alignment", {"change_ddm": -0.013}, {"CL"}),
        ("course SBO level", {"change_db": -2.0}, {"CW"}),
        ("course SBO level", {"change_db": 1.6}, {"CW"}),
        ("clearance SBO level", {"change_db": -2.4}, {"C9", "C1"}),
        ("course carrier power", {"change_db": -1.2}, {"PC"}),
        ("clearance carrier power", {"change_db": -1.2}, {"PL"}),
        ("course modulation depth", {"change_db": -1.2}, {"SC"}),
        ("clearance modulation depth", {"change_db": 1.2}, {"SL"}),
        ("ident depth", {"change_db": -3.5}, {"ID"}),
    ],
)
def test_each_parameter_raises_its_own_alarm_after_the_delay(control, change, codes):
    """Out at once, in alarm after 1.5 s and not before, normal again when it is back."""
    desk = Desk(tx1={"ident_depth": 0.08}, alarms={"ident_depth": 0.06, "far_field_ddm": 1.0})
    assert desk.states()["worst"] == "N"
    desk.clock.sleep(5.0)
    desk.turn(control, **change)
    desk.clock.sleep(1.4)
    out = {code for code, state in desk.states().items() if state == "P"} - {"worst"}
    # SBO and power of course also reach other channels a little: nothing else may go out.
    assert out == codes
    desk.clock.sleep(0.11)
    found = desk.states()
    assert found["worst"] == "A"
    assert {code for code, state in found.items() if state == "A"} - {"worst"} == codes
    desk.bench.hands.do("restore control", {"control": control})
    assert desk.states()["worst"] == "N"


def test_a_parameter_that_was_out_unseen_has_its_delay_from_the_act():
    """Nobody asks for ten seconds after the hand moved: the alarm is there at once."""
    desk = Desk()
    desk.turn("course alignment", change_ddm=0.02)
    desk.clock.sleep(10.0)
    assert desk.states()["CL"] == "A"


def test_a_parameter_that_came_back_starts_its_delay_anew():
    """Out for a second, in again, out for a second: no alarm."""
    desk = Desk()
    for _ in range(3):
        desk.turn("course alignment", change_ddm=0.02)
        desk.clock.sleep(1.0)
        assert desk.states()["CL"] == "P"
        desk.bench.hands.do("restore control", {"control": "course alignment"})
        assert desk.states()["CL"] == "N"


def test_the_far_field_monitor_waits_longer():
    """70 s, as aircraft disturb it; none where there is no such monitor."""
    desk = Desk()
    desk.turn("course alignment", change_ddm=0.02)
    desk.clock.sleep(69.0)
    assert desk.states()["FF"] == "P"
    desk.clock.sleep(1.1)
    assert desk.states()["FF"] == "A"
    assert Desk(far_field_monitor_m=0.0).states()["FF"] == "-"
    assert Desk(far_field_monitor_m=0.0).ask("V FF") == "V FF ----"


def test_values_limits_and_identity():
    """As the manual page has them; the sense of the width channel is taken out."""
    desk = Desk(wanted_tone=90)
    assert desk.ask("ID") == "HALVORSUND MA-3,SN 1187,FW 1.0"
    assert float(desk.ask("V CW").split()[2]) == pytest.approx(0.155, abs=5e-4)
    assert float(desk.ask("V C9").split()[2]) == pytest.approx(0.21, abs=5e-4)
    assert float(desk.ask("V PC").split()[2]) == pytest.approx(100.0, abs=0.1)
    assert desk.ask("L CL") == "L CL -0.0109 +0.0109 1.5"
    assert desk.ask("L PC") == "L PC 80.0 ---- 1.5"


@pytest.mark.parametrize("line", ["", "s", "V", "V XX", "S S", "\xff"])
def test_everything_else_is_answered_with_a_question_mark(line):
    assert Desk().ask(line) == "?"


def test_a_negative_delay_is_refused():
    with pytest.raises(ValueError, match=r"simulation\.plant\.alarms: a delay"):
        SimulatedBench({"alarms": {"delay_s": -1.0}}, ManualClock())
