"""The visit, from arrival to closing: its doors; each step's work is in a module of its own."""

from __future__ import annotations

from walkboard.desk.page import Door, Page
from walkboard.desk.pages import (
    visit_arrival,
    visit_closing,
    visit_listening,
    visit_plan,
    visit_work,
)

_AT = "/organ/{organ:int}/visit"

PAGE = Page(
    "visit",
    (
        Door(_AT, visit_arrival.visit),
        Door(f"{_AT}/open", visit_arrival.open_visit, ("POST",)),
        Door(f"{_AT}/arrival", visit_arrival.arrival, ("GET", "POST")),
        Door(f"{_AT}/listen", visit_listening.listening),
        Door(
            f"{_AT}/recordings",
            visit_listening.take_in,
            ("POST",),
            largest_bytes=visit_listening.LARGEST_RECORDING_BYTES,
        ),
        Door(f"{_AT}/coming/{{coming}}/again", visit_listening.hear_again, ("POST",)),
        Door(f"{_AT}/coming/{{coming}}/away", visit_listening.put_away, ("POST",)),
        Door(f"{_AT}/fault", visit_listening.make_fault, ("POST",)),
        Door(f"{_AT}/plan", visit_plan.plan),
        Door(f"{_AT}/plan/try", visit_plan.try_plan),
        Door(f"{_AT}/plan/keep", visit_plan.keep_plan, ("POST",)),
        Door(f"{_AT}/work", visit_work.work),
        Door(f"{_AT}/close", visit_closing.closing),
        Door(f"{_AT}/close/now", visit_closing.close, ("POST",)),
        Door(f"{_AT}/{{visit:int}}/closed", visit_closing.closed),
        Door(f"{_AT}/{{visit:int}}/{{sheet}}.pdf", visit_closing.sheet),
    ),
    place="/organ/{organ}/visit",
    rank=30,
)
