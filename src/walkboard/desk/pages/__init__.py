"""The pages of the desk, each a module of its own; this list is what the desk serves."""

from __future__ import annotations

from walkboard.desk.page import Page
from walkboard.desk.pages import description, organ, pair, sharing, start, ticking

PAGES: tuple[Page, ...] = (
    start.PAGE,
    organ.PAGE,
    description.PAGE,
    sharing.PAGE,
    pair.PAGE,
    ticking.PAGE,
)
