"""What every screen has to know at this moment; written by the run, read by the server.

Only the newest body of each topic is kept, so a screen that is slow or connects late gets the
present and never a backlog. Publishing takes microseconds and waits for nobody.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from typing import Literal

Topic = Literal["prompt", "view", "says", "pair", "fault", "bye"]
Body = Mapping[str, object]


class Hub:
    """The present state of a run, by topic."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._topics: dict[Topic, tuple[int, Body]] = {}
        self._version = 0
        self._wake: Callable[[], None] | None = None

    def publish(self, topic: Topic, body: Body) -> None:
        """Replace what is known of `topic`, and wake the server if there is one.

        Parameters
        ----------
        body
            What JSON can hold; not changed by anybody afterwards.
        """
        with self._lock:
            self._version += 1
            self._topics[topic] = (self._version, body)
            wake = self._wake
        if wake is not None:
            wake()

    def now(self, topic: Topic) -> Body:
        """Return the newest body of a topic; empty when there is none."""
        with self._lock:
            return self._topics.get(topic, (0, {}))[1]

    def since(self, version: int) -> tuple[int, dict[Topic, Body]]:
        """Return the present version, and the topics that changed after `version`."""
        with self._lock:
            changed = {t: body for t, (at, body) in self._topics.items() if at > version}
            return self._version, changed

    def on_change(self, wake: Callable[[], None] | None) -> None:
        """Call `wake` after each publishing, in the publisher's thread; None to stop that.

        `wake` returns at once and raises nothing.
        """
        with self._lock:
            self._wake = wake
