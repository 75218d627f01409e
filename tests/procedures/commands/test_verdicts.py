"""What a run's verdicts come to beyond its judged lines."""

from __future__ import annotations

from pathlib import Path

import pytest

from procedures.commands.verdicts import verdicts_of
from tests.procedures.record.run_log import RunLog


@pytest.mark.parametrize(("right", "count"), [(True, 0), (False, 1)])
def test_a_wrong_identification_is_named_though_no_limit_judges_it(
    tmp_path: Path, right: bool, count: int
) -> None:
    with RunLog(tmp_path / "run.tblog") as log:
        log.start()
        code = {"wanted": "ITN", "spelt": "ITS", "by_ear": False, "right": right}
        log.note("tx1/ident/code", "Identification", code)
        log.end()
    found = verdicts_of(tmp_path / "run.tblog", 1)
    assert len(found.wrong_codes) == count
    assert found.as_data()["wrong_codes"] == list(found.wrong_codes)
    assert all("is NOT ITN: ITS" in words for words in found.wrong_codes)
