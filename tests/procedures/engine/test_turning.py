"""A value that is shown live while a hand is on a control."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import chain, repeat

import pytest

from daq.errors import Aborted
from daq.log.entry import Kind
from daq.reading import Quality
from tests.procedures.engine.desk import Desk


def adjustment(desk: Desk) -> Mapping[str, object]:
    outcome = desk.rows(Kind.OUTCOME)[-1].body["outcome"]
    assert isinstance(outcome, Mapping)
    return outcome


def test_a_value_is_on_the_disk_before_it_is_shown(desk: Desk) -> None:
    on_disk: list[bool] = []
    inner = desk.who.inner

    class Looks:
        name = "looks"
        answer = staticmethod(inner.answer)
        tell = staticmethod(inner.tell)

        @staticmethod
        def watching(view):
            logged = {row.mono_ns for row in desk.rows(Kind.READING)}
            on_disk.append(view.reading.mono_ns in logged)
            return inner.watching(view)

    desk.who.inner = Looks
    desk.adjust()
    assert on_disk
    assert all(on_disk)


def test_redo_begins_the_best_so_far_and_the_count_again(desk: Desk) -> None:
    desk.who.commands = {"width": chain(repeat("go on", 4), ["redo"])}
    # As found is steady after 8 readings; the best value comes before the redo.
    desk.answers(*repeat(0.1, 8), *repeat(0.155, 5), then=repeat(0.1545))
    desk.adjust()
    assert adjustment(desk)["best"] == pytest.approx(0.1545)
    assert adjustment(desk)["readings"] == len(desk.who.views) - 5
    assert {"event": "adjustment begun again"} in desk.events()


def test_abort_stops_the_run_and_says_where(desk: Desk) -> None:
    desk.who.commands = {"width": iter(["go on", "abort"])}
    with pytest.raises(Aborted, match="Stopped by the tester at 'width'"):
        desk.adjust()
    assert desk.rows(Kind.OUTCOME)[-1].key == "width/as found"


def test_nothing_can_be_captured_while_there_is_no_value(desk: Desk) -> None:
    desk.who.commands = {"width": repeat("capture", 3)}
    desk.answers(*repeat(0.1, 8), *repeat(Quality.UNDER, 2), then=repeat(0.155))
    desk.adjust()
    assert adjustment(desk)["readings"] == 3
