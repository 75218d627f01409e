"""A set of cables: condition typed, length by sweeps, cut to the shortest, and swept again."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field

from daq.errors import InputError, Refused
from daq.log.entry import Body
from daq.roles import Action
from daq.station_ground import CableEntry, CableSet
from daq.units import format_length
from procedures.engine.bench import Bench
from procedures.judge import Limit, Result
from procedures.limit_tables import find_limit
from procedures.trims.cableset import CableMatch, match_cables
from procedures.trims.sweep import CableSweep, measure_sweep, read_sweep

OHM_PER_MEGOHM = 1e6


@dataclass
class SetWork:
    """One set and what has been done to it.

    Attributes
    ----------
    bench, name, table
        Whose run it is, the set's name and its table.
    cut_m
        Length cut off each cable so far, by name.
    """

    bench: Bench
    name: str
    table: CableSet
    cut_m: dict[str, float] = field(default_factory=dict)

    @property
    def key(self) -> str:
        """Beginning of the set's keys."""
        return f"cables/{self.name}"

    def spare_m(self, cable: CableEntry) -> float:
        """Return what may still be cut off a cable."""
        return cable.spare_m - self.cut_m.get(cable.name, 0.0)


def check_condition(work: SetWork) -> None:
    """Have match and insulation of each cable measured, typed and judged."""
    bench = work.bench
    for cable in work.table.cables:
        key = f"{work.key}/{cable.name}"
        vswr = bench.number(
            f"{key}/vswr",
            f"Measure the standing wave ratio into '{cable.name}', its far end on a load of 50 "
            "ohm, at the carrier, and enter it.",
            unit="1",
            action=Action("measure match", {"name": cable.name}),
        )
        result = Result("standing wave ratio", vswr, work.table.vswr_u, cable.name)
        bench.judge(f"{key}/vswr/verdict", f"{cable.name}, match", result, _row(bench, "vswr"))
        megohm = bench.number(
            f"{key}/insulation",
            f"Measure the insulation of '{cable.name}', both ends open, and enter it in megohm.",
            unit="megohm",
            action=Action("measure insulation", {"name": cable.name}),
        )
        ohm = megohm * OHM_PER_MEGOHM
        result = Result("insulation", ohm, work.table.insulation_u * ohm, cable.name)
        bench.judge(
            f"{key}/insulation/verdict",
            f"{cable.name}, insulation",
            result,
            _row(bench, "insulation"),
        )


def _row(bench: Bench, key: str) -> Limit:
    station = bench.station
    return find_limit("localizer", station.station.category, key, overrides=station.limits).limit()


def match_set(work: SetWork) -> tuple[CableMatch, ...]:
    """Sweep the set, cut what is too long, and sweep again until all are of one length.

    Raises
    ------
    Refused
        A sweep cannot be used, a cable has not enough to spare, or the set does not come
        together within the station's number of rounds.
    """
    for number in range(1, work.table.max_rounds + 1):
        # What is left on for the connector at the first cut is what the second one takes.
        matches = _swept(work, number, work.table.allowance_m if number == 1 else 0.0)
        long = [match for match in matches if match.excess_deg > work.table.matched_deg]
        if not long:
            _judge(work, matches)
            return matches
        for match in long:
            _check_spare(work, match)
        for match in long:
            _cut(work, number, match)
    raise Refused(
        f"After {work.table.max_rounds} rounds the cables of '{work.name}' are not of one length.",
        hint="sweep one cable twice: if the two differ, look at the analyser and its connector.",
    )


def _swept(work: SetWork, number: int, allowance_m: float) -> tuple[CableMatch, ...]:
    bench, table = work.bench, work.table
    frequency_hz = bench.station.station.frequency_hz
    sweeps = [_sweep(work, cable, number, frequency_hz) for cable in table.cables]
    try:
        matches = match_cables(
            sweeps,
            frequency_hz,
            velocity_factor=table.velocity_factor,
            allowance_m=allowance_m,
        )
    except InputError as error:
        raise Refused(error.message, hint=error.hint) from error
    _keep(work, number, matches)
    return matches


