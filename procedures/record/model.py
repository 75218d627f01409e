"""What the record of one run holds; all values SI, all times UTC in ns."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from daq.measurement import Measurement

if TYPE_CHECKING:
    # The history reads runs with the record's own steps, and so with this module.
    from procedures.history.model import Parameter, Value
    from procedures.history.references import Difference, ReferenceSet


@dataclass(frozen=True, slots=True)
class Header:
    """Which run it was, of what, where and by whom.

    Attributes
    ----------
    station, runway, ident, category
        From the station file's text in the log; empty when that text can no longer be read.
    frequency_hz
        Carrier; None likewise.
    acceptance
        How verdicts were reached, ``simple`` or ``guarded``.
    started_utc_ns, last_utc_ns
        First and last row of the run.
    """

    run: int
    procedure: str
    procedure_version: int
    program_version: str
    operator: str
    station: str
    runway: str
    ident: str
    category: str
    frequency_hz: float | None
    acceptance: str
    station_path: str
    station_digest: str
    started_utc_ns: int
    last_utc_ns: int


@dataclass(frozen=True, slots=True)
class InstrumentLine:
    """One instrument as it answered; dates as written, empty when the station file has none."""

    alias: str
    instrument_class: str
    profile: str
    resource: str
    maker: str
    model: str
    serial: str
    firmware: str
    calibrated: str
    calibration_due: str
    overdue: bool


@dataclass(frozen=True, slots=True)
class Verdict:
    """A measurement judged against one limit; `low` and `high` are None where a side is open."""

    utc_ns: int
    title: str
    point: str
    quantity: str
    value: float
    u: float
    low: float | None
    high: float | None
    source: str
    status: str
    rule: str
    verdict: str


@dataclass(frozen=True, slots=True)
class Measured:
    """A measurement under its step and label, with the verdicts that were passed on it."""

    key: str
    label: str
    measurement: Measurement
    verdicts: tuple[Verdict, ...] = ()

    @property
    def worst(self) -> Verdict | None:
        """The verdict that matters most: out, then too close, then in tolerance."""
        order = ("out of tolerance", "too close to call")
        ranked = sorted(
            self.verdicts,
            key=lambda v: order.index(v.verdict) if v.verdict in order else len(order),
        )
        return ranked[0] if ranked else None


@dataclass(frozen=True, slots=True)
class FoundLeft:
    """One line of the summary.

    Attributes
    ----------
    point
        Test point.
    variant
        What the label says besides as found and as left, such as ``quadrature``.
    found, left
        First and last of their kind; None when that was not measured.
    adjusted
        A control was turned, or a cable cut, for this point.
    """

    point: str
    variant: str
    found: Measured | None
    left: Measured | None
    adjusted: bool


@dataclass(frozen=True, slots=True)
class Series:
    """Readings of one live adjustment.

    Attributes
    ----------
    seconds
        Since the first reading, monotonic time.
    values
        SI; None where the instrument gave no usable value.
    restarts_s
        When the watch was begun again, after a gap or on request.
    """

    seconds: tuple[float, ...]
    values: tuple[float | None, ...]
    restarts_s: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class AdjustmentLine:
    """A control that was turned: what was wanted, what was captured, and how it went."""

    utc_ns: int
    key: str
    point: str
    control: str
    target: float
    band: float
    before: Measurement | None
    after: Measurement
    readings: int
    elapsed_s: float
    best: float
    series: Series

    @property
    def in_band(self) -> bool:
        """Whether the captured value lies within the band around the target."""
        return abs(self.after.value - self.target) <= self.band


@dataclass(frozen=True, slots=True)
class CutLine:
    """A cable that was shortened; `really_m` is None until somebody has said it."""

    utc_ns: int
    path: str
    stage: str
    planned_m: float | None
    really_m: float | None
    confirmed: bool
    by: str


@dataclass(frozen=True, slots=True)
class PromptLine:
    """A question and its answer in words."""

    utc_ns: int
    key: str
    kind: str
    text: str
    caution: str
    answer: str
    by: str
    verb: str = ""


@dataclass(frozen=True, slots=True)
class NoteLine:
    """Something computed and kept, such as a trim plan; `body` is as logged, less the title."""

    utc_ns: int
    key: str
    title: str
    body: Mapping[str, object]


@dataclass(frozen=True, slots=True)
class EventLine:
    """Something that happened and is no outcome: a gap, a retry, a clock that jumped."""

    utc_ns: int
    key: str
    what: str
    detail: str


@dataclass(frozen=True, slots=True)
class ComparedLine:
    """A value beside the reference value that was in force when it was had.

    Attributes
    ----------
    parameter
        What it is of.
    when
        ``as found`` or ``as left``.
    value
        What was had.
    standing
        The set that was in force then.
    difference
        The value less its reference value.
    """

    parameter: Parameter
    when: str
    value: Value
    standing: ReferenceSet
    difference: Difference


@dataclass(frozen=True, slots=True)
class End:
    """How the run ended.

    Attributes
    ----------
    result
        ``finished``, ``refused``, ``aborted``, or ``cut off`` when the log does not say.
    message
        Why, in words.
    open_hazards
        What still radiated false guidance; for a run that was cut off, what its last prompt
        reminded of.
    """

    result: str
    message: str
    open_hazards: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Record:
    """Everything that is printed; see the classes of its parts.

    Attributes
    ----------
    digest
        Digest of the run's last row, hex: ties the paper to the log.
    rows, reading_count
        How many rows the run has, and how many are readings.
    chain_ok
        The chain of the whole log held when the record was made.
    warnings
        What whoever signs has to know, most important first.
    compared
        Each value beside its reference value; empty where there was none. Not read from the run
        alone, so it is added to what `procedures.record.collect` returns.
    """

    header: Header
    end: End
    instruments: tuple[InstrumentLine, ...]
    summary: tuple[FoundLeft, ...]
    measured: tuple[Measured, ...]
    verdicts: tuple[Verdict, ...]
    adjustments: tuple[AdjustmentLine, ...]
    cuts: tuple[CutLine, ...]
    cautions: tuple[PromptLine, ...]
    answers: tuple[PromptLine, ...]
    notes: tuple[NoteLine, ...]
    events: tuple[EventLine, ...]
    digest: str
    rows: int
    reading_count: int
    chain_ok: bool
    warnings: tuple[str, ...]
    compared: tuple[ComparedLine, ...] = ()
