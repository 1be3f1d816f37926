"""The visit, from arrival to closing: its doors; each step's work is in a module of its own."""

from __future__ import annotations

from walkboard.desk.frame.page import Door, Page
from walkboard.desk.pages.visit import arrival, closing, listening, plan, second_thoughts, work

_AT = "/organ/{organ:int}/visit"

PAGE = Page(
    "visit",
    (
        Door(_AT, arrival.visit),
        Door(f"{_AT}/open", arrival.open_visit, ("POST",)),
        Door(f"{_AT}/arrival", arrival.arrival, ("GET", "POST")),
        Door(f"{_AT}/listen", listening.listening),
        Door(
            f"{_AT}/recordings",
            listening.take_in,
            ("POST",),
            largest_bytes=listening.LARGEST_RECORDING_BYTES,
        ),
        Door(f"{_AT}/coming/{{coming}}/again", listening.hear_again, ("POST",)),
        Door(f"{_AT}/coming/{{coming}}/away", listening.put_away, ("POST",)),
        Door(f"{_AT}/recordings/{{recording:int}}/accept", second_thoughts.accept, ("POST",)),
        Door(f"{_AT}/recordings/{{recording:int}}/label", second_thoughts.label, ("POST",)),
        Door(f"{_AT}/recordings/{{recording:int}}/withdraw", second_thoughts.withdraw, ("POST",)),
        Door(f"{_AT}/fault", listening.make_fault, ("POST",)),
        Door(f"{_AT}/plan", plan.plan),
        Door(f"{_AT}/plan/try", plan.try_plan),
        Door(f"{_AT}/plan/keep", plan.keep_plan, ("POST",)),
        Door(f"{_AT}/work", work.work),
        Door(f"{_AT}/close", closing.closing),
        Door(f"{_AT}/close/now", closing.close, ("POST",)),
        Door(f"{_AT}/{{visit:int}}/closed", closing.closed),
        Door(f"{_AT}/{{visit:int}}/{{sheet}}.pdf", closing.sheet),
    ),
    place="/organ/{organ}/visit",
    rank=30,
)
