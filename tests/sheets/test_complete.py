"""A complete tuning on paper: days, order of the trade, where to stop."""

from __future__ import annotations

import re
from datetime import date

import pytest

from tests.sheets.visits import text, unspaced
from walkboard.organ import examples
from walkboard.organ.reading import read_organ
from walkboard.planning.complete import complete_tuning
from walkboard.scales.key_names import Names
from walkboard.sheets.complete import complete_sheet
from walkboard.sheets.typesetting import render_pdf
from walkboard.sheets.wording import naming_keys

ORGAN = read_organ(examples.village())
FOUND = complete_tuning(ORGAN, 120.0)
SHEET = complete_sheet(ORGAN, FOUND, date(2027, 2, 27))


def test_each_day_has_its_date_and_says_where_to_stop() -> None:
    assert FOUND.days > 1
    assert [day.heading for day in SHEET.days][:3] == [
        "Day 1, 27 February 2027",
        "Day 2, 28 February 2027",
        "Day 3, 1 March 2027",
    ]
    for day in SHEET.days:
        assert day.ends.startswith("Stop after ")
        assert "of 2\N{NO-BREAK SPACE}h." in day.ends
    assert "next day begins" not in SHEET.days[-1].ends


def test_the_order_is_that_of_the_trade() -> None:
    done = [row.do for day in SHEET.days for row in day.rows if not row.do.startswith("Check")]
    assert done[0] == "Set the bearings"
    reeds = [n for n, what in enumerate(done) if what == "Tune the reeds"]
    assert reeds
    assert min(reeds) > max(n for n, what in enumerate(done) if what == "Tune the rank")
    # every day after the first begins by checking the reference
    assert all(day.rows[0].do.startswith("Check") for day in SHEET.days[1:])


def minutes_in(words: str) -> float:
    """``1 h 58 min`` back in minutes."""
    sizes = {"h": 60.0, "min": 1.0}
    return sum(
        float(number) * sizes[unit] for number, unit in re.findall(r"([\d.]+)\s(h|min)\b", words)
    )


def test_the_minutes_of_the_rows_are_the_day() -> None:
    for day in SHEET.days:
        total = sum(minutes_in(row.minutes) for row in day.rows)
        said = minutes_in(day.ends.partition(": ")[2].partition(" of ")[0])
        assert total == pytest.approx(said, abs=0.6 * len(day.rows))


def test_it_is_printed_with_its_cautions() -> None:
    shown = unspaced(text(render_pdf(SHEET)))
    for words in ("Complete tuning", "Set the bearings", "Day 2, 28 February 2027", "Sources."):
        assert unspaced(words) in shown
    assert unspaced(SHEET.deference)[:40] in shown


def test_keys_are_named_as_the_country_writes_them() -> None:
    """F3, E4 and A4 are f, e′ and a′ in German. Common practice, no source."""
    with naming_keys(Names.GERMAN):
        sheet = complete_sheet(ORGAN, FOUND, date(2027, 2, 27))
    rows = [row for day in SHEET.days for row in day.rows if row.do == "Set the bearings"]
    german = [row for day in sheet.days for row in day.rows if row.do == "Set the bearings"]
    assert rows[0].keys == "F3 to E4"
    assert german[0].keys == "f to e′"
    assert SHEET.strip.startswith("A4 = 441.5 Hz")
    assert sheet.strip.startswith("a′ = 441.5 Hz")
