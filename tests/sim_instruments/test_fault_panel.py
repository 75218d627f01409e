"""When a fault strikes, how often, and how it ends."""

from __future__ import annotations

import threading

import pytest

from daq.clock import ManualClock, elapsed_s
from sim_instruments.fault_model import Strike
from sim_instruments.fault_panel import FaultPanel
from sim_instruments.link_faults import AnswerLate, Chatter, DropLink, PowerCycle, Silence
from sim_instruments.sessions import LinkDropped
from sim_instruments.value_faults import ErrorInQueue, FrozenValue, WrongSign


def asked(panel: FaultPanel, times: int, question: bytes = b"Q?\n") -> list[bytes]:
    return [panel.strike(question, b"%d.0\n" % at).answer for at in range(times)]


def test_after_and_count(clock):
    """Two answers pass, the next two are struck, and then all is well again."""
    panel = FaultPanel(clock)
    panel.arm(Silence(), after=2, count=2)
    assert asked(panel, 6) == [b"0.0\n", b"1.0\n", b"", b"", b"4.0\n", b"5.0\n"]


def test_count_zero_is_until_cleared(clock):
    """And clearing ends it at once."""
    panel = FaultPanel(clock)
    panel.arm(Silence(), count=0)
    assert asked(panel, 50) == [b""] * 50
    panel.clear()
    assert asked(panel, 1) == [b"0.0\n"]


def test_matching_counts_only_those_questions(clock):
    """Others are neither counted nor struck."""
    panel = FaultPanel(clock)
    panel.arm(WrongSign(), after=1, matching="DDM")
    assert asked(panel, 3, b"SDM\r") == [b"0.0\n", b"1.0\n", b"2.0\n"]
    assert asked(panel, 3, b"DDM\r") == [b"0.0\n", b"-1.0\n", b"2.0\n"]


def test_two_faults_take_turns(clock):
    """The first that is due strikes; the other waits for its own turn."""
    panel = FaultPanel(clock)
    panel.arm(Silence(), after=1)
    panel.arm(WrongSign(), after=1, count=2)
    assert asked(panel, 5) == [b"0.0\n", b"", b"-2.0\n", b"-3.0\n", b"4.0\n"]


def test_a_cleared_freeze_thaws(clock):
    """The next freeze stands at a new value."""
    panel = FaultPanel(clock)
    panel.arm(FrozenValue(), count=0)
    assert asked(panel, 3) == [b"0.0\n"] * 3
    panel.clear()
    panel.arm(FrozenValue(), after=2, count=0)
    assert asked(panel, 4) == [b"0.0\n", b"1.0\n", b"2.0\n", b"2.0\n"]


def test_waiting_is_on_the_instruments_clock(clock):
    """A late answer takes its time there; a dribble its time times its bytes where it must."""
    panel = FaultPanel(clock)
    start = clock.monotonic_ns()
    assert panel.carry_out(Strike(b"1\n", wait_s=2.0)) == b"1\n"
    assert elapsed_s(clock, start) == pytest.approx(2.0)
    panel.carry_out(Strike(b"1234", pace_s=0.5))
    assert elapsed_s(clock, start) == pytest.approx(4.0)


def test_a_drop_lasts_on_the_instruments_clock(clock):
    """The link is refused until then."""
    panel = FaultPanel(clock)
    with pytest.raises(LinkDropped) as caught:
        panel.carry_out(panel_strike(DropLink(part=1.0, back_s=3.0)))
    assert caught.value.last_words == b"1.0"
    with pytest.raises(LinkDropped, match="back after 3 s"):
        panel.check_link()
    clock.sleep(3.0)
    panel.check_link()


def panel_strike(fault) -> Strike:
    panel = FaultPanel(ManualClock())
    panel.arm(fault)
    return panel.strike(b"Q?\n", b"1.0\n")


def test_restart_and_error_reach_the_instrument(clock):
    """Settings are lost, the banner is said once; the number is reported."""
    happened: list[object] = []
    panel = FaultPanel(clock, report=happened.append, restart=lambda: happened.append("restart"))
    panel.carry_out(panel_strike(ErrorInQueue(-310)))
    with pytest.raises(LinkDropped):
        panel.carry_out(panel_strike(PowerCycle(banner="DM-6 READY")))
    assert happened == [-310, "restart"]
    assert panel.unasked() == b"DM-6 READY\r\n"
    assert panel.unasked() == b""


def test_chatter_goes_on_until_cleared(clock):
    """Twenty times a second."""
    panel = FaultPanel(clock)
    panel.carry_out(panel_strike(Chatter("BUSY")))
    start = clock.monotonic_ns()
    assert [panel.unasked() for _ in range(20)] == [b"BUSY\r\n"] * 20
    assert elapsed_s(clock, start) == pytest.approx(1.0)
    panel.clear()
    assert panel.unasked() == b""


@pytest.mark.parametrize("end", [FaultPanel.clear, FaultPanel.release])
@pytest.mark.parametrize("strike", [Strike(hang=True), Strike(wait_s=3600.0)])
def test_what_hangs_or_waits_is_let_go(end, strike):
    """By a repair, and when the bench closes."""
    started = threading.Event()

    class RealClock(ManualClock):
        def sleep(self, seconds: float) -> None:
            started.set()
            threading.Event().wait(0.001)

    panel = FaultPanel(RealClock())
    thread = threading.Thread(target=panel.carry_out, args=(strike,))
    thread.start()
    started.wait(0.02)
    assert thread.is_alive()
    end(panel)
    thread.join(5)
    assert not thread.is_alive()


def test_late_is_armed_by_the_menu(clock):
    """A fault's own fields come through."""
    assert panel_strike(AnswerLate(0.7)).wait_s == 0.7
