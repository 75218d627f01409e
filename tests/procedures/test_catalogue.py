"""The procedures by name."""

from __future__ import annotations

import pytest

from daq.errors import InputError
from procedures.catalogue import PROCEDURES, procedure


def test_each_procedure_is_found_by_its_own_name() -> None:
    for name, found in PROCEDURES.items():
        assert procedure(name) is found
        assert found.name == name
        assert found.version >= 1
        assert found.summary
        assert callable(found.work)


def test_the_monitor_baseline_is_one_of_them() -> None:
    assert "monitor-baseline" in PROCEDURES


def test_an_unknown_name_lists_the_known_ones() -> None:
    with pytest.raises(InputError, match="no procedure 'baseline'") as caught:
        procedure("baseline")
    assert "monitor-baseline" in caught.value.hint
