"""What a procedure holds in its hands: read, ask, watch while a control is adjusted, judge.

A procedure is a plain function that receives a `Bench`. Every call here carries a key that is
unique within the run; its outcome is journalled under that key as it happens, and a resumed run
gets it back instead of asking or reading again (`daq.journal`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace

from daq.clock import Clock
from daq.errors import BenchError, Refused
from daq.journal import Journal, finite
from daq.log.entry import Body
from daq.measurement import Measurement
from daq.roles import Action, Answer, Instrument, Operator, Prompt
from daq.station import Point, Station
from daq.station_ground import FieldPlace
from procedures.engine.adjustment import Adjustment
from procedures.engine.compared import Compared
from procedures.engine.connecting import Connected, carry
from procedures.engine.hazards import Hazard
from procedures.engine.point_reader import PATIENCE, PointReader
from procedures.engine.taking_up import Trail
from procedures.engine.turning import Turning, watch_turning
from procedures.history.references import ReferenceSet
from procedures.judge import Judgement, Limit, Result, Rule, judge


@dataclass
class Bench:
    """The station, its instruments, the technician, the clock and the journal of one run.

    Attributes
    ----------
    hazards
        What is at this moment in a state that radiates false guidance, in words; kept in every
        prompt until it is undone.
    references
        The reference values that were in force as the run began; None before the first. They are
        shown beside what is read and decide nothing, so they are not journalled.
    trail
        What was asked; says from where the run could be taken up once it has ended.
    """

    station: Station
    instruments: Mapping[str, Instrument]
    operator: Operator
    clock: Clock
    journal: Journal
    hazards: dict[str, Hazard] = field(default_factory=dict)
    references: ReferenceSet | None = None
    trail: Trail = field(default_factory=Trail, init=False)
    _connected: Connected = field(init=False)
    _known_since: int = field(default=-1, init=False)
    _reader: PointReader = field(init=False)
    _compared: Compared = field(init=False)

    def __post_init__(self) -> None:
        self._connected = Connected(self.station.points)
        self._reader = PointReader(self.instruments, self.clock, self.journal)
        self._compared = Compared(self.references, self.hazards)

    # Hands --------------------------------------------------------------------------------

    def may_be_away(self, control: str) -> bool:
        """Whether a control was turned in a part that holds no more, and not centred since."""
        return self.journal.turned_since(self.trail.last_centred(control), control)

    # Asking -------------------------------------------------------------------------------

    def acknowledge(self, key: str, text: str, *, caution: str = "") -> None:
        """Show a caution that has to be acknowledged; who does not is asked once more.

        Raises
        ------
        Refused
            It was not; the procedure does not go on without.
        """
        if not self._ask(Prompt(key, "acknowledge", text, caution=caution), needed=True):
            raise Refused(f"Not acknowledged: {text}")

    def confirm(self, key: str, text: str, *, action: Action | None = None) -> bool:
        """Ask for something to be done and return whether it was."""
        return bool(self._ask(Prompt(key, "confirm", text, action=action)))

    def require(self, key: str, text: str, *, action: Action | None = None) -> None:
        """Ask for something without which the procedure cannot go on; a no is asked once more.

        Raises
        ------
        Refused
            It was not done.
        """
        if not self._ask(Prompt(key, "confirm", text, action=action), needed=True):
            raise Refused(f"Not done: {text}")

    def number(
        self,
        key: str,
        text: str,
        *,
        unit: str,
        suggestion: float | None = None,
        action: Action | None = None,
    ) -> float:
        """Ask for a number in `unit` (SI)."""
        prompt = Prompt(key, "number", text, action=action, unit=unit, suggestion=suggestion)
        return float(self._ask(prompt))

    def text(self, key: str, text: str, *, action: Action | None = None) -> str:
        """Ask for a line of text."""
        return str(self._ask(Prompt(key, "text", text, action=action)))

    def carry(self, key: str, point_name: str, place: FieldPlace) -> None:
        """Have the instrument of a point carried to a place, where it is read next.

        Raises
        ------
        Refused
            It was not done.
        """
        point = self.station.point(point_name)
        move = carry(point, place)
        self.require(key, move.text, action=move.action)
        self.carried(point)

    def carried(self, point: Point) -> None:
        """Remember that the instrument of `point` was carried to where it is read next."""
        self._forget_moved()
        self._connected.moved_to(point)

    def tell(self, text: str) -> None:
        """Say something that needs no answer; silent while a resumed run catches up."""
        if not self.journal.replaying:
            self.operator.tell(text)

    def note(self, key: str, title: str, body: Body) -> None:
        """Keep something that was computed, such as a trim plan, for the record."""
        request = {"do": "note", "title": title, **body}
        self.journal.outcome(key, request, dict)

    # Measuring ----------------------------------------------------------------------------

    def measure(self, key: str, point_name: str, *, label: str) -> Measurement:
        """Average readings at a point once they have settled.

        Parameters
        ----------
        key
            Step of the run.
        point_name
            A point of the station file; the technician is asked to connect it if need be.
        label
            What the record calls it: ``as found``, ``as left``, ``quadrature``.
        """
        point = self.station.point(point_name)
        self._connect(key, point)
        request = {"do": "measure", "point": point_name, "label": label}
        body = self.journal.outcome(
            key,
            request,
            lambda: self.patiently(key, lambda: self._reader.settled(key, point).to_body()),
        )
        measurement = Measurement.from_body(body)
        if not measurement.steady:
            self.tell(
                f"'{point_name}' did not settle within {PATIENCE} readings; the mean of the last "
                f"{measurement.n} is taken as it is."
            )
        self._tell_any(self._compared.measured(key, label, measurement))
        return measurement

    def adjust(
        self,
        key: str,
        point_name: str,
        *,
        target: float,
        band: float,
        control: str,
        instruction: str,
        before: Measurement,
    ) -> Adjustment:
        """Show the value live while a hand turns `control`, until it is captured.

        Parameters
        ----------
        target, band
            Wanted value and accepted distance, SI unit of the point's quantity.
        before
            The as-found reading; an adjustment without one is not possible.
        """
        point = self.station.point(point_name)
        self._connect(key, point)
        request = {
            "do": "adjust",
            "point": point_name,
            "target": target,
            "band": band,
            "control": control,
            "before": before.value,
        }

        turning = Turning(
            key=key,
            point=point,
            control=control,
            instruction=f"{instruction} {self._reminder()}".rstrip(),
            target=target,
            band=band,
            reference=self._compared.reference_from(before),
        )

        # A control is turned from here on, whether or not a value is captured.
        self.trail.turned[self.journal.done] = control

        def live() -> Body:
            return self.patiently(key, lambda: watch_turning(turning, self._reader, self.operator))

        body = self.journal.outcome(key, request, live)
        after = Measurement.from_body(_mapping(body["after"]))
        self._tell_any(self._compared.captured(before, after))
        return Adjustment(
            before=before,
            after=after,
            in_band=abs(after.value - target) <= band,
            readings=int(str(body["readings"])),
            elapsed_s=float(str(body["elapsed_s"])),
            best=float(str(body["best"])),
        )

    def judge(
        self,
        key: str,
        title: str,
        measurement: Measurement | Result,
        limit: Limit,
        *,
        rule: Rule | None = None,
    ) -> Judgement:
        """Judge a measurement, or what was computed from several, and keep the verdict.

        Parameters
        ----------
        rule
            ``simple`` or ``guarded`` acceptance; the station's own when None.
        """
        judgement = judge(
            measurement.value,
            measurement.u,
            limit,
            rule=rule or self.station.conventions.acceptance,
        )
        request = {
            "do": "judge",
            "title": title,
            "point": measurement.point,
            "quantity": measurement.quantity,
            "value": measurement.value,
            "u": measurement.u,
            "low": finite(limit.low),
            "high": finite(limit.high),
            "limit": limit.name,
            "unit": limit.unit,
            "source": limit.source,
            "status": limit.status,
            "rule": str(judgement.rule),
            "verdict": str(judgement.verdict),
        }
        self.journal.outcome(key, request, dict)
        now_ns = self.clock.utc_ns()
        self._tell_any(self._compared.judged(key, request, measurement, now_ns))
        return judgement

    # Hazards ------------------------------------------------------------------------------

    @contextmanager
    def false_guidance(self, key: str, what: str, *undo: Action) -> Iterator[None]:
        """Remind of `what` in every prompt until the block is left in good order.

        When the block is left by an error the reminder stays, so that whoever ends the run
        still sees what has to be put back; `undo` is what hands do for that. Its beginning and
        its end are in the log, so that whoever reads it knows what is open at any moment.
        """
        hazard = Hazard(what, undo, since=self.journal.done)
        self.hazards[key] = hazard
        self.trail.undoing += undo
        self._happened(key, hazard.begins())
        yield
        del self.hazards[key]
        self.trail.undone(hazard, self.journal.done)
        self._happened(key, hazard.ends())

    def _happened(self, key: str, body: Body) -> None:
        if not self.journal.replaying:
            self.journal.event(key, body)

    # ---------------------------------------------------------------------------------------

    def _reminder(self) -> str:
        return " ".join(f"Reminder: {hazard.what}." for hazard in self.hazards.values())

    def _reminding(self, prompt: Prompt) -> Prompt:
        """Return the prompt with what is open at this moment added to its caution."""
        return replace(prompt, caution=f"{prompt.caution} {self._reminder()}".strip())

    def _ask(self, prompt: Prompt, *, needed: bool = False) -> Answer:
        """Ask, and return the answer; one that is `needed` once more before a no ends the run."""
        asked = self._reminding(prompt)
        request = {
            "do": asked.kind,
            "text": asked.text,
            "caution": asked.caution,
            "unit": asked.unit,
            "suggestion": asked.suggestion,
            "verb": asked.action.verb if asked.action else "",
            "arguments": dict(asked.action.arguments) if asked.action else {},
        }

        def live() -> Body:
            answer = self.operator.answer(asked)
            if needed and not answer:
                again = f"Without this the run ends here. Once more: {asked.text}"
                answer = self.operator.answer(replace(asked, text=again))
            return {"answer": answer, "by": self.operator.name}

        answer = self.journal.outcome(prompt.key, request, live)["answer"]
        if isinstance(answer, bool | float | int | str):
            self.trail.asked(self.journal.done - 1, prompt, answer)
            return answer
        raise Refused(f"The journal holds no answer to '{prompt.key}'.")

    def _forget_moved(self) -> None:
        """Trust no connection that was changed in a part of the run that holds no more."""
        if self.journal.moved_since(self._known_since):
            self._connected = Connected(self.station.points)
            self._known_since = self.journal.done

    def _connect(self, key: str, point: Point) -> None:
        self._forget_moved()
        move = self._connected.move_to(point)
        if move is not None:
            self.require(f"{key}/connect", move.text, action=move.action)
        self._connected.moved_to(point)

    def _tell_any(self, words: str) -> None:
        if words:
            self.tell(words)

    def patiently(self, key: str, live: Callable[[], Body]) -> Body:
        """Do `live`; when an instrument fails, say so and let the technician mend and retry.

        What `live` returns is an outcome for the journal; for steps that read an instrument in a
        way of their own.

        Raises
        ------
        BenchError
            It was not mended.
        """
        attempt = 1
        while True:
            try:
                return live()
            except BenchError as error:
                self.journal.event(key, {"event": "gap", "error": error.details()})
                question = Prompt(
                    f"{key}/retry {attempt}",
                    "confirm",
                    f"{error} Mend it and try again?",
                )
                if not self.operator.answer(self._reminding(question)):
                    raise
                self.journal.event(key, {"event": "tried again", "attempt": attempt})
                attempt += 1


def _mapping(value: object) -> Mapping[str, object]:
    if not isinstance(value, Mapping):
        raise Refused("The journal holds an adjustment without its captured value.")
    return value
