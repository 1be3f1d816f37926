"""Every published value against our functions, each with its own tolerance and source.

The table is made by ``builders/check_values.py``. What answers for a row stands in
``physics_checks.py`` and ``scales_checks.py``.
"""

from __future__ import annotations

import json
from collections import Counter

import numpy as np
import pytest
from builders.check_values import checked, written

from tests.published import physics_checks, scales_checks
from tests.published.rows import TABLE, Register, Row, rows
from tests.shared_files import shared

# The program keeps a rank's wind pressure as text for the tuner and computes nothing from it.
NOT_COMPUTED = "wind."
ROWS = tuple(row for row in rows() if not row.id.startswith(NOT_COMPUTED))
ALL = Register()
ALL.checks = [*physics_checks.register.checks, *scales_checks.register.checks]


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.id)
def test_published_value_is_met(row: Row) -> None:
    found = ALL.for_row(row)
    assert len(found) == 1, f"{row.id} ({row.source}) is answered by {len(found)} checks"
    np.testing.assert_allclose(
        found[0].answer(row), row.value, rtol=0, atol=row.tolerance, err_msg=row.source
    )


def test_no_row_is_left_and_no_check_is_idle() -> None:
    assert (len(rows()), len(ROWS)) == (466, 458)
    used = Counter(check.pattern.pattern for row in ROWS for check in ALL.for_row(row))
    assert sum(used.values()) == len(ROWS)
    assert set(used) == {check.pattern.pattern for check in ALL.checks}


def test_rows_are_as_the_builder_writes_them() -> None:
    table = json.loads(TABLE.read_text(encoding="utf-8"))
    assert TABLE.read_text(encoding="utf-8") == written(table)


def test_nothing_was_lost_from_the_original() -> None:
    original = json.loads(shared("check_values.json").read_text(encoding="utf-8"))
    assert json.loads(TABLE.read_text(encoding="utf-8")) == original


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"tolerance": 1000.0}, "tolerance 1000.0"),
        ({"source": " "}, "names no source"),
        ({"extra": 1}, "fields"),
    ],
)
def test_builder_refuses_a_row_that_could_not_fail(change: dict[str, object], message: str) -> None:
    row = json.loads(TABLE.read_text(encoding="utf-8"))[0]
    with pytest.raises(SystemExit, match=message):
        checked([row | change])


def test_builder_refuses_a_double_row() -> None:
    row = json.loads(TABLE.read_text(encoding="utf-8"))[0]
    with pytest.raises(SystemExit, match="twice"):
        checked([row, row])
