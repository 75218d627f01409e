"""Read the outcomes, readings and events of a run into the lines of its record, in order."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

from daq.log.entry import Body, Entry, Kind
from daq.measurement import Measurement
from procedures.engine.hazards import BEGINS, ENDS, PUT_BACK
from procedures.engine.taking_up import ENDING
from procedures.record import rows
from procedures.record.model import (
    AdjustmentLine,
    CutLine,
    EventLine,
    Measured,
    NoteLine,
    PromptLine,
    Verdict,
)
from procedures.record.series import SeriesBuilder
from procedures.record.words import AGAIN, TAKEN_AGAIN, VOID

_ASKED: Final = frozenset({"acknowledge", "confirm", "number", "text"})
_OWN_EVENTS: Final = frozenset({BEGINS, ENDS, ENDING})
"""Events of which other lines of the record say the same: a line in, a carrier off, the end."""
_REMINDER: Final = "Reminder: "
_INSERT: Final = "Insert "
"""How the request to put in a line begins. It is reminded of from the next prompt on only."""

CAPTURED: Final = "captured"
"""Label of a captured value on which no verdict was passed."""

COMPUTED: Final = "computed"
"""What stands for the instrument of a result that was computed from several readings."""


@dataclass(frozen=True, slots=True)
class Steps:
    """The lines of a run; see `procedures.record.model.Record` for the fields.

    Attributes
    ----------
    standing_reminders
        What had begun to radiate false guidance and had not ended, or what the last prompt of
        the run reminded of.
    unfinished
        Steps that took readings and have no outcome: stopped, refused or cut off on the way.
    """

    measured: tuple[Measured, ...] = ()
    verdicts: tuple[Verdict, ...] = ()
    adjustments: tuple[AdjustmentLine, ...] = ()
    cuts: tuple[CutLine, ...] = ()
    cautions: tuple[PromptLine, ...] = ()
    answers: tuple[PromptLine, ...] = ()
    notes: tuple[NoteLine, ...] = ()
    events: tuple[EventLine, ...] = ()
    standing_reminders: tuple[str, ...] = ()
    unfinished: tuple[str, ...] = ()


def read_steps(entries: Sequence[Entry]) -> Steps:
    """Return the lines of a run from its rows.

    Raises
    ------
    LogDamaged
        A row is not what this program writes.
    """
    reader = _StepReader()
    for entry in entries:
        with rows.told(entry):
            reader.take(entry)
    return reader.steps()


@dataclass
class _StepReader:
    measured: list[Measured] = field(default_factory=list)
    verdicts: list[Verdict] = field(default_factory=list)
    adjustments: list[AdjustmentLine] = field(default_factory=list)
    cuts: list[CutLine] = field(default_factory=list)
    cautions: list[PromptLine] = field(default_factory=list)
    answers: list[PromptLine] = field(default_factory=list)
    notes: list[NoteLine] = field(default_factory=list)
    events: list[EventLine] = field(default_factory=list)
    reminded: tuple[str, ...] = ()
    inserted: tuple[str, ...] = ()
    begun: dict[str, str] = field(default_factory=dict)
    cut_key: str = ""
    series: SeriesBuilder = field(default_factory=SeriesBuilder)

    def take(self, entry: Entry) -> None:
        if entry.kind is Kind.READING:
            self.series.reading(entry)
        elif entry.kind is Kind.EVENT:
            self.series.event(entry)
            self._hazard(entry)
            if entry.body.get("event") not in _OWN_EVENTS:
                self.events.append(_event(entry))
        elif entry.kind is Kind.OUTCOME:
            request = rows.mapping(entry.body, "request")
            self._outcome(entry, request, rows.mapping(entry.body, "outcome"))

    def steps(self) -> Steps:
        return Steps(
            measured=tuple(self.measured),
            verdicts=tuple(self.verdicts),
            adjustments=tuple(self.adjustments),
            cuts=tuple(self.cuts),
            cautions=tuple(self.cautions),
            answers=tuple(self.answers),
            notes=tuple(self.notes),
            events=tuple(self.events),
            standing_reminders=tuple(
                dict.fromkeys((*self.begun.values(), *self.reminded, *self.inserted))
            ),
            unfinished=self.series.without({line.key for line in self.measured}),
        )

    def _hazard(self, entry: Entry) -> None:
        """Follow what begins and ends; what an older log does not say its prompts remind of."""
        event, what = entry.body.get("event"), f"{entry.body.get('what')}."
        if event == BEGINS:
            self.begun[entry.key] = what
            self.inserted = ()
        elif event == ENDS or (event == PUT_BACK and entry.body.get("confirmed") is True):
            self.begun.pop(entry.key, None)
            self.reminded = tuple(reminder for reminder in self.reminded if reminder != what)
            self.inserted = ()

    def _outcome(self, entry: Entry, request: Body, outcome: Body) -> None:
        do = rows.text(request, "do")
        if do == "measure":
            measurement = Measurement.from_body(outcome)
            self.measured.append(Measured(entry.key, rows.text(request, "label"), measurement))
        elif do == "adjust":
            self._adjusted(entry, request, outcome)
        elif do == "judge":
            self._judged(entry.key, _verdict(entry, request))
        elif do == "note":
            body = {name: value for name, value in request.items() if name not in ("do", "title")}
            title = rows.text(request, "title")
            self.notes.append(NoteLine(entry.utc_ns, entry.key, title, body))
            if title == TAKEN_AGAIN:
                self._void(rows.texts(request, "void"))
        elif do in _ASKED:
            self._asked(entry, request, outcome)

    def _adjusted(self, entry: Entry, request: Body, outcome: Body) -> None:
        after = Measurement.from_body(rows.mapping(outcome, "after"))
        earlier = [m.measurement for m in self.measured if m.measurement.point == after.point]
        self.adjustments.append(
            AdjustmentLine(
                utc_ns=entry.utc_ns,
                key=entry.key,
                point=after.point,
                control=rows.text(request, "control"),
                target=rows.number(request, "target"),
                band=rows.number(request, "band"),
                before=earlier[-1] if earlier else None,
                after=after,
                readings=int(rows.number(outcome, "readings")),
                elapsed_s=rows.number(outcome, "elapsed_s"),
                best=rows.number(outcome, "best"),
                series=self.series.of(entry.key),
            )
        )
        self.measured.append(Measured(entry.key, CAPTURED, after))

    def _judged(self, key: str, verdict: Verdict) -> None:
        """Hang the verdict on the newest measurement with the very same point and value.

        Where there is none, what was judged was computed, and is a line of its own.
        """
        self.verdicts.append(verdict)
        for index in range(len(self.measured) - 1, -1, -1):
            line = self.measured[index]
            was = line.measurement
            if (was.point, was.value, was.u) == (verdict.point, verdict.value, verdict.u):
                self.measured[index] = dataclasses.replace(
                    line, label=_label(line, verdict), verdicts=(*line.verdicts, verdict)
                )
                return
        self.measured.append(_computed(key, verdict))

    def _asked(self, entry: Entry, request: Body, outcome: Body) -> None:
        caution = rows.text(request, "caution")
        self.reminded = tuple(part.strip() for part in caution.split(_REMINDER)[1:])
        self.inserted = ()
        answer = outcome["answer"]
        if answer is True and request.get("verb") == "insert line":
            inserted = rows.text(request, "text").removeprefix(_INSERT)
            self.inserted = (inserted,)
        line = PromptLine(
            utc_ns=entry.utc_ns,
            key=entry.key,
            kind=rows.text(request, "do"),
            text=rows.text(request, "text"),
            caution=caution,
            answer=_in_words(answer, rows.text(request, "unit")),
            by=rows.text(outcome, "by"),
            verb=rows.text(request, "verb"),
        )
        (self.cautions if line.kind == "acknowledge" else self.answers).append(line)
        if line.verb == "cut":
            arguments = rows.mapping(request, "arguments")
            self.cuts.append(_cut(line, arguments, answer))
            self.cut_key = line.key
        elif self.cuts and line.key.startswith(f"{self.cut_key}/{AGAIN} "):
            self.cuts[-1] = dataclasses.replace(self.cuts[-1], really_m=float(str(answer)))

    def _void(self, keys: Sequence[str]) -> None:
        """Name readings that said nothing for what they are, so that they pair with nothing."""
        for index, line in enumerate(self.measured):
            if line.key in keys:
                self.measured[index] = dataclasses.replace(line, label=f"{VOID}{line.label}")


def _computed(key: str, verdict: Verdict) -> Measured:
    """Return the line of a result that no instrument showed as it stands."""
    point = verdict.point or verdict.title
    label = verdict.title.removeprefix(point).removeprefix(", ")
    result = Measurement(
        quantity=verdict.quantity,
        point=point,
        source=COMPUTED,
        value=verdict.value,
        u=verdict.u,
        u_scatter=verdict.u,
        n=0,
        steady=True,
        utc_ns=verdict.utc_ns,
    )
    return Measured(key, label, result, (verdict,))


def label_of(title: str, point: str) -> str:
    """Return what a verdict's title says besides the name of the point: ``as left``."""
    return title.removeprefix(f"{point}, ")


