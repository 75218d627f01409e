"""The details of a record, after its first page: one section for each kind of line."""

from __future__ import annotations

from daq.clock import iso_utc
from daq.rounding import fixed
from daq.units import format_length
from procedures.record.cells import Block, Cell, limit_words, moment, table, value_cell
from procedures.record.figures import COVERAGE, interval, toward, unit_of, with_uncertainty
from procedures.record.judged import acceptance_words
from procedures.record.model import PromptLine, Record, Verdict
from procedures.record.note_blocks import note_blocks
from procedures.record.plots import adjustment_svg


def sections(record: Record) -> list[dict[str, object]]:
    """Return the sections that have something to say, each a title and its blocks."""
    return [section for section in _all_sections(record) if section["blocks"]]


def _all_sections(record: Record) -> list[dict[str, object]]:
    return [
        {"title": "Differences from the reference values", "blocks": _differences(record)},
        {"title": "Instruments", "blocks": _instruments(record)},
        {"title": "Cautions acknowledged", "blocks": _cautions(record)},
        {"title": "Cuts made", "blocks": _cuts(record)},
        {"title": "Adjustments", "blocks": _adjustments(record)},
        {"title": "Trim plans and notes", "blocks": _notes(record)},
        {"title": "Verdicts and their limits", "blocks": _verdicts(record)},
        {"title": "All measurements", "blocks": _measured(record)},
        {"title": "Gaps, retries and other events", "blocks": _events(record)},
        {"title": "Steps confirmed and answers given", "blocks": _answers(record)},
        {"title": "Where this record comes from", "blocks": _origin(record)},
    ]


def _clock(record: Record, utc_ns: int) -> str:
    """Return the time of day, with the date where it is not the day on which the run began."""
    day, time = iso_utc(utc_ns)[:10], iso_utc(utc_ns)[11:19]
    same = iso_utc(record.header.started_utc_ns)[:10] == day
    return time if same else f"{day} {time}"


def _differences(record: Record) -> list[Block]:
    rows: list[list[Cell]] = [
        [
            {"text": line.parameter.name, "note": line.when},
            value_cell(line.parameter.quantity, line.value.value, line.value.u),
            {"text": str(line.difference.reference), "note": f"version {line.standing.version}"},
            {
                "text": str(line.difference),
                "note": toward(line.parameter.quantity, line.difference.value),
            },
        ]
        for line in record.compared
    ]
    if not rows:
        return []
    versions = {line.standing.version: line.standing for line in record.compared}
    fixed = "; ".join(
        f"version {each.version} was fixed {moment(each.fixed_utc_ns)} from run {each.run}, "
        f"signed by {each.signed_by}"
        for each in versions.values()
    )
    legend = (
        f"Value less the reference value in force when it was had ({fixed}). "
        f"Uncertainties are expanded, k = {COVERAGE:g}; that of a difference takes both as "
        "independent, and is more than the truth where one instrument read both."
    )
    columns = ["Parameter", ">Value", ">Reference value", ">Difference"]
    return [
        {"kind": "text", "text": legend},
        table(columns, ["1", "auto", "auto", "auto"], rows),
    ]


def _instruments(record: Record) -> list[Block]:
    rows: list[list[Cell]] = [
        [
            {"text": line.alias, "note": line.instrument_class},
            {"text": f"{line.maker} {line.model}".strip(), "note": line.resource},
            line.serial or "none given",
            line.firmware or "none given",
            line.calibrated or "not known",
            {"text": line.calibration_due or "not known", "note": "OVERDUE" * line.overdue},
        ]
        for line in record.instruments
    ]
    columns = ["Instrument", "Maker and model", "Serial", "Firmware", "Calibrated", "Due"]
    return [table(columns, ["3", "5", "2", "2", "auto", "auto"], rows)] if rows else []


def _cautions(record: Record) -> list[Block]:
    if not record.cautions:
        return [{"kind": "text", "text": "None was acknowledged in this run."}]
    rows: list[list[Cell]] = [
        [
            _clock(record, line.utc_ns),
            {"text": line.text, "note": line.caution},
            "acknowledged" if line.answer == "yes" else {"text": "NOT ACKNOWLEDGED"},
            line.by,
        ]
        for line in record.cautions
    ]
    return [table(["UTC", "What was acknowledged", "", "By"], ["auto", "8", "auto", "3"], rows)]


