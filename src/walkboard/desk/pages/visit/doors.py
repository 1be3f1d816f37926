"""The visit, from arrival to closing: its doors; each step's work is in a module of its own."""

from __future__ import annotations

from walkboard.desk.frame.page import Door, Page
from walkboard.desk.frame.permissions import Permission
from walkboard.desk.pages.visit import arrival, closing, listening, plan, second_thoughts, work

_AT = "/organ/{organ:int}/visit"

PAGE = Page(
    "visit",
    (
        Door(_AT, arrival.visit, Permission.RECORD),
        Door(f"{_AT}/open", arrival.open_visit, Permission.RECORD, ("POST",)),
        Door(f"{_AT}/arrival", arrival.arrival, Permission.RECORD, ("GET", "POST")),
        Door(f"{_AT}/listen", listening.listening, Permission.RECORD),
        Door(
            f"{_AT}/recordings",
            listening.take_in,
            Permission.RECORD,
            ("POST",),
            largest_bytes=listening.LARGEST_RECORDING_BYTES,
        ),
        Door(f"{_AT}/coming/{{coming}}/again", listening.hear_again, Permission.RECORD, ("POST",)),
        Door(
            f"{_AT}/coming/{{coming}}/accept",
            listening.accept_coming,
            Permission.RECORD,
            ("POST",),
        ),
        Door(f"{_AT}/coming/{{coming}}/away", listening.put_away, Permission.RECORD, ("POST",)),
        Door(
            f"{_AT}/recordings/{{recording:int}}/accept",
            second_thoughts.accept,
            Permission.RECORD,
            ("POST",),
        ),
        Door(
            f"{_AT}/recordings/{{recording:int}}/confirm",
            second_thoughts.confirm,
            Permission.RECORD,
            ("POST",),
        ),
        Door(
            f"{_AT}/recordings/{{recording:int}}/label",
            second_thoughts.label,
            Permission.RECORD,
            ("GET", "POST"),
        ),
        Door(
            f"{_AT}/recordings/{{recording:int}}/withdraw",
            second_thoughts.withdraw,
            Permission.RECORD,
            ("POST",),
        ),
        Door(f"{_AT}/fault", listening.make_fault, Permission.HANDLE_FAULTS, ("POST",)),
        Door(f"{_AT}/plan", plan.plan, Permission.PLAN),
        Door(f"{_AT}/plan/try", plan.try_plan, Permission.PLAN),
        Door(f"{_AT}/plan/keep", plan.keep_plan, Permission.PLAN, ("POST",)),
        Door(f"{_AT}/work", work.work, Permission.TICK),
        Door(f"{_AT}/close", closing.closing, Permission.RECORD),
        Door(f"{_AT}/close/now", closing.close, Permission.RECORD, ("POST",)),
        Door(f"{_AT}/{{visit:int}}/closed", closing.closed, Permission.READ_RECORDS),
        Door(f"{_AT}/{{visit:int}}/{{sheet}}.pdf", closing.sheet, Permission.READ_RECORDS),
    ),
    place="/organ/{organ}/visit",
    rank=30,
)
