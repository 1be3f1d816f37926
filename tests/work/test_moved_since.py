"""What has moved since the last visit, from the book to the organ page."""

from __future__ import annotations

from pathlib import Path

from starlette.testclient import TestClient

from tests.work.chapel import RANKS, chapel_again, chapel_book
from walkboard.desk.server.application import make_application
from walkboard.work.before_planning import last_heard, moved_is_known, moved_since
from walkboard.work.snapshot import opened_to_see

HTML = {"Accept": "text/html"}
NEW_REED = {**dict.fromkeys(RANKS, 0.0), "great.trumpet8": 14.0}


def test_a_rank_that_has_risen_alone_is_reported(tmp_path: Path) -> None:
    folder = tmp_path / "book"
    chapel_book(folder)
    with opened_to_see(folder) as book:
        visit = last_heard(book, 1)
        assert visit is not None
        assert moved_is_known(book, visit)  # there is no visit before it
        assert moved_since(book, visit) == ()
    chapel_again(folder, NEW_REED)
    with opened_to_see(folder) as book:
        visit = last_heard(book, 1)
        assert visit is not None
        assert not moved_is_known(book, visit)
        (sentence,) = moved_since(book, visit)
        assert "Trumpet" in sentence
        assert moved_is_known(book, visit)


def test_the_organ_page_reports_it_as_soon_as_it_is_worked_out(tmp_path: Path) -> None:
    folder = tmp_path / "book"
    chapel_book(folder)
    chapel_again(folder, NEW_REED)
    application = make_application(folder)
    application.state.desk.is_warm.set()  # no lifespan runs here, which would warm it
    desk = TestClient(application, base_url="http://127.0.0.1:8740", client=("127.0.0.1", 5))
    title = "What has moved since the last visit"
    try:
        first = desk.get("/organ/1", headers=HTML).text
        assert title not in first
        assert "on its way" in first  # the page fetches its parts at once
        part = desk.get("/organ/1", headers={**HTML, "walkboard-part": "ranks"}).text
        assert "Trumpet" in part[part.index(title) :][:400]
        assert title in desk.get("/organ/1", headers=HTML).text
    finally:
        application.state.desk.book.close()
