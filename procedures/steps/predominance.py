"""Make each tone predominate on purpose, one after the other, and see it undone."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from daq.errors import Refused
from daq.measurement import Measurement
from daq.roles import Action
from daq.station import Station
from daq.station_ground import FieldPlace
from procedures.engine.bench import Bench
from procedures.judge import Verdict
from procedures.show import said
from procedures.steps.setting import around, judge_setting

CLEARLY: Final = 0.02
"""Least DDM that counts as one tone predominating beyond doubt; common practice, no source."""

RESTORED: Final = 0.005
"""DDM by which a reading may differ once both tones are on again; common practice, no source."""

TONES: Final = (150, 90)
UNDISTURBED: Final = "no tone made to predominate"

CAUTION: Final = (
    "A predominance made on purpose is false guidance if it radiates: do this with the facility "
    "withdrawn from use, or with a signal generator. The station's own monitor goes into alarm; "
    "keep it from shutting the transmitter down."
)


def readings_with_each_tone(bench: Bench, key: str, point_name: str) -> Mapping[int, Measurement]:
    """Return what a point reads with 150 and with 90 Hz made to predominate, by tone.

    With one tone switched off in the modulator the other predominates at every place, whatever
    the phase of SBO and the sense of the station are: of the one there is nothing to be read.

    Raises
    ------
    Refused
        The technician did not do it, or the reading did not come back after a tone; the run then
        ends with a reminder that one may be off.
    """
    _go_to(bench, f"{key}/there", point_name)
    before = bench.measure(f"{key}/before", point_name, label=UNDISTURBED)
    return {tone: _with_predominance(bench, key, tone, before) for tone in TONES}


def _go_to(bench: Bench, key: str, point_name: str) -> None:
    """Have the receiver of a traverse, which has no place of its own, carried to its middle."""
    middle = middles_of_traverses(bench.station).get(point_name)
    if middle is not None:
        bench.carry(key, point_name, middle)


def middles_of_traverses(station: Station) -> dict[str, FieldPlace]:
    """Return the points that are carried along a traverse, and where each crosses the centreline.

    Such a point can be read nowhere before it is carried.
    """
    middles: dict[str, FieldPlace] = {}
    if station.clearance is not None:
        middles[station.clearance.point] = FieldPlace.at_azimuth(station.clearance.radius_m, 0.0)
    if station.course is not None:
        middles[station.course.point] = FieldPlace.at_offset(station.course.along_m, 0.0)
    return middles


def _with_predominance(bench: Bench, key: str, tone: int, before: Measurement) -> Measurement:
    """Return the reading with `tone` made to predominate, once that is seen to be undone."""
    other, point = 240 - tone, before.point
    on = Action("switch tone", {"tone": float(other), "state": "on"})
    with bench.false_guidance(
        f"{key}/{other} Hz",
        f"the {other} Hz modulation may be switched off to prove the sense at '{point}'; the "
        "radiated guidance is false then",
        on,
    ):
        bench.require(
            f"{key}/make {tone}",
            f"Make {tone} Hz predominate on purpose at '{point}', by {CLEARLY:g} DDM or more: "
            f"switch the {other} Hz modulation off, or set a signal generator so. Is it so?",
            action=Action("switch tone", {"tone": float(other), "state": "off"}),
        )
        found = bench.measure(f"{key}/with {tone}", point, label=f"{tone} Hz made to predominate")
        bench.require(
            f"{key}/undo {tone}",
            f"Switch the {other} Hz modulation on again; where a signal generator was used, put "
            f"the receiver back on '{point}'. Is it so?",
            action=on,
        )
        # After each tone: with both of them off a course line reads zero, as it should.
        _see_undone(bench, f"{key}/undone {tone}", before)
    return found


def _see_undone(bench: Bench, key: str, before: Measurement) -> None:
    after = bench.measure(key, before.point, label=UNDISTURBED)
    source = "this run's reading before the sense check"
    limit = around(before.value, RESTORED, before.point, source=source)
    judged = judge_setting(bench, f"{key}/verdict", UNDISTURBED, after, limit)
    if judged.verdict is not Verdict.IN_TOLERANCE:
        raise Refused(
            f"'{before.point}' reads {said(after)} after the sense check; before it read "
            f"{said(before)}.",
            hint="a tone may still be off: see that both modulate before anything else.",
        )
