"""Prompts, watched values and readings as a screen gets them: plain data, wording included.

Every number is put into words by the terminal's own functions, so page and terminal say the same.
"""

from __future__ import annotations

import math
from typing import Final

from daq.journal import finite
from daq.reading import UA_PER_DDM, predominance
from daq.roles import Answer, Prompt, WatchView
from procedures.page.advice import Advice
from procedures.terminal.bar import FULL_SCALE_BANDS
from procedures.terminal.format import (
    DDM_NULL,
    displayed,
    distance_words,
    in_words,
    number,
    printable,
    reference_words,
)
from procedures.terminal.numbers import suggested

Body = dict[str, object]

PLAIN_BAND_DDM: Final = 0.001
"""Band that scales a pointer without target: what common practice takes as a null (no source)."""

_REMINDER: Final = "Reminder: "
"""What stands before each hazard that an instruction reminds of (`engine.bench.Bench`)."""

_PER_CENT: Final = frozenset({"sdm", "depth_90", "depth_150", "ident_depth"})


def value_body(quantity: str, value: float) -> Body:
    """Return a value (SI unit of `quantity`) as it is shown.

    ``tone`` is the predominating one, 90 or 150, or 0; ``ua`` the value in microamperes where it
    has one; ``plot`` the signed value in the unit shown, for a drawing.
    """
    shown = displayed(quantity, value)
    body: Body = {
        "number": shown.number,
        "unit": shown.unit,
        "meaning": shown.meaning,
        "also": shown.also,
        "plot": finite(plotted(quantity, value)),
    }
    if quantity == "ddm" and math.isfinite(value):
        body["ua"] = number(abs(value) * UA_PER_DDM, 1)
        body["tone"] = 0 if abs(value) <= DDM_NULL else (150 if value > 0 else 90)
    return body


def reference_body(quantity: str, shown: float, reference: float) -> Body:
    """Return a reference value and the difference from it, in words.

    Parameters
    ----------
    shown, reference
        SI unit of the quantity; of what is not finite no difference is told.
    """
    body: Body = {
        "words": reference_words(quantity, shown, reference).replace("-", "−"),
        "plot": finite(plotted(quantity, reference)),
    }
    if quantity == "ddm":
        told = f"reference {number(abs(reference) * UA_PER_DDM, 1)} µA"
        if tone := predominance(reference, null=DDM_NULL).removesuffix(" predominates"):
            told = f"{told} {tone}"
        apart_ua = (shown - reference) * UA_PER_DDM
        body["ua_words"] = (
            f"{told}, differs by {apart_ua:+.1f} µA".replace("-", "−")
            if math.isfinite(apart_ua)
            else told
        )
    return body


def plotted(quantity: str, value: float) -> float:
    """Return `value` as it is drawn: thousandths for DDM, per cent for depths, else SI."""
    if quantity == "ddm":
        return 1000.0 * value
    return 100.0 * value if quantity in _PER_CENT else value


def place(offset: float, band: float) -> float | None:
    """Return where on a pointer from -1 to 1 an offset from the target stands.

    Logarithmic to both sides like the terminal's bar: one scale for the coarse turn and the fine
    one. Within the band it stays within the band's own place.
    """
    if not math.isfinite(offset) or band <= 0.0:
        return None
    share = math.log1p(abs(offset) / band) / math.log1p(FULL_SCALE_BANDS)
    return math.copysign(min(1.0, share), offset)


def view_body(view: WatchView, question: str, advice: Advice, *, acts: bool) -> Body:
    """Return a watched value as a screen shows it.

    Parameters
    ----------
    question
        Id under which it is captured, begun again or stopped.
    advice
        What to do with the hand.
    acts
        Whether screens may act on it.
    """
    quantity = view.reading.quantity
    words = in_words(view.reading)
    instruction, _, reminder = printable(view.instruction).partition(_REMINDER)
    return {
        "id": question,
        "acts": acts,
        "key": view.key,
        "instruction": instruction.strip(),
        "caution": reminder.replace(_REMINDER, ""),
        "control": printable(view.control),
        "quantity": quantity,
        "point": view.reading.point,
        "source": view.reading.source,
        "mono_ms": view.reading.mono_ns / 1e6,
        "words": words,
        "value": value_body(quantity, math.nan if words else view.shown),
        "pointer": _pointer(view),
        "distance": ""
        if view.target is None or words
        else distance_words(quantity, view.shown, view.target, view.band),
        "in_band": view.in_band and not words,
        "steady": view.steady,
        "rate_hz": round(view.rate_hz, 1),
        "elapsed_s": round(view.elapsed_s, 1),
        "target": None if view.target is None else value_body(quantity, view.target),
        "band": None if view.band is None else plotted(quantity, view.band),
        "best": None if view.best is None else value_body(quantity, view.best),
        "reference": None
        if view.reference is None
        else reference_body(quantity, math.nan if words else view.shown, view.reference),
        "advice": {"code": advice.code, "words": advice.words},
    }


def _pointer(view: WatchView) -> Body | None:
    ddm = view.reading.quantity == "ddm"
    if view.target is None and not ddm:
        return None
    target = view.target or 0.0
    band = view.band or (PLAIN_BAND_DDM if ddm else 0.01 * abs(target))
    return {
        "place": place(view.shown - target, band),
        "best": None if view.best is None else place(view.best - target, band),
        "reference": None if view.reference is None else place(view.reference - target, band),
        "gate": place(band, band),
        "ends": ["90 Hz", "150 Hz"] if ddm else ["low", "high"],
    }


def prompt_body(prompt: Prompt, question: str, *, acts: bool) -> Body:
    """Return a prompt as a screen shows it; parameters as for `view_body`."""
    return {
        "id": question,
        "acts": acts,
        "key": prompt.key,
        "kind": prompt.kind,
        "text": printable(prompt.text),
        "caution": printable(prompt.caution),
        "unit": prompt.unit,
        "suggestion": ""
        if prompt.suggestion is None
        else suggested(prompt.suggestion, prompt.unit),
        "suggested_value": prompt.suggestion,
        "verb": prompt.action.verb if prompt.action else "",
        "arguments": dict(prompt.action.arguments) if prompt.action else {},
    }


def spoken(answer: Answer, unit: str) -> str:
    """Return an answer as it is repeated to the one who gave it."""
    if isinstance(answer, bool):
        return "yes" if answer else "no"
    return printable(answer) if isinstance(answer, str) else suggested(answer, unit)
