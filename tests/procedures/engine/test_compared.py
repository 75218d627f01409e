"""What is shown of the reference values while a run goes on."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import repeat
from pathlib import Path

import pytest

from daq.clock import ManualClock
from daq.log.entry import Kind
from daq.measurement import Measurement
from procedures.history.references import Reference, ReferenceSet
from procedures.judge import Limit, Result
from tests.procedures.engine.desk import Desk, desk_at
from tests.procedures.history.reference_rows import AT_ALARM, LEVEL, QUADRATURE, WIDTH

STANDING = ReferenceSet(
    version=2,
    run=7,
    signed_by="station engineer",
    fixed_utc_ns=0,
    supersedes=1,
    values={
        "course width": WIDTH,
        "course width, quadrature": QUADRATURE,
        "course width, at the wide alarm": AT_ALARM,
        "line IF": LEVEL,
        "course: alignment": Reference(0.35, 0.3, "alignment", "m"),
    },
)
ANY = Limit(-9.0, 9.0, "m")


@pytest.fixture
def known(tmp_path: Path, clock: ManualClock) -> Iterator[Desk]:
    with desk_at(tmp_path, clock, STANDING) as made:
        yield made


def adjust(desk: Desk, before: Measurement, key: str = "turn") -> Measurement:
    return desk.bench.adjust(
        key,
        before.point,
        target=0.155,
        band=0.001,
        control="monitor width",
        instruction="Turn it.",
        before=before,
    ).after


def shown(desk: Desk, key: str = "turn") -> set[float | None]:
    return {view.reference for view in desk.who.views if view.key == key}


def test_a_measurement_is_told_with_its_reference_and_the_difference(known: Desk) -> None:
    """The receiver's 0.001 and the reference's 0.0006: 2 x 0.00117 (JCGM 100:2008, 5.1.2)."""
    known.answers(then=repeat(0.1549))
    known.bench.measure("k", "course width", label="as found")
    known.bench.measure("l", "line IF", label="as found")
    assert known.who.told == [
        "'course width' reads 0.1549 ± 0.0020, 150 Hz predominates; reference 0.1553 (version 2), "
        "differs by -0.0004 ± 0.0023, toward 90 Hz.",
        "'line IF' reads 1.5000 ± 0.0020 V; reference 1.512 (version 2), "
        "differs by -0.012 ± 0.020 V.",
    ]


def test_while_a_control_is_turned_the_reference_of_the_point_is_shown(known: Desk) -> None:
    known.adjust("turn")
    assert shown(known) == {WIDTH.value}
    assert len(known.who.told) == 2, "as found, and as left"


def test_with_the_line_in_it_is_that_of_the_quadrature_reading(known: Desk) -> None:
    with known.bench.false_guidance("line", "the line is in"):
        before = known.bench.measure("k", "course width", label="quadrature, round 2")
        again = adjust(known, before)
        adjust(known, again, "second")
    assert shown(known) == shown(known, "second") == {QUADRATURE.value}
    assert all("'course width, quadrature' reads" in told for told in known.who.told)


def test_a_state_that_is_being_made_has_no_reference_until_a_verdict_names_it(known: Desk) -> None:
    """The normal reference beside a value on its way to the alarm would mislead."""
    normal = known.bench.measure("k", "course width", label="normal")
    with known.bench.false_guidance("wide", "the profile is set"):
        captured = adjust(known, normal)
        assert len(known.who.told) == 1
        known.bench.judge("v", "course width, profile", captured, ANY)
        adjust(known, captured, "second")
    assert shown(known) == {None}
    assert shown(known, "second") == {AT_ALARM.value}
    assert "'course width, at the wide alarm' reads" in known.who.told[1]


def test_a_verdict_on_what_was_told_already_tells_nothing_more(known: Desk) -> None:
    found = known.bench.measure("k", "course width", label="as found")
    known.bench.judge("v", "course width, as found", found, ANY)
    assert len(known.who.told) == 1


def test_a_computed_result_is_told_with_its_reference(known: Desk) -> None:
    result = Result("alignment", 0.40, 0.4)
    known.bench.judge("course/as found/alignment/verdict", "alignment", result, ANY)
    assert known.who.told == [
        "'course: alignment' reads 0.40 ± 0.80 m; reference 0.35 (version 2), "
        "differs by 0.1 ± 1.0 m."
    ]


@pytest.mark.parametrize(
    ("key", "point", "label"),
    [
        ("k", "course width", "traverse, step 3"),
        ("course/place 3/ddm", "course width", "as found"),
        ("k", "course width", "comparison"),
        ("k", "course line", "as found"),
    ],
)
def test_what_has_no_reference_or_is_not_followed_is_told_as_ever(
    key: str, point: str, label: str, known: Desk
) -> None:
    before = known.bench.measure(key, point, label=label)
    adjust(known, before)
    assert known.who.told == []
    assert shown(known) == {None}


def test_before_the_first_set_nothing_is_said_of_one(desk: Desk) -> None:
    desk.adjust("turn")
    desk.bench.judge("v", "alignment", Result("alignment", 0.4, 0.4), ANY)
    assert desk.who.told == []
    assert shown(desk) == {None}


def test_references_leave_no_trace_in_the_log(tmp_path: Path) -> None:
    """What is only shown decides nothing: with and without, the same rows are written."""
    logs = []
    for name, references in (("with", STANDING), ("without", None)):
        (tmp_path / name).mkdir()
        with desk_at(tmp_path / name, ManualClock(), references) as made:
            made.adjust("turn")
            logs.append([row.digest for kind in Kind for row in made.rows(kind)])
    assert logs[0] == logs[1] != []
