"""Rows of the log as a screen gets them: what happened, in words, with the numbers to draw."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from types import MappingProxyType
from typing import Final

from daq.log.entry import Entry, Kind
from daq.reading import QUANTITIES, Quality
from procedures.page.present import PLAIN_BAND_DDM, Body, place, spoken, value_body
from procedures.record.note_blocks import printed, words
from procedures.show import said_value
from procedures.terminal.format import reference_words

_Said = Callable[[Entry, Mapping[str, object]], Body]


def row_body(entry: Entry) -> Body:
    """Return a row as a screen shows it.

    Every body has ``seq``, ``key``, ``utc_ms``, ``mono_ms`` and ``what``; the rest depends on
    ``what``: start, reading, verdict, measured, adjusted, plan, note, answer, event or end.
    """
    head: Body = {
        "seq": entry.seq,
        "key": entry.key,
        "utc_ms": entry.utc_ns // 1_000_000,
        "mono_ms": entry.mono_ns / 1e6,
    }
    return head | _BY_KIND[entry.kind](entry)


def _start(entry: Entry) -> Body:
    names = ("alias", "class", "maker", "model", "serial", "firmware", "calibration_due")
    return {
        "what": "start",
        "procedure": str(entry.body.get("procedure", "")),
        "instruments": [
            {name: _text(item.get(name)) for name in names}
            for item in _objects(entry.body.get("instruments"))
        ],
    }


def _reading(entry: Entry) -> Body:
    body = entry.body
    quantity, value = str(body.get("quantity", "")), _number(body.get("value"))
    quality = str(body.get("quality", Quality.NO_VALUE))
    usable = quality == Quality.OK and math.isfinite(value)
    shown = value if usable else math.nan
    told: Body = {
        "what": "reading",
        "quantity": quantity,
        "point": str(body.get("point", "")),
        "source": str(body.get("source", "")),
        "words": "" if usable else (quality if quality != Quality.OK else str(Quality.NO_VALUE)),
        "value": value_body(quantity, shown),
    }
    if beside := _beside(quantity, shown, body):
        told["beside"] = beside
    if quantity == "ddm":
        told["place"] = place(shown, PLAIN_BAND_DDM)
        told["gate"] = place(PLAIN_BAND_DDM, PLAIN_BAND_DDM)
    return told


def _outcome(entry: Entry) -> Body:
    request, outcome = _object(entry.body.get("request")), _object(entry.body.get("outcome"))
    do = str(request.get("do", ""))
    return _BY_DEED.get(do, _note)(entry, {**request, "outcome": outcome})


def _verdict(_: Entry, said: Mapping[str, object]) -> Body:
    quantity = str(said.get("quantity", ""))
    value, u = _number(said.get("value")), _number(said.get("u"))
    return {
        "what": "verdict",
        "title": str(said.get("title", "")),
        "said": _value_said(quantity, value),
        "uncertainty": f"± {_size(quantity, 2.0 * u)} (k=2)",
        "limits": _limits(quantity, said.get("low"), said.get("high")),
        "source": str(said.get("source", "")),
        "verdict": str(said.get("verdict", "")),
    }


def _measured(_: Entry, said: Mapping[str, object]) -> Body:
    outcome = _object(said["outcome"])
    quantity, value = str(outcome.get("quantity", "")), _number(outcome.get("value"))
    return {
        "what": "measured",
        "title": f"{said.get('point')}, {said.get('label')}",
        "said": _value_said(quantity, value),
        "beside": _beside(quantity, value, said, outcome),
        "steady": bool(outcome.get("steady")),
    }


def _adjusted(_: Entry, said: Mapping[str, object]) -> Body:
    outcome = _object(said["outcome"])
    after = _object(outcome.get("after"))
    quantity, value = str(after.get("quantity", "")), _number(after.get("value"))
    seconds = _number(outcome.get("elapsed_s"))
    return {
        "what": "adjusted",
        "title": f"{said.get('point')}, adjusted with '{said.get('control')}'",
        "said": _value_said(quantity, value),
        "beside": _beside(quantity, value, said, outcome),
        "detail": f"{outcome.get('readings')} readings in {seconds:.0f} s",
    }


def _answer(_: Entry, said: Mapping[str, object]) -> Body:
    outcome = _object(said["outcome"])
    answer = outcome.get("answer")
    known = answer if isinstance(answer, bool | float | str) else str(answer)
    return {
        "what": "answer",
        "title": str(said.get("text", "")),
        "caution": str(said.get("caution", "")),
        "said": spoken(known, str(said.get("unit") or "")),
        "by": str(outcome.get("by", "")),
    }


def _note(entry: Entry, said: Mapping[str, object]) -> Body:
    title = str(said.get("title", "")) or entry.key
    if title == "Trim plan":
        return {
            "what": "plan",
            "title": title,
            "stage": str(said.get("stage", "")),
            "phase_deg": said.get("phase_deg"),
            "cuts": [
                {**cut, "said": printed("length_m", cut.get("length_m"))}
                for cut in _objects(said.get("cuts"))
            ],
        }
    plain = {k: v for k, v in said.items() if k not in ("do", "title", "outcome")}
    return {
        "what": "note",
        "title": title,
        "pairs": [
            [words(name), printed(name, value)]
            for name, value in plain.items()
            if not isinstance(value, Mapping | list)
        ],
    }


def _event(entry: Entry) -> Body:
    error = _object(entry.body.get("error"))
    return {
        "what": "event",
        "title": str(entry.body.get("event", entry.key)),
        "said": str(
            error.get("message") or entry.body.get("reason") or entry.body.get("what") or ""
        ),
        "source": str(error.get("instrument") or entry.body.get("instrument") or ""),
    }


def _end(entry: Entry) -> Body:
    hazards = entry.body.get("open_hazards")
    return {
        "what": "end",
        "result": str(entry.body.get("result", "")),
        "said": str(entry.body.get("message", "")),
        "hazards": [str(h) for h in hazards] if isinstance(hazards, list) else [],
    }


_BY_KIND: Final[Mapping[Kind, Callable[[Entry], Body]]] = MappingProxyType(
    {
        Kind.RUN_STARTED: _start,
        Kind.READING: _reading,
        Kind.OUTCOME: _outcome,
        Kind.EVENT: _event,
        Kind.RUN_ENDED: _end,
    }
)
_BY_DEED: Final[Mapping[str, _Said]] = MappingProxyType(
    {
        "judge": _verdict,
        "measure": _measured,
        "adjust": _adjusted,
        "acknowledge": _answer,
        "confirm": _answer,
        "number": _answer,
        "text": _answer,
    }
)


def _value_said(quantity: str, value: float) -> str:
    if quantity not in QUANTITIES or not math.isfinite(value):
        return str(Quality.NO_VALUE)
    return said_value(quantity, value)


def _beside(quantity: str, value: float, *bodies: Mapping[str, object]) -> str:
    """Return the reference value that a row carries and the difference from it; else nothing."""
    for body in bodies:
        reference = _number(body.get("reference"))
        if math.isfinite(reference):
            return reference_words(quantity, value, reference).replace("-", "−")
    return ""


def _size(quantity: str, value: float) -> str:
    """Return an uncertainty: a size, which has no sense of its own."""
    if not math.isfinite(value):
        return "unknown"
    return f"{value:.4f}" if quantity == "ddm" else f"{value:.3g} {QUANTITIES.get(quantity, '')}"


def _limits(quantity: str, low: object, high: object) -> str:
    ends = [_number(low), _number(high)]
    said = [_value_said(quantity, end) if math.isfinite(end) else "" for end in ends]
    if all(said):
        return f"{said[0]} to {said[1]}"
    return f"at least {said[0]}" if said[0] else f"at most {said[1]}"


def _number(value: object) -> float:
    return float(value) if isinstance(value, int | float) else math.nan


def _text(value: object) -> str:
    return "" if value is None else str(value)


def _object(value: object) -> Mapping[str, object]:
    return value if isinstance(value, Mapping) else {}


def _objects(value: object) -> Sequence[Mapping[str, object]]:
    return [item for item in value if isinstance(item, Mapping)] if isinstance(value, list) else []
