"""Names of keys that were chosen for a book are on its printed sheets too."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.sheets.visits import text, unspaced
from tests.work.chapel import chapel_book
from walkboard.book.opening import open_book
from walkboard.organ.sounding import held_key
from walkboard.planning.request import PlanRequest
from walkboard.scales.key_names import Names, name_of
from walkboard.work.book_choice import FILE, BookChoice
from walkboard.work.open_book import now
from walkboard.work.plans import kept, organ_to_plan
from walkboard.work.print_sheets import print_worklist


def test_a_choice_is_kept_and_one_that_is_none_counts_as_none(tmp_path: Path) -> None:
    assert BookChoice.of(tmp_path).key_names is Names.SCIENTIFIC
    BookChoice("de", "german").keep(tmp_path)
    assert BookChoice.of(tmp_path) == BookChoice("de", "german")
    (tmp_path / FILE).write_text('{"names": "klingon"}')
    assert BookChoice.of(tmp_path).key_names is Names.SCIENTIFIC


@pytest.mark.parametrize("names", [Names.SCIENTIFIC, Names.GERMAN, Names.FRENCH])
def test_the_worklist_names_keys_as_the_book_does(tmp_path: Path, names: Names) -> None:
    chapel_book(tmp_path)
    BookChoice(names=names.value).keep(tmp_path)
    with open_book(tmp_path, clock=now) as book:
        (visit,) = book.visits(1)
        organ = organ_to_plan(book, visit)
        plan = kept(book, visit, PlanRequest(60.0)).plan
        made = print_worklist(book, organ, visit, tmp_path / "worklist.pdf")
    shown = unspaced(text(made.read_bytes()))
    keys = [held.key for item in plan.items if (held := held_key(organ, item.pipe)) is not None]
    assert len(keys) > 5
    for key in keys:
        assert unspaced(name_of(key, names)) in shown