def _label(line: Measured, verdict: Verdict) -> str:
    """Return what a captured value is called: its verdict's title less the name of the point."""
    if line.label != CAPTURED:
        return line.label
    return label_of(verdict.title, verdict.point)


def _verdict(entry: Entry, request: Body) -> Verdict:
    return Verdict(
        utc_ns=entry.utc_ns,
        title=rows.text(request, "title"),
        point=rows.text(request, "point"),
        quantity=rows.text(request, "quantity"),
        value=rows.number(request, "value"),
        u=rows.number(request, "u"),
        low=rows.number_or_none(request, "low"),
        high=rows.number_or_none(request, "high"),
        source=rows.text(request, "source"),
        status=rows.text(request, "status"),
        rule=rows.text(request, "rule"),
        verdict=rows.text(request, "verdict"),
    )


def _cut(line: PromptLine, arguments: Body, answer: object) -> CutLine:
    measured = isinstance(answer, int | float) and not isinstance(answer, bool)
    planned = arguments.get("length_m")
    return CutLine(
        utc_ns=line.utc_ns,
        path=str(arguments.get("path", "")),
        stage=str(arguments.get("stage", "")),
        planned_m=None if planned is None else float(str(planned)),
        really_m=float(str(answer)) if measured else None,
        confirmed=measured or bool(answer),
        by=line.by,
    )


def _in_words(answer: object, unit: str) -> str:
    if isinstance(answer, bool):
        return "yes" if answer else "no"
    if isinstance(answer, float):
        return f"{answer:.6g} {unit}".strip()
    return f"{answer} {unit}".strip()


def _event(entry: Entry) -> EventLine:
    detail = "; ".join(
        f"{name}: {_flat(value)}" for name, value in entry.body.items() if name != "event"
    )
    return EventLine(entry.utc_ns, entry.key, rows.text(entry.body, "event"), detail)


def _flat(value: object) -> str:
    if isinstance(value, Mapping):
        return ", ".join(f"{name} {_flat(item)}" for name, item in value.items())
    return ("yes" if value else "no") if isinstance(value, bool) else str(value)
