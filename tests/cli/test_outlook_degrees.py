"""How far a rank follows the air, in cents a degree."""

from __future__ import annotations

import math
import re
from pathlib import Path

import pytest

from tests.commands import Run
from tests.work.chapel import chapel_book
from walkboard.book.opening import open_book
from walkboard.work.open_book import now


def test_a_reed_that_stays_loses_three_cents_a_degree_to_the_flues(run: Run, tmp_path: Path):
    """c ∝ √T (ISO 9613-1:1993): 600/(ln 2 · 291.15 K) = 2.97 cents a degree at 18 °C."""
    chapel_book(tmp_path / "book")
    with open_book(tmp_path / "book", clock=now) as book:
        book.close_visit(book.visits(1)[0].id, "")
    asked = ("outlook", tmp_path / "book", "--on", "2031-12-20")
    follows = {r["rank"]: r["follows"] for r in run(*asked, "--json").json["ranks"]}
    shown = run(*asked).out
    line = next(row for row in shown.splitlines() if row.startswith("great.trumpet8"))
    printed = float(re.findall(r"([+-]\d+\.\d+) ± \d", line)[-1])
    a_degree = 600.0 / (math.log(2.0) * (273.15 + 18.0))
    assert follows["great.trumpet8"] < -0.8
    assert printed == pytest.approx(a_degree * follows["great.trumpet8"], abs=0.03)
