"""The tones of the clearance carrier against those of the course carrier, in one detector."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from daq.errors import SamplesError
from daq.log.entry import Body
from daq.station_equipment import TransmitterChecks
from procedures.engine.bench import Bench
from procedures.judge import Result
from procedures.limit_tables import find_limit
from procedures.steps.detector_records import (
    Mean,
    connect_probe,
    kept,
    mean_of,
    read_mean,
    refusal,
    take_record,
)

PHASES: Final = {"phase_90_deg": 90, "phase_150_deg": 150}
"""Estimate of `daq.samples.two_carriers.CarrierTones` -> its tone, Hz."""


def check_carrier_tones(bench: Bench, which: str, table: TransmitterChecks) -> Mapping[str, Mean]:
    """Measure and judge the phase of each tone between the two carriers.

    Parameters
    ----------
    which
        The transmitter that is selected, as keys begin.

    Raises
    ------
    Refused
        A record cannot be measured; the message says why.
    """
    key = f"{which}/carriers"
    point = connect_probe(bench, key, table.both_point)

    def live() -> Body:
        from daq.samples.two_carriers import compare_carriers

        waveforms = [take_record(bench, point) for _ in range(table.records)]
        try:
            compared = [compare_carriers(one.samples_v, one.rate_hz) for one in waveforms]
        except SamplesError as error:
            raise refusal(point, error) from error
        body: dict[str, object] = {
            name: mean_of([getattr(one, name) for one in compared]) for name in PHASES
        }
        return {**body, "locked": all(one.locked for one in compared)}

    body = kept(bench, key, "tones of two carriers", point, live)
    if not body["locked"]:
        bench.tell(
            f"{which}: the modulators of the two carriers are NOT locked: their tones slip, and "
            "the phase between them holds for a moment only."
        )
    station = bench.station
    limit = find_limit(
        "localizer", station.station.category, "carrier_tone_phase", overrides=station.limits
    ).limit()
    means = {name: read_mean(body[name]) for name in PHASES}
    for name, tone in PHASES.items():
        title = f"{which}: phase of the {tone} Hz tone, clearance carrier against course carrier"
        result = Result("tone phase", means[name].value, means[name].u)
        bench.judge(f"{key}/tone_phase_{tone}/verdict", title, result, limit)
    return means