def _sweep(work: SetWork, cable: CableEntry, number: int, frequency_hz: float) -> CableSweep:
    """Ask for a sweep's file and measure it; what it says is kept, and the file's digest."""
    bench, table = work.bench, work.table
    key = f"{work.key}/sweep {number}/{cable.name}"
    folder = bench.station.path.parent
    wanted = f"{work.name}-{cable.name}-{number}.s1p".replace(" ", "-")
    typed = bench.text(
        f"{key}/file",
        f"Sweep '{cable.name}' from one end, the far end {table.far_end}, save it as a Touchstone "
        f"file, and enter its name, beside the station file: {wanted}",
        action=Action(
            "sweep cable",
            {"name": cable.name, "file": wanted, "far_end": table.far_end},
        ),
    ).strip()
    path = folder / (typed or wanted)
    physical_m = None
    if cable.physical_m is not None:
        physical_m = cable.physical_m - work.cut_m.get(cable.name, 0.0)

    def live() -> Body:
        try:
            measured = measure_sweep(
                read_sweep(path, far_end=table.far_end),
                frequency_hz,
                physical_m=physical_m,
                u_analyser_deg=table.analyser_u_deg,
            )
            digest = hashlib.sha256(path.read_bytes()).hexdigest()
        except (InputError, OSError) as error:
            raise Refused(str(error)) from error
        return {**asdict(measured), "digest": digest}

    return _from_body(
        cable.name, bench.journal.outcome(key, {"do": "sweep", "file": path.name}, live)
    )


def _from_body(name: str, body: Mapping[str, object]) -> CableSweep:
    factor = body["velocity_factor"]
    numbers = {
        key: float(str(body[key]))
        for key in (
            "delay_deg",
            "delay_u_deg",
            "electrical_m",
            "group_delay_s",
            "loss_db",
            "ripple_db",
        )
    }
    return CableSweep(
        name=name, velocity_factor=None if factor is None else float(str(factor)), **numbers
    )


def _keep(work: SetWork, number: int, matches: tuple[CableMatch, ...]) -> None:
    bench = work.bench
    bench.note(
        f"{work.key}/sweep {number}/cut list",
        f"Cable set '{work.name}', sweep {number}",
        {
            "cables": [
                {
                    "cable": match.cable.name,
                    "electrical_m": match.cable.electrical_m,
                    "loss_db": match.cable.loss_db,
                    "excess_deg": match.excess_deg,
                    "excess_u_deg": match.excess_u_deg,
                    "cut_m": match.cut_m,
                    "left_after_the_cut_deg": match.error_left_deg,
                    "note": "; ".join(match.damaged),
                }
                for match in matches
            ]
        },
    )
    for match in matches:
        if match.damaged:
            bench.tell(
                f"CAUTION: '{match.cable.name}' looks damaged: {'; '.join(match.damaged)}. Look "
                "at it and at its connectors before it is cut or used."
            )


def _check_spare(work: SetWork, match: CableMatch) -> None:
    """Refuse a cut that cannot be made, before any other cable of the set is cut for it."""
    spare_m = work.spare_m(work.table.cable(match.cable.name))
    if match.cut_m > spare_m:
        raise Refused(
            f"'{match.cable.name}' is {match.excess_deg:.1f}° longer than the shortest of its set; "
            f"that takes {format_length(match.cut_m)}, and it has {format_length(spare_m)} to "
            "spare.",
            hint="make up the shortest cable anew, longer by what is missing.",
        )


def _cut(work: SetWork, number: int, match: CableMatch) -> None:
    bench = work.bench
    cable = work.table.cable(match.cable.name)
    cut_m = bench.number(
        f"{work.key}/sweep {number}/{cable.name}/cut",
        f"Shorten '{cable.name}' by {format_length(match.cut_m)}, refit the connector, and enter "
        "the length really cut.",
        unit="m",
        suggestion=match.cut_m,
        action=Action("cut cable", {"name": cable.name, "length_m": match.cut_m}),
    )
    work.cut_m[cable.name] = work.cut_m.get(cable.name, 0.0) + cut_m


def _judge(work: SetWork, matches: tuple[CableMatch, ...]) -> None:
    size = work.table.matched_deg
    limit = Limit(
        -size, size, "deg", "delay beyond the shortest of the set", "station file", "station file"
    )
    for match in matches:
        result = Result("excess phase", match.excess_deg, match.excess_u_deg, match.cable.name)
        work.bench.judge(
            f"{work.key}/{match.cable.name}/matched",
            f"{match.cable.name}, against the shortest",
            result,
            limit,
        )
