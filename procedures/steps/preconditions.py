"""Cautions and preconditions: what must be so before anybody touches a control."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Final

from daq.errors import Refused
from daq.station import InstrumentEntry
from procedures.engine.bench import Bench
from procedures.steps.sense_check import prove_receivers

CAUTIONS: Final = (
    (
        "release",
        "The facility is released for this work by the authority that is responsible for it, and "
        "it is withdrawn from use.",
        "During this work the radiated guidance can be false. An aircraft that follows it can "
        "be led away from the course line.",
    ),
    (
        "notices",
        "The notices to users are issued, the identification is suppressed or the test signal "
        "is on, as local rules require.",
        "",
    ),
    (
        "radiation",
        "Nobody works at or in front of a radiating antenna beyond what local limits allow.",
        "Radio-frequency radiation and hot connectors can burn. Keep to local exposure limits.",
    ),
    (
        "voltage",
        "Work inside cabinets is done only by persons licensed for it, by local electrical codes.",
        "Mains and stored voltages inside the cabinets can kill.",
    ),
)
"""Key, what is acknowledged, and the caution that goes with it."""


def preconditions(bench: Bench) -> None:
    """Have the cautions acknowledged and the instruments' calibration checked.

    Raises
    ------
    Refused
        A caution was not acknowledged, or an instrument is out of calibration and nobody gave a
        reason to go on.
    """
    for name, text, caution in CAUTIONS:
        bench.acknowledge(f"cautions/{name}", text, caution=caution)
    today = _today(bench)
    for entry in bench.station.instruments:
        if entry.alias in bench.instruments:
            _calibration(bench, entry, today)


def guidance_preconditions(bench: Bench) -> None:
    """Do the same where DDM is going to be judged: prove the sense of the receivers too.

    Raises
    ------
    Refused
        As `preconditions`; or a receiver's sense is reversed, or not proved without a reason.
    """
    preconditions(bench)
    prove_receivers(bench)


def _today(bench: Bench) -> date:
    """Return the day of the run; journalled, so a resumed run judges by the same day."""
    body = bench.journal.outcome(
        "calibration/day",
        {"do": "day"},
        lambda: {"day": _utc_day(bench.clock.utc_ns()).isoformat()},
    )
    return date.fromisoformat(str(body["day"]))


def _utc_day(utc_ns: int) -> date:
    return datetime.fromtimestamp(utc_ns // 1_000_000_000, tz=UTC).date()


def _calibration(bench: Bench, entry: InstrumentEntry, today: date) -> None:
    if entry.calibration_due is not None and today <= entry.calibration_due:
        return
    trouble = (
        "its calibration date is not in the station file"
        if entry.calibration_due is None
        else f"its calibration was due on {entry.calibration_due.isoformat()}"
    )
    what = f"The {entry.instrument_class} '{entry.alias}' is not in calibration: {trouble}."
    if not bench.confirm(
        f"calibration/{entry.alias}/override", f"{what} Go on all the same, with a reason?"
    ):
        raise Refused(
            what, hint="use an instrument that is in calibration, or give a reason to go on."
        )
    reason = bench.text(f"calibration/{entry.alias}/reason", "The reason, for the record:").strip()
    if not reason.strip("-. "):
        raise Refused(f"{what} No reason was given.")
    bench.note(
        f"calibration/{entry.alias}/overridden",
        "Calibration overridden",
        {"instrument": entry.alias, "trouble": trouble, "reason": reason},
    )
