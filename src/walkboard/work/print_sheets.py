"""The printed sheets of a visit, and the page that the venue keeps."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from walkboard.book.records import KeptFault, KeptOrgan, KeptVisit, TickState
from walkboard.book.venue.records import FaultCare
from walkboard.errors import InputError
from walkboard.languages import spoken
from walkboard.languages.translation import Own
from walkboard.organ.model import Organ
from walkboard.sheets import values
from walkboard.sheets.front_page.build import front_page
from walkboard.sheets.front_page.news import Language
from walkboard.sheets.front_page.to_html import front_page_html
from walkboard.sheets.rank_charts import silent_pipes
from walkboard.sheets.report import visit_report
from walkboard.sheets.wording import key_words, naming_keys
from walkboard.sheets.worklist import worklist_sheet
from walkboard.work.book_choice import BookChoice
from walkboard.work.faults import place_words, translatable
from walkboard.work.pipe_offsets import visit_facts
from walkboard.work.venue_news import venue_news
from walkboard.work.visit import condition_of
from walkboard.work.write_files import write_file

if TYPE_CHECKING:
    from walkboard.book.keeping import Book

PHOTOGRAPHS_PRINTED = 6  # in a report: two to a page. Chosen.
_AHEAD_DAYS = 180  # of an outlook, where no event is coming


@contextmanager
def on_paper(book: Book, language: str | None) -> Iterator[None]:
    """Sheets made within are in a language, with keys named as the book or the language has it.

    Parameters
    ----------
    book : Book
    language : str or None
        BCP 47; None for the current language.
    """
    with (
        spoken.speaking(language or spoken.language()),
        naming_keys(BookChoice.of(book.path).key_names),
    ):
        yield


def print_worklist(
    book: Book, organ: Organ, visit: KeptVisit, to: Path, *, language: str | None = None
) -> Path:
    """Write the worklist of a visit as PDF, in a given language or the current one.

    Raises
    ------
    InputError
        When the visit has no plan, or the file cannot be written.
    """
    from walkboard.sheets.typesetting import render_pdf

    work = _work(book, visit)
    if work is None:
        raise InputError(
            f"Visit {visit.id} has no plan.", fix="Make one with 'walkboard visit plan'."
        )
    with on_paper(book, language):
        made = render_pdf(worklist_sheet(organ, visit_facts(book, visit), work))
    return write_file(made, to, what="sheet")


def print_report(
    book: Book, organ: Organ, visit: KeptVisit, to: Path, *, language: str | None = None
) -> Path:
    """Write the report of a visit: as PDF, or page 1 alone as a web page if the file ends so.

    Parameters
    ----------
    book : Book
    organ : Organ
    visit : KeptVisit
    to : Path
        ``report.pdf``, or ``report.html`` for a page that needs nothing else.
    language : str or None
        BCP 47; None for the current language.

    Raises
    ------
    InputError
        If the file cannot be written.
    """
    if to.suffix.lower() in {".html", ".htm"}:
        return write_file(venue_page(book, organ, visit, language).encode(), to, what="page")
    from walkboard.sheets.typesetting import render_pdf

    walks = [kept.walk for kept in book.recordings(visit.id)]
    cares = book.fault_cares(visit.organ_id)
    with on_paper(book, language):
        sheet = visit_report(
            organ,
            visit_facts(book, visit),
            [kept.reading for kept in book.readings(visit.id)],
            front=front_page(venue_news(book, organ, visit), Language(spoken.language())),
            silent=tuple(dict.fromkeys(p for walk in walks for p in silent_pipes(organ, walk))),
            condition=condition_of(book, organ, visit),
            work=_work(book, visit),
            faults=[
                _fault(organ, fault, cares.get(fault.id))
                for fault in book.faults(visit.organ_id)
                if fault.stands or fault.mended_in_visit == visit.id
            ],
            notices=[f"{walk.file}: {warning}" for walk in walks for warning in walk.warnings],
            pictures=_pictures(book, visit),
        )
        made = render_pdf(sheet)
    return write_file(made, to, what="sheet")


def _pictures(book: Book, visit: KeptVisit) -> list[values.Picture]:
    """The newest photographs of the visit and of faults that its report names, oldest first.

    Those without a word on their rights stay in the book.
    """
    named = {
        fault.id
        for fault in book.faults(visit.organ_id)
        if fault.stands or fault.mended_in_visit == visit.id
    }
    meant = [
        one
        for one in book.photographs(visit.organ_id)
        if one.rights and (one.visit_id == visit.id or one.fault_id in named) and one.path.is_file()
    ]
    return [
        values.Picture(Own(one.shows), Own(one.rights), one.path.read_bytes(), one.path.suffix[1:])
        for one in meant[-PHOTOGRAPHS_PRINTED:]
    ]


def venue_page(book: Book, organ: Organ, visit: KeptVisit, language: str | None = None) -> str:
    """Page 1 of a visit's report as one HTML file that the venue can keep."""
    with on_paper(book, language):
        news = venue_news(book, organ, visit)
        return front_page_html(front_page(news, Language(spoken.language())))


