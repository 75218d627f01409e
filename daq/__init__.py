"""What a reading is: how it is taken, timed, judged steady, logged and read back.

The ground floor. Everything above imports from here; nothing here imports from above.

For a notebook: ``daq.open_log("tarnholt-16.tblog").readings()`` is a pandas table.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from daq.log.reader import LogReader

__all__ = ["open_log"]


def open_log(path: str | Path) -> LogReader:
    """Open a log for reading; see `daq.log.reader.LogReader`.

    Raises
    ------
    InputError
        There is no such file.
    LogError
        It is no log, or of a newer format.
    """
    from daq.log.reader import LogReader

    return LogReader(Path(path))
