"""The firm's round in a browser: how to begin, plan, look, take the calendar, plan again."""

from __future__ import annotations

import icalendar

from tests.desk.conftest import Open, Server
from tests.desk.looking import look_at
from walkboard.organ import examples
from walkboard.organ.reading import read_organ
from walkboard.work.rounds.kept_round import FIRM, kept_round

FIRM_TEXT = """
format = 1
tuner = [
  {{name = "Ada & Co", home = "Easton"}},
  {{name = "Ben", home = "Weston", hours_a_week = 20}},
]
town = [
  {{name = "Easton", latitude = 52.0, longitude = 0.0}},
  {{name = "Weston", latitude = 52.1, longitude = -0.7}},
]
organ = [{{name = "{organ}", town = "Weston", hours = 4}}]
"""


def test_a_round_is_planned_looked_at_and_taken_along(own_server: Server, open_page: Open) -> None:
    page = open_page(f"{own_server.address}/organs")
    page.click("text=Plan the round")
    page.wait_for_url("**/round")
    assert FIRM in page.inner_text("main")
    assert page.locator("main button").count() == 0
    look_at(page, "round-empty")

    firm = own_server.book / FIRM
    firm.write_text("format = 1", encoding="utf-8")
    page.reload()
    page.click("button >> text=Plan the round")
    page.wait_for_selector("#round [role=alert]", timeout=60_000)

    name = read_organ(examples.village()).name
    firm.write_text(FIRM_TEXT.format(organ=name), encoding="utf-8")
    page.click("button >> text=Plan the round")
    page.wait_for_selector("table.round tbody tr", timeout=120_000)
    assert name in page.inner_text("table.round")
    made = kept_round(own_server.book)
    assert made is not None
    (visit,) = made.document["visits"]
    assert page.locator(".map svg text", has_text="Weston").count() == 1
    look_at(page, "round")
    with page.expect_download() as started:
        page.click(f"text=Calendar of {visit['tuner']}")
    calendar = icalendar.Calendar.from_ical(started.value.path().read_bytes())
    (event,) = calendar.walk("VEVENT")
    assert event.decoded("DTSTART").isoformat() == visit["week"]

    page.click("button >> text=Plan again")
    page.wait_for_function(
        "before => !document.body.innerText.includes(before)", arg="being planned"
    )
    page.wait_for_selector("button >> text=Plan again", timeout=120_000)
    again = kept_round(own_server.book)
    assert again is not None
    assert (again.document["visits"], again.document["moved"]) == (made.document["visits"], 0)


def test_the_round_is_for_the_desk_alone(own_server: Server, open_page: Open) -> None:
    page = open_page(f"{own_server.address}/organs")
    paired = own_server.pair("phone")
    answer = page.request.get(
        f"{own_server.for_phones}/round", headers={"Cookie": "=".join(paired)}, max_redirects=0
    )
    assert answer.status in {302, 303, 403, 404}
    answer = page.request.get(f"{own_server.address}/round/nobody.ics")
    assert answer.status == 404