RANKS_DRAWN = 8  # in an outlook, unless they are named


def print_outlook(
    book: Book,
    kept: KeptOrgan,
    organ: Organ,
    today: date,
    to: Path,
    *,
    minutes: float | None = None,
    ranks: Sequence[str] = (),
    language: str | None = None,
) -> Path:
    """Write the outlook as PDF: readiness along the calendar, and how ranks drift.

    Parameters
    ----------
    book : Book
    kept : KeptOrgan
    organ : Organ
    today : date
    to : Path
    minutes : float or None
        Minutes of the visit before each event; None for those of the last visit.
    ranks : sequence of str
        To be drawn; if empty, those expected to have the most pipes out of tolerance.
    language : str or None
        BCP 47; None for the current language.

    Raises
    ------
    InputError
        When the file cannot be written.
    UnknownNameError
        When the organ has no such rank.
    """
    from walkboard.sheets.outlook import outlook_sheet
    from walkboard.sheets.typesetting import render_pdf
    from walkboard.work import outlook as outlook_work
    from walkboard.work.drift_course import drift_courses, least_sure_ranks

    seen = outlook_work.followed(book, kept, organ)
    given = outlook_work.usual_minutes(book, kept) if minutes is None else minutes
    found = outlook_work.readiness_by(seen, book, kept, today, given)
    until = max([one.occasion.at for one in found], default=today + timedelta(days=_AHEAD_DAYS))
    celsius = organ.pitch.at_celsius
    drawn = [organ.rank(rank).id for rank in ranks] or least_sure_ranks(
        seen, until, celsius, RANKS_DRAWN
    )
    courses = drift_courses(seen, drawn, until, celsius)
    with on_paper(book, language):
        sheet = outlook_sheet(
            organ, today, found, courses, visits=len(seen.visits), visit_minutes=given
        )
        made = render_pdf(sheet)
    return write_file(made, to, what="sheet")


def console_card(organ: str, address: str, day: date) -> bytes:
    """The card that leads players to the form for faults, as PDF.

    Parameters
    ----------
    organ : str
        Its name.
    address : str
        Address of the form.
    day : date
    """
    import segno

    from walkboard.sheets.console_card import console_card as card_of
    from walkboard.sheets.typesetting import render_pdf

    square = segno.make(address, error="m", micro=False).svg_inline(border=2, light="#fff")
    # Typst reads files, which name their XML; pages have it inline and need none.
    named = square.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1)
    return render_pdf(card_of(organ, address, named, day))


def _work(book: Book, visit: KeptVisit) -> values.Work | None:
    plan = book.current_plan(visit.id)
    if plan is None:
        return None
    ticks = tuple(
        values.Ticked(pipe, values.TickState(TickState(tick.state).value), tick.note)
        for pipe, tick in book.pipe_states(visit.id).items()
    )
    return values.Work(plan.plan, ticks)


def _fault(organ: Organ, fault: KeptFault, care: FaultCare | None) -> values.Fault:
    return values.Fault(
        kind=fault.kind,
        place=place_words(organ, fault, key_words),
        words=translatable(fault.words),
        reported=fault.reported_at.astimezone().date(),
        fixed_on=None if fault.mended_at is None else fault.mended_at.astimezone().date(),
        fix_note=translatable(fault.mended_note),
        repair="" if care is None else ": ".join(w for w in (care.who, care.parts) if w),
    )


def write_outlook(
    progress: Callable[[float, float], None],
    folder: Path,
    organ_id: int,
    to: Path,
    *,
    today: date,
    language: str,
) -> None:
    """Write the outlook as PDF in another process.

    Parameters
    ----------
    progress : callable
        Given how much is done, and how much there is to do.
    folder : Path
        The book's; it is opened here.
    organ_id : int
    to : Path
    today : date
    language : str
        BCP 47.
    """
    from walkboard.organ.reading import read_organ
    from walkboard.work import open_book

    progress(0, 1)
    with open_book.opened(folder) as book:
        kept = book.organ(organ_id)
        organ = read_organ(kept.description, where=kept.name)
        print_outlook(book, kept, organ, today, to, language=language)
    progress(1, 1)