def _cuts(record: Record) -> list[Block]:
    rows: list[list[Cell]] = [
        [
            _clock(record, line.utc_ns),
            f"{line.path.upper()} at the {line.stage}",
            "not said" if line.planned_m is None else format_length(line.planned_m),
            "length not entered" if line.really_m is None else format_length(line.really_m),
            "" if line.confirmed else "NOT CONFIRMED",
            line.by,
        ]
        for line in record.cuts
    ]
    columns = ["UTC", "Path", ">Planned", ">Really cut", "", "By"]
    widths = ["auto", "3", "auto", "auto", "auto", "2"]
    return [table(columns, widths, rows)] if rows else []


def _adjustments(record: Record) -> list[Block]:
    blocks: list[Block] = []
    for line in record.adjustments:
        quantity = line.after.quantity
        unit = unit_of(quantity)
        wanted = interval(quantity, line.target - line.band, line.target + line.band)
        before, after = (
            f"{with_uncertainty(quantity, m.value, m.u)} {unit}".strip() if m else "not measured"
            for m in (line.before, line.after)
        )
        blocks.append(
            {
                "kind": "figure",
                "title": f"{line.point}, with '{line.control}'",
                "caption": (
                    f"{_clock(record, line.utc_ns)} UTC. Wanted {wanted} {unit}".rstrip()
                    + f"; before {before}; captured {after}, "
                    + ("within the band" if line.in_band else "OUTSIDE THE BAND")
                    + f"; {line.readings} readings in {fixed(line.elapsed_s, 1)} s."
                ),
                "svg": adjustment_svg(line),
            }
        )
    legend = (
        "Grey: the wanted band, dashed: its middle. Circle: the captured mean with its expanded "
        "uncertainty. Dotted upright: the watch was begun again."
    )
    return [{"kind": "text", "text": legend}, *blocks] if blocks else []


def _notes(record: Record) -> list[Block]:
    legend: Block = {"kind": "text", "text": "u is a standard uncertainty, k = 1."}
    notes = [
        block for line in record.notes for block in note_blocks(line, _clock(record, line.utc_ns))
    ]
    return [legend, *notes] if notes else []


def _verdicts(record: Record) -> list[Block]:
    rows: list[list[Cell]] = [
        [
            _clock(record, line.utc_ns),
            line.title,
            value_cell(line.quantity, line.value, line.u),
            limit_words(line),
            {"text": line.source or "source not given", "note": _how(line)},
            {"verdict": line.verdict},
        ]
        for line in record.verdicts
    ]
    columns = ["UTC", "What", ">Value", ">Limit", "Source of the limit", "Verdict"]
    return [table(columns, ["auto", "4", "auto", "auto", "4", "auto"], rows)] if rows else []


def _how(line: Verdict) -> str:
    rule = f"{line.rule} acceptance"
    return rule if line.status in ("", line.source) else f"{line.status}; {rule}"


def _measured(record: Record) -> list[Block]:
    rows: list[list[Cell]] = [
        [
            _clock(record, line.measurement.utc_ns),
            {"text": line.measurement.point, "note": line.label},
            value_cell(line.measurement.quantity, line.measurement.value, line.measurement.u),
            str(line.measurement.n),
            "yes" if line.measurement.steady else "NO",
            line.measurement.source,
        ]
        for line in record.measured
    ]
    columns = ["UTC", "Point", ">Value", ">Readings", "Settled", "Instrument"]
    return [table(columns, ["auto", "5", "auto", "auto", "auto", "3"], rows)] if rows else []


def _events(record: Record) -> list[Block]:
    rows: list[list[Cell]] = [
        [_clock(record, line.utc_ns), {"text": line.what, "note": line.key}, line.detail]
        for line in record.events
    ]
    return [table(["UTC", "Event", "Detail"], ["auto", "3", "7"], rows)] if rows else []


def _answers(record: Record) -> list[Block]:
    def row(line: PromptLine) -> list[Cell]:
        asked: Cell = {"text": line.text, "note": line.caution}
        return [_clock(record, line.utc_ns), asked, line.answer, line.by]

    rows = [row(line) for line in record.answers]
    return [table(["UTC", "Asked", "Answer", "By"], ["auto", "8", "2", "3"], rows)] if rows else []


def _origin(record: Record) -> list[Block]:
    header = record.header
    chain = "holds" if record.chain_ok else "DOES NOT HOLD"
    pairs = [
        ["Log", f"{record.rows} rows of this run, {record.reading_count} of them readings"],
        ["Chain of digests", f"{chain}, checked over the whole log when this was made"],
        ["Digest of the last row", record.digest],
        ["Station file", header.station_path],
        ["Digest of that file", header.station_digest],
        ["Acceptance", acceptance_words(header.acceptance)],
    ]
    return [{"kind": "pairs", "pairs": [pair for pair in pairs if pair[1]]}]
