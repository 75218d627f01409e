"""Each question is answered at most once, by whoever is first."""

from __future__ import annotations

import threading
from collections.abc import Iterator

import pytest

from procedures.page.offers import Offers


@pytest.fixture
def offers() -> Iterator[Offers]:
    made = Offers()
    yield made
    made.dispose()


def test_an_answer_to_the_open_question_is_taken_once(offers: Offers) -> None:
    offers.open("q1")
    assert offers.offer("q1", ("yes",))
    assert not offers.offer("q1", ("no",))
    assert offers.take() == "yes"
    assert offers.take() is None
    assert offers.close()


@pytest.mark.parametrize("question", ["", "q1", "q3"])
def test_an_answer_to_another_question_is_refused(offers: Offers, question: str) -> None:
    offers.open("q1")
    offers.close()
    offers.open("q2")
    assert not offers.offer(question, ("yes",))
    assert offers.take() is None


def test_what_was_offered_and_not_taken_dies_with_its_question(offers: Offers) -> None:
    offers.open("q1")
    offers.offer("q1", ("yes",))
    assert not offers.close()
    offers.open("q2")
    assert offers.take() is None


def test_an_offer_without_effect_may_be_repeated(offers: Offers) -> None:
    """A capture of an unusable reading is ignored; the button must work again afterwards."""
    offers.open("q1")
    assert offers.offer("q1", ("c",))
    offers.again()
    assert not offers.offer("q1", ("c",)), "the first is still to be taken"
    offers.take()
    offers.again()
    assert offers.offer("q1", ("c",))


def test_what_is_withdrawn_is_not_taken_and_leaves_the_question_open(offers: Offers) -> None:
    offers.open("q1")
    offers.offer("q1", ("yes",))
    offers.withdraw()
    assert offers.take() is None
    assert offers.offer("q1", ("no",)), "another screen may answer"
    assert offers.take() == "no"
    offers.withdraw()
    assert not offers.offer("q1", ("yes",)), "what was taken was an answer"


def test_of_many_screens_one_acts(offers: Offers) -> None:
    offers.open("q1")
    barrier, taken = threading.Barrier(8), []

    def screen() -> None:
        barrier.wait()
        taken.append(offers.offer("q1", ("c",)))

    threads = [threading.Thread(target=screen) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sum(taken) == 1


def test_nothing_can_be_offered_when_the_page_is_gone(offers: Offers) -> None:
    offers.open("q1")
    offers.dispose()
    assert not offers.offer("q1", ("yes",))
    offers.dispose()
