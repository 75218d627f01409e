"""Two transmitters compared with each other, quantity by quantity."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from daq.station_equipment import TransmitterChecks
from procedures.engine.bench import Bench
from procedures.judge import Limit, Result, Verdict
from procedures.steps.identification import STATION_FILE
from procedures.steps.transmitter_checks import CarrierFound, Found


@dataclass(frozen=True, slots=True)
class Compared:
    """One quantity: the second transmitter less the first; `band` is None where none is stated."""

    name: str
    difference: float
    u: float
    unit: str
    band: float | None


def compare_transmitters(
    bench: Bench, table: TransmitterChecks, first: Found, second: Found
) -> None:
    """Note every difference, and judge those for which the station states how far they may go."""
    for carrier in first:
        key = f"transmitters/{carrier}"
        compared = list(_compared(table, first[carrier], second[carrier]))
        bench.note(
            f"{key}/differences",
            f"Transmitter 2 less transmitter 1, {carrier} carrier",
            {
                "quantities": [
                    {"quantity": one.name, "difference": one.difference, "u": one.u}
                    for one in compared
                ]
            },
        )
        for one in compared:
            if one.band is None:
                continue
            name = f"{carrier} carrier, both transmitters: {one.name}"
            limit = Limit(-one.band, one.band, one.unit, name, STATION_FILE, STATION_FILE)
            result = Result("difference", one.difference, one.u)
            judged = bench.judge(f"{key}/{one.name}/verdict", name, result, limit)
            if judged.verdict is not Verdict.IN_TOLERANCE:
                bench.tell(f"{name}: {judged.verdict}; a change-over would be noticed.")


def _compared(
    table: TransmitterChecks, first: CarrierFound, second: CarrierFound
) -> Iterator[Compared]:
    # The same instruments read both, so only what scatters stays in the differences.
    if first.frequency is not None and second.frequency is not None:
        a, b = first.frequency, second.frequency
        yield Compared(
            "frequency", b.value - a.value, math.hypot(a.u_scatter, b.u_scatter), "Hz", None
        )
    if first.power is not None and second.power is not None:
        a, b = first.power, second.power
        u_db = 10.0 / math.log(10.0) * math.hypot(a.u_scatter / a.value, b.u_scatter / b.value)
        level_db = 10.0 * math.log10(b.value / a.value)
        yield Compared("power", level_db, u_db, "dB", table.alike_power_db)
    if first.tones is None or second.tones is None:
        return
    bands = {
        "depth_90": table.alike_depth,
        "depth_150": table.alike_depth,
        "ddm": table.alike_balance,
        "tone_90_hz": None,
        "tone_150_hz": None,
        "tone_phase_deg": None,
        "harmonics_90": None,
        "second_harmonic_90": None,
        "harmonics_150": None,
    }
    for name, band in bands.items():
        one, two = first.tones[name], second.tones[name]
        yield Compared(name, two.value - one.value, math.hypot(one.u, two.u), "1", band)
