"""The pages of the desk, each a module of its own; this list is what the desk serves."""

from __future__ import annotations

from walkboard.desk.page import Page
from walkboard.desk.pages import (
    card,
    description,
    faults,
    organ,
    pair,
    rank,
    report,
    sharing,
    start,
    ticking,
)

PAGES: tuple[Page, ...] = (
    start.PAGE,
    organ.PAGE,
    description.PAGE,
    rank.PAGE,
    faults.PAGE,
    report.PAGE,
    card.PAGE,
    sharing.PAGE,
    pair.PAGE,
    ticking.PAGE,
)
