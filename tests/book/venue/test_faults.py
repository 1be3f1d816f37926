"""Faults from report to fix."""

import pytest

from tests.book.making import DESCRIPTION, PRINCIPAL
from walkboard.book.keeping import Book
from walkboard.book.records import FaultKind, KeptVisit
from walkboard.errors import BookError, UnknownNameError
from walkboard.organ.model import PipeRef


def test_a_fault_from_report_to_fix(book: Book, organ_id: int, visit: KeptVisit) -> None:
    reported = book.report_fault(
        organ_id, FaultKind.DEAD_NOTE, "nothing on the Great", stop=PRINCIPAL, key="Gb3", uid="r1"
    )
    assert (reported.kind, reported.stop, reported.key, reported.pipe) == (
        "dead note",
        PRINCIPAL,
        "F#3",
        None,
    )
    assert reported.mended_at is None
    linked = book.link_fault(reported.id, stop=PRINCIPAL, key="F#3", pipe=PipeRef(PRINCIPAL, 19))
    assert linked.pipe == PipeRef(PRINCIPAL, 19)
    assert (linked.words, linked.reported_at) == (reported.words, reported.reported_at)
    assert book.open_faults(organ_id) == (linked,)

    fixed = book.mark_fixed(reported.id, visit_id=visit.id, note="dust in the toe hole")
    assert (fixed.mended_in_visit, fixed.mended_note) == (visit.id, "dust in the toe hole")
    assert book.open_faults(organ_id) == ()
    assert book.faults(organ_id) == (fixed,) == (book.fault(reported.id),)
    with pytest.raises(BookError, match=r"Fault 1 was fixed on 2031-03-01\. If it came back"):
        book.mark_fixed(reported.id)


def test_a_report_sent_twice_is_kept_once(book: Book, organ_id: int) -> None:
    first = book.report_fault(organ_id, "cipher", "bottom C howls", uid="r1")
    assert book.report_fault(organ_id, "cipher", "bottom C howls", uid="r1") == first
    with pytest.raises(BookError, match="'r1' is already stored with different contents"):
        book.report_fault(organ_id, "cipher", "top C howls", uid="r1")
    # without an id of its own, the same words while the fault stands are the same report
    assert book.report_fault(organ_id, "cipher", "bottom C howls") == first
    assert book.faults(organ_id) == (first,)
    book.report_fault(organ_id, "cipher", "top C howls")
    assert [fault.words for fault in book.faults(organ_id)][-1] == "top C howls"


def test_only_words_of_the_trade_and_keys_that_are(book: Book, organ_id: int) -> None:
    with pytest.raises(UnknownNameError, match=r"'broken' is not a kind .* cipher, dead note"):
        book.report_fault(organ_id, "broken", "it is broken")
    with pytest.raises(UnknownNameError, match="'H3' is not the name of a key"):
        book.report_fault(organ_id, "cipher", "it howls", key="H3")
    assert book.faults(organ_id) == ()


def test_a_fault_is_fixed_at_a_visit_to_its_own_organ(
    book: Book, organ_id: int, visit: KeptVisit
) -> None:
    other = book.add_organ("Village Church", DESCRIPTION)
    fault = book.report_fault(other.id, "rattle", "the case buzzes with the 16 foot")
    with pytest.raises(BookError, match="Visit 1 is to another organ than fault 1"):
        book.mark_fixed(fault.id, visit_id=visit.id)
    book.close_visit(visit.id)
    mine = book.report_fault(organ_id, "rattle", "a grille")
    with pytest.raises(BookError, match="is now read-only"):
        book.mark_fixed(mine.id, visit_id=visit.id)
    assert book.mark_fixed(mine.id, note="between visits, by the keeper").mended_in_visit is None
    assert book.open_faults(other.id) == (fault,)


def test_doubles_are_one_fault_and_keep_their_words(book: Book, organ_id: int) -> None:
    first = book.report_fault(organ_id, "cipher", "bottom C howls", reporter="the organist")
    second = book.report_fault(organ_id, "cipher", "a low note sounds by itself")
    merged = book.merge_fault(second.id, first.id)
    assert (merged.double_of, merged.words) == (first.id, "a low note sounds by itself")
    assert first.reporter == "the organist"
    assert book.open_faults(organ_id) == (first,)
    with pytest.raises(BookError, match="Fault 2 is a double of fault 1"):
        book.mark_fixed(second.id)
    with pytest.raises(BookError, match="Fault 2 is no longer open"):
        book.merge_fault(first.id, second.id)
    with pytest.raises(BookError, match="Fault 1 cannot be a double of fault 1"):
        book.merge_fault(first.id, first.id)
    apart = book.reopen_fault(second.id)
    assert (apart.again_of, apart.words) == (second.id, "a low note sounds by itself")
    assert book.open_faults(organ_id) == (first, apart)


def test_a_fault_that_comes_back_is_a_new_one_that_knows_the_old(
    book: Book, organ_id: int, visit: KeptVisit
) -> None:
    reported = book.report_fault(organ_id, "dead note", "silent", stop=PRINCIPAL, key="F#3")
    with pytest.raises(BookError, match="Fault 1 is still open"):
        book.reopen_fault(reported.id)
    book.mark_fixed(reported.id, visit_id=visit.id, note="dust")
    again = book.reopen_fault(reported.id, "silent again after a week")
    assert (again.again_of, again.kind, again.stop, again.key) == (
        reported.id, "dead note", PRINCIPAL, "F#3",
    )  # fmt: skip
    assert again.words == "silent again after a week"
    assert book.fault(reported.id).mended_note == "dust"
    assert book.open_faults(organ_id) == (again,)
    with pytest.raises(BookError, match="already reopened, as fault 2"):
        book.reopen_fault(reported.id)
