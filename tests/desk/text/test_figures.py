"""Dates, times and numbers as the pages show them."""

from __future__ import annotations

import time
from collections.abc import Iterator
from datetime import UTC, datetime

import pytest

from walkboard.desk.text import figures


@pytest.fixture(params=["Pacific/Auckland", "Pacific/Pago_Pago", "UTC"])
def zone(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    monkeypatch.setenv("TZ", request.param)
    time.tzset()
    yield request.param
    monkeypatch.undo()
    time.tzset()


@pytest.mark.usefixtures("zone")
@pytest.mark.parametrize("year", [1, 9999])
def test_the_ends_of_the_calendar_break_no_page(year: int) -> None:
    # An older book may hold an event that a calendar put into the year 9999.
    at = datetime(year, 12, 31, 23, 59, tzinfo=UTC) if year > 1 else datetime(1, 1, 1, tzinfo=UTC)
    assert str(year) in figures.day(at)
    assert figures.clock(at)
    assert figures.month(at).endswith(f"/{year}")


@pytest.mark.parametrize(
    ("value", "shown"), [(4.83, "+4.8"), (-7.2, "\N{MINUS SIGN}7.2"), (-0.04, "0.0"), (None, "–")]
)
def test_cents_have_a_sign_and_no_minus_zero(value: float | None, shown: str) -> None:
    assert figures.signed(value) == shown
