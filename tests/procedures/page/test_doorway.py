"""Another screen is paired instead of the paired one, from the terminal."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import pytest

from daq.clock import ManualClock
from procedures.page.doorway import LET_GO, PAIRED, Doorway
from procedures.page.hub import Hub
from procedures.page.offers import Offers
from procedures.page.pairing import Pairing


@dataclass
class Scene:
    pairing: Pairing = field(default_factory=lambda: Pairing(needed=True))
    hub: Hub = field(default_factory=Hub)
    offers: Offers = field(default_factory=Offers)
    clock: ManualClock = field(default_factory=ManualClock)
    told: list[str] = field(default_factory=list)
    logged: list[Mapping[str, object]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.door = Doorway(
            self.pairing,
            self.hub,
            self.offers,
            lambda: f"token {self.pairing.token}",
            clock=self.clock,
            log=self.logged.append,
        )
        self.door.tell = self.told.append


@pytest.fixture
def scene() -> Iterator[Scene]:
    made = Scene()
    yield made
    made.offers.dispose()


def test_a_typed_line_ends_the_old_screen_and_shows_a_new_token(scene: Scene) -> None:
    old_token = scene.pairing.token
    old_cookie = scene.pairing.exchange(old_token)
    assert scene.door.takes_line(" P ")
    assert not scene.pairing.may_act(old_cookie)
    assert scene.pairing.exchange(old_token) is None
    (said,) = scene.told
    new_token = said.splitlines()[0].removeprefix("token ")
    new_cookie = scene.pairing.exchange(new_token)
    assert scene.pairing.may_act(new_cookie)
    assert not scene.pairing.may_act(old_cookie)


def test_the_token_is_told_at_the_terminal_and_to_no_screen(scene: Scene) -> None:
    scene.door.pair_anew()
    _, topics = scene.hub.since(0)
    assert scene.pairing.token in scene.told[0]
    assert scene.pairing.token not in str(topics)
    assert scene.pairing.token not in str(scene.logged)


@pytest.mark.parametrize("line", ["pp", "pair", "", "y", "0.5 m"])
def test_other_lines_are_answers(scene: Scene, line: str) -> None:
    token = scene.pairing.token
    assert not scene.door.takes_line(line)
    assert scene.pairing.token == token


def test_while_a_value_is_watched_one_press_asks_and_the_second_does_it(scene: Scene) -> None:
    token = scene.pairing.token
    assert scene.door.without("p") == ""
    assert scene.pairing.token == token
    assert "p again" in scene.told[0]
    assert scene.door.without("p") == ""
    assert scene.pairing.token != token


def test_another_key_between_two_presses_means_what_it_always_does(scene: Scene) -> None:
    token = scene.pairing.token
    assert scene.door.without("pcp") == "c"
    assert scene.pairing.token == token
    assert scene.door.without("qr") == "qr"
    assert not scene.door.takes_line("n")
    assert scene.door.without("p") == ""
    assert scene.pairing.token == token, "the question before was another one"


def test_the_first_press_lapses_like_the_question_whether_to_stop(scene: Scene) -> None:
    """A slip of the hand must not lie in wait for another one minutes later."""
    token = scene.pairing.token
    scene.door.without("p")
    scene.clock.sleep(5.1)
    scene.door.without("p")
    assert scene.pairing.token == token
    assert len(scene.told) == 2, "it is asked anew"
    scene.clock.sleep(4.9)
    scene.door.without("p")
    assert scene.pairing.token != token


def test_what_the_old_screen_has_offered_goes_with_it(scene: Scene) -> None:
    scene.offers.open("q1")
    scene.offers.offer("q1", ("yes",))
    scene.door.pair_anew()
    assert scene.offers.take() is None
    assert scene.offers.offer("q1", ("no",)), "the next screen may answer"


def test_the_log_says_who_was_let_go_and_who_came(scene: Scene) -> None:
    scene.pairing.exchange(scene.pairing.token)
    scene.door.came("192.0.2.8")
    assert scene.logged == [], "the first pairing may come before the run's first row"
    scene.door.pair_anew()
    scene.door.came("192.0.2.9")
    assert [one["event"] for one in scene.logged] == [LET_GO, PAIRED]
    assert scene.logged[1]["reason"] == "at 192.0.2.9"


def test_every_change_reaches_the_screens_as_news(scene: Scene) -> None:
    """The hub tells only what changed; two renewals are two pieces of news."""
    versions = []
    for _ in range(2):
        scene.door.pair_anew()
        versions.append(scene.hub.since(0)[0])
    assert versions[0] < versions[1]


def test_after_the_end_of_the_run_nothing_is_paired_anew(scene: Scene) -> None:
    scene.pairing.expire()
    scene.door.pair_anew()
    assert scene.pairing.token == ""
    assert not scene.pairing.may_act(None)
