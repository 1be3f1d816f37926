"""The pages of the desk, one module each; the desk serves this list."""

from __future__ import annotations

from walkboard.desk.frame.page import Page
from walkboard.desk.pages import (
    air,
    bearings,
    book,
    calendar,
    card,
    description,
    faults,
    guide,
    holding,
    kept,
    live,
    organ,
    pair,
    pipe,
    practice,
    rank,
    report,
    rounds,
    sharing,
    start,
    stop_list,
    ticking,
    venue,
)
from walkboard.desk.pages.visit import doors

PAGES: tuple[Page, ...] = (
    start.PAGE,
    organ.PAGE,
    description.PAGE,
    stop_list.PAGE,
    rank.PAGE,
    doors.PAGE,
    pipe.PAGE,
    holding.PAGE,
    live.PAGE,
    bearings.PAGE,
    faults.PAGE,
    report.PAGE,
    venue.PAGE,
    rounds.PAGE,
    card.PAGE,
    calendar.PAGE,
    air.PAGE,
    book.PAGE,
    guide.PAGE,
    sharing.PAGE,
    pair.PAGE,
    practice.PAGE,
    ticking.PAGE,
    kept.PAGE,
)
