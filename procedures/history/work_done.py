"""What was done, and what happened, between two visits: what a step may be due to.

Only what the log says. A step for which it says nothing came from outside: the report says so and
names the days between which to look (weather, lightning, building, traffic, other trades).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from daq.journal import RESUMED
from daq.log.entry import Body, Entry, Kind
from daq.log.reader import LogReader
from procedures.engine.hazards import BEGINS, ENDS
from procedures.engine.taking_up import ENDING
from procedures.history.model import NS_PER_DAY, day_of, start_of
from procedures.history.references import KEY as REFERENCES
from procedures.page.doorway import LET_GO, PAIRED
from procedures.record import rows

_RANK: Final = ("cut", "adjustment", "instrument", "event", "note", "run")
"""What explains a step best comes first."""

_BY_HAND: Final = frozenset({"cut", "adjustment"})

_COMPUTED: Final = frozenset({RESUMED, ENDING, BEGINS, ENDS, LET_GO, PAIRED})
"""Events that are the program's own and change nothing at the station."""


@dataclass(frozen=True, slots=True)
class Deed:
    """One thing that was done or happened.

    Attributes
    ----------
    kind
        ``cut``, ``adjustment``, ``instrument`` (another one was used, or it came back from
        calibration), ``event``, ``note`` (words of the technician) or ``run``.
    what
        In words.
    point
        The test point that it was done for; empty where it was for none.
    """

    utc_ns: int
    run: int
    kind: str
    what: str
    point: str = ""


def read_deeds(reader: LogReader) -> tuple[Deed, ...]:
    """Return everything that was done or happened, oldest first.

    Raises
    ------
    LogDamaged
        A row is not what this program writes.
    """
    deeds: list[tuple[int, int, Deed]] = []
    known: dict[str, tuple[str, str, str]] = {}
    for kind in (Kind.RUN_STARTED, Kind.OUTCOME, Kind.EVENT):
        for entry in reader.entries(kind=kind):
            with rows.told(entry):
                deeds.extend((deed.utc_ns, entry.seq, deed) for deed in _deeds_of(entry, known))
    return tuple(deed for *_, deed in sorted(deeds, key=lambda row: row[:2]))


def near(
    deeds: Sequence[Deed],
    after_utc_ns: int,
    until_utc_ns: int,
    point: str,
    *,
    own_runs: frozenset[int] = frozenset(),
) -> tuple[Deed, ...]:
    """Return what may explain a step seen at `until_utc_ns` and not yet at `after_utc_ns`.

    What was done in the earlier visit after its reading counts; of the later visit, what came
    before its reading, and what was said or happened on that whole day. The most telling comes
    first: cuts, then controls (the point's own before others), then instruments.

    Parameters
    ----------
    own_runs
        The two visits themselves: that they were made explains nothing.
    """
    end_of_day = start_of(day_of(until_utc_ns)) + NS_PER_DAY

    def counts(deed: Deed) -> bool:
        if deed.kind == "run" and deed.run in own_runs:
            return False
        end = until_utc_ns if deed.kind in _BY_HAND else end_of_day
        return after_utc_ns < deed.utc_ns < end

    return tuple(
        sorted(
            filter(counts, deeds),
            key=lambda deed: (_RANK.index(deed.kind), deed.point != point, deed.utc_ns),
        )
    )


def _deeds_of(entry: Entry, known: dict[str, tuple[str, str, str]]) -> Iterator[Deed]:
    if entry.kind is Kind.RUN_STARTED:
        yield Deed(entry.utc_ns, entry.run, "run", rows.text(entry.body, "procedure"))
        yield from _instruments(entry, known)
    elif entry.kind is Kind.EVENT:
        what = str(entry.body.get("event", ""))
        if what and what not in _COMPUTED:
            said = f"reference values, version {entry.body.get('version')}"
            yield Deed(entry.utc_ns, entry.run, "event", said if what == REFERENCES else what)
    else:
        yield from _outcome(entry, rows.mapping(entry.body, "request"))


def _outcome(entry: Entry, request: Body) -> Iterator[Deed]:
    do = rows.text(request, "do")
    if do == "adjust":
        control = rows.text(request, "control")
        point = rows.text(request, "point")
        what = f"'{control}' turned for '{point}'"
        # The moment of the captured value: what the capture left is not explained by itself.
        after = rows.mapping(rows.mapping(entry.body, "outcome"), "after")
        yield Deed(int(rows.text(after, "utc_ns")), entry.run, "adjustment", what, point)
        return
    answer = rows.mapping(entry.body, "outcome").get("answer")
    if request.get("verb") == "cut" and isinstance(answer, int | float) and answer:
        arguments = rows.mapping(request, "arguments")
        path = str(arguments.get("path", "cable")).upper()
        length = "" if isinstance(answer, bool) else f" by {answer:.3f} m"
        yield Deed(entry.utc_ns, entry.run, "cut", f"{path} path shortened{length}")
    elif do == "text" and isinstance(answer, str) and answer.strip():
        yield Deed(entry.utc_ns, entry.run, "note", answer.strip())


def _instruments(entry: Entry, known: dict[str, tuple[str, str, str]]) -> Iterator[Deed]:
    for body in rows.mappings(entry.body, "instruments"):
        alias = rows.text(body, "alias")
        now = (
            f"{rows.text(body, 'maker')} {rows.text(body, 'model')}".strip(),
            rows.text(body, "serial"),
            rows.text(body, "calibrated"),
        )
        before = known.get(alias)
        known[alias] = now
        if before is None or before == now:
            continue
        if before[:2] != now[:2]:
            what = f"{alias}: {now[0]} serial {now[1]} instead of {before[0]} serial {before[1]}"
        else:
            what = f"{alias}: calibrated {now[2] or 'on no known day'}"
        yield Deed(entry.utc_ns, entry.run, "instrument", what)
