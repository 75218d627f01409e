"""The readings of each step, as a series over monotonic time."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass, field
from typing import Final

from daq.journal import RESUMED
from daq.log.entry import Entry
from daq.reading import Quality
from procedures.record import rows
from procedures.record.model import Series

_RESTARTS: Final = frozenset({"adjustment begun again", "tried again"})


@dataclass
class SeriesBuilder:
    """Collects readings and restarts by step; asked for the series when the step is done."""

    _points: dict[str, list[tuple[int, float | None]]] = field(
        default_factory=lambda: defaultdict(list)
    )
    _restarts: dict[str, list[int]] = field(default_factory=lambda: defaultdict(list))
    _over: set[str] = field(default_factory=set)

    def reading(self, entry: Entry) -> None:
        """Take a reading's row."""
        points = self._points[entry.key]
        if entry.key in self._over or (points and entry.mono_ns < points[-1][0]):
            # The run was gone on with, and the step is done anew; or the machine was started anew
            # within it: its monotonic clock has another origin. What came before has no place on
            # the same axis.
            points.clear()
            self._restarts[entry.key].clear()
            self._over.discard(entry.key)
        usable = rows.text(entry.body, "quality") == Quality.OK
        points.append((entry.mono_ns, rows.number_or_none(entry.body, "value") if usable else None))

    def event(self, entry: Entry) -> None:
        """Take an event's row; only those that begin a watch or a step again matter."""
        event = entry.body.get("event")
        if event == RESUMED:
            # What a step took before is kept until it is done anew: one that never is was broken
            # off, and is said to be.
            self._over.update(self._points)
        elif event in _RESTARTS:
            self._restarts[entry.key].append(entry.mono_ns)

    def of(self, key: str) -> Series:
        """Return the series of a step; empty when it has no readings."""
        points = self._points[key]
        if not points:
            return Series((), ())
        first = points[0][0]
        return Series(
            seconds=tuple((mono_ns - first) / 1e9 for mono_ns, _ in points),
            values=tuple(value for _, value in points),
            restarts_s=tuple((mono_ns - first) / 1e9 for mono_ns in self._restarts[key]),
        )

    def without(self, finished: Collection[str]) -> tuple[str, ...]:
        """Return the steps that have readings and are not among those that were finished."""
        return tuple(key for key, points in self._points.items() if points and key not in finished)
