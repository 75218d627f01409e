"""A lost instrument is found again, is the same one, is set up again, and the gap is told."""

from __future__ import annotations

import pytest

from daq.clock import ManualClock, SystemClock
from daq.errors import IdentityError, LinkLost, LinkRefused, LinkTimeout
from daq.roles import Identity
from drivers.conversation import Conversation
from drivers.session import Gap, Greeting, Session


class Conversing(Conversation):
    """A conversation that is only opened, lost and closed."""

    def __init__(self) -> None:
        self.hopeless = False
        self.closed = 0

    def close(self) -> None:
        self.closed += 1


class Bench:
    def __init__(self) -> None:
        self.clock = ManualClock()
        self.opened: list[Conversing] = []
        self.gaps: list[Gap] = []
        self.reachable = True
        self.serial = "40117"
        self.session = Session(
            "scope",
            opener=self.open,
            greet=lambda _: Greeting(Identity("FERNMARK", "OS-4", self.serial), power_cycled=True),
            clock=self.clock,
            on_gap=self.gaps.append,
        )

    def open(self) -> Conversing:
        if not self.reachable:
            raise LinkRefused("Nobody listens there.")
        self.opened.append(Conversing())
        return self.opened[-1]


def lose(_: Conversation) -> None:
    raise LinkLost("The instrument closed the connection.")


@pytest.fixture
def bench():
    made = Bench()
    made.session.open()
    return made


def test_a_lost_link_is_told_at_once_and_reopened_by_the_next_call(bench):
    with pytest.raises(LinkLost):
        bench.session.run(lose)
    assert bench.opened[0].closed == 1
    bench.clock.sleep(3.0)
    assert bench.session.run(lambda _: 5) == 5
    [gap] = bench.gaps
    assert gap.reason == "The instrument closed the connection."
    assert gap.ended_mono_ns - gap.began_mono_ns == 3_000_000_000
    assert gap.power_cycled


def test_reopening_backs_off_and_is_bounded(bench):
    bench.reachable = False
    with pytest.raises(LinkLost):
        bench.session.run(lose)
    waits = []
    for _ in range(8):
        began = bench.clock.monotonic_ns()
        with pytest.raises(LinkRefused):
            bench.session.run(lambda _: 5)
        waits.append((bench.clock.monotonic_ns() - began) / 1e9)
    assert waits == pytest.approx([0.0, 0.05, 0.1, 0.2, 0.4, 0.8, 1.0, 1.0])
    bench.reachable = True
    assert bench.session.run(lambda _: 5) == 5
    assert len(bench.gaps) == 1


def test_another_instrument_at_the_same_address_is_refused_and_closed(bench):
    with pytest.raises(LinkLost):
        bench.session.run(lose)
    bench.serial = "40118"
    with pytest.raises(IdentityError, match=r"serial 40118 answers where .* serial 40117 was"):
        bench.session.run(lambda _: 5)
    assert bench.opened[-1].closed == 1
    assert bench.gaps == []


def test_a_timeout_keeps_the_link_unless_it_cannot_be_made_clean(bench):
    def late(conversation: Conversation) -> None:
        raise LinkTimeout("No answer.")

    with pytest.raises(LinkTimeout):
        bench.session.run(late)
    assert bench.opened[0].closed == 0
    bench.opened[0].hopeless = True
    with pytest.raises(LinkTimeout):
        bench.session.run(late)
    assert bench.opened[0].closed == 1
    bench.session.run(lambda _: None)
    assert len(bench.opened) == 2


def test_a_failed_greeting_leaves_nothing_open():
    def refuse(_: Conversation) -> Greeting:
        raise IdentityError("Another instrument.")

    opened = Conversing()
    session = Session(
        "scope", opener=lambda: opened, greet=refuse, clock=SystemClock(), on_gap=lambda _: None
    )
    with pytest.raises(IdentityError):
        session.open()
    assert opened.closed == 1
