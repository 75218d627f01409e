"""What whoever signs is told first of the identification and of clearance."""

from __future__ import annotations

import pytest

from daq.log.reader import LogReader
from procedures.record.collect import collect
from tests.procedures.record.run_log import RunLog


def warnings_of(log: RunLog) -> list[str]:
    log.end()
    log.writer.close()
    with LogReader(log.path) as reader:
        return list(collect(reader, 1).warnings)


@pytest.mark.parametrize(
    ("spelt", "said"), [("ITS ITS", "ITS ITS"), (None, "another code, as heard")]
)
def test_another_code_than_the_station_s_is_warned_of(
    log: RunLog, spelt: str | None, said: str
) -> None:
    log.start()
    code = {"wanted": "ITN", "spelt": spelt, "by_ear": spelt is None, "right": False}
    log.note("tx1/ident/code", "Identification", code)
    log.note("tx2/ident/code", "Identification", {**code, "spelt": "ITN", "right": True})
    told = [words for words in warnings_of(log) if "identification" in words]
    assert told == [f"The identification is NOT ITN: {said} ('tx1/ident/code')."]


def test_what_is_not_known_of_clearance_is_warned_of(log: RunLog) -> None:
    log.start()
    missing = ["the log has no usable row from +12.0 to +19.1 degrees"]
    log.note("clearance/lowest", "Clearance, lowest points", {"missing": missing})
    assert f"Clearance is NOT KNOWN: {missing[0]}." in warnings_of(log)


def test_nothing_is_said_of_clearance_that_is_known(log: RunLog) -> None:
    log.start()
    log.note("clearance/lowest", "Clearance, lowest points", {"missing": []})
    assert not [words for words in warnings_of(log) if "Clearance" in words]
