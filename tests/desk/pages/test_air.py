"""The logged air on the desk: a logger's file asked about, kept, charted, and what is to come."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import pytest
from starlette.testclient import TestClient

from tests.condition.heating.churches import a_winter
from tests.desk.conftest import Open, Server
from tests.desk.looking import look_at
from walkboard.book.venue.records import OUTDOORS
from walkboard.desk.background.uploads import Upload, Uploads
from walkboard.desk.server.application import make_application
from walkboard.desk.text.catalogue import say
from walkboard.work.snapshot import opened_to_see

NOW = datetime.now(UTC).replace(minute=0, second=0, microsecond=0)


def logged(
    offset: float = 0.0, *, head: str = "time,battery,nave °F,hum", days_back: float = 0
) -> str:
    """A winter of an invented church in degrees Fahrenheit, ending now."""
    winter = a_winter(4, heat_ups=7)
    begin = NOW - timedelta(hours=float(winter.hours[-1]), days=days_back)
    rows = []
    for n, (hour, air) in enumerate(zip(winter.hours[::6], winter.organ_celsius[::6], strict=True)):
        at = begin + timedelta(hours=float(hour))
        fahrenheit = 1.8 * (air + offset) + 32.0
        rows.append(f"{at:%Y-%m-%dT%H:%M:%S}Z,3.1,{fahrenheit:.2f},{55 + n % 5}")
    return "\n".join([head, *rows, "Battery low,,,"])


def send(page, text: str, place: str, name: str = "nave.csv") -> None:
    page.select_option("#send select[name=place]", place)
    page.set_input_files(
        "#send input[type=file]",
        {"name": name, "mimeType": "text/csv", "buffer": text.encode()},
    )
    page.click("#send button")


def test_a_loggers_file_is_shown_as_understood_corrected_and_kept(
    own_server: Server, open_page: Open
) -> None:
    page = open_page(f"{own_server.address}/organ/1/air")
    assert say("air.empty_title") in page.inner_text("main")
    send(page, logged(), "great")
    page.wait_for_url("**/air/file/*")
    understood = page.inner_text("#understood")
    assert "Temperature from column 3 in °F" in understood
    assert "1 line was not a reading" in understood
    with opened_to_see(own_server.book) as book:
        assert book.air_logs(1) == ()  # nothing is kept before it is confirmed
    # The sender knows better: the column is in °C, and the clock was an hour slow.
    page.select_option("select[name=unit]", "C")
    page.fill("input[name=shift]", "60")
    page.click("#again")
    page.wait_for_selector("#understood >> text=in °C")
    page.select_option("select[name=unit]", "F")
    page.fill("input[name=shift]", "0")
    look_at(page, "air-file")
    page.click("#keep button.main")
    page.wait_for_url("**/air")
    with opened_to_see(own_server.book) as book:
        (log,) = book.air_logs(1)
        assert (log.place, log.file_name) == ("great", "nave.csv")
        assert min(log.celsius) > 0.0
        assert max(log.celsius) < 35.0
    # The same again, an hour later: it takes the other's place.
    send(page, logged(), "great")
    page.wait_for_url("**/air/file/*")
    page.fill("input[name=shift]", "60")
    page.select_option("select[name=in_place_of]", str(log.id))
    page.click("#keep button.main")
    page.wait_for_url("**/air")
    with opened_to_see(own_server.book) as book:
        (corrected,) = book.air_logs(1)
        assert corrected.starts_at == log.starts_at + timedelta(hours=1)


def test_the_page_shows_charts_the_forecast_and_what_it_means(
    own_server: Server, open_page: Open
) -> None:
    winter = a_winter(4, heat_ups=7)
    with opened_to_see(own_server.book) as book:
        for event in book.events(1):
            book.cancel_event(1, event.uid)
        celsius = float(winter.organ_celsius.max()) - 1.0
        book.keep_event(1, "one", NOW + timedelta(days=2), "Recital", air_celsius=celsius)
    page = open_page(f"{own_server.address}/organ/1/air")
    send(page, logged(0.5), "swell", "swell.csv")
    page.click("#keep button.main")
    page.wait_for_url("**/air")
    assert page.locator("figure.air svg").count() >= 1
    rows = page.locator("main table tbody tr").all_inner_texts()
    assert len(rows) == 8  # two divisions, four times each
    assert all("%" in row and "–" in row for row in rows)
    assert "Next event: Recital" in page.inner_text("main")
    assert "switch on" in page.inner_text("main")
    look_at(page, "air")
    page.goto(f"{own_server.address}/organ/1/air?outdoors=warm")
    assert "no temperature" in page.inner_text("main [role=alert]")


def test_the_page_is_german_for_those_who_read_german(own_server: Server, open_page: Open) -> None:
    page = open_page(f"{own_server.address}/organ/1/air")
    page.locator("details.choices summary").click()
    page.select_option("select[name=language]", "de")
    page.click("details.choices button")
    page.goto(f"{own_server.address}/organ/1/air")
    assert "Was kommt" in page.inner_text("main")
    assert "in 8 von 10 Fällen" in page.inner_text("main")
    send(page, logged(), "great", "noch.csv")
    page.wait_for_url("**/air/file/*")
    assert "Temperatur aus Spalte 3 in °F" in page.inner_text("#understood")


def test_what_is_no_log_is_refused_on_the_page(own_server: Server, open_page: Open) -> None:
    page = open_page(f"{own_server.address}/organ/1/air")
    send(page, "dear organist,\nsee you soon\n", OUTDOORS, "letter.txt")
    assert "not a readable air log" in page.inner_text("main [role=alert]")


@pytest.fixture(scope="module")
def at_home(own_server: Server) -> Iterator[TestClient]:
    made = make_application(own_server.book)
    with TestClient(made, base_url="http://127.0.0.1:8740", client=("127.0.0.1", 5)) as desk:
        yield desk


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"shift": "late"}, "no number of minutes"),
        ({"shift": "1e12"}, "not that far out"),
        ({"shift": "nan"}, "not that far out"),
        ({"column": "-1"}, "no number of a column"),
        ({"column": "7"}, "not a readable air log"),
        ({"in_place_of": "999"}, "log 999"),
    ],
)
def test_odd_answers_keep_nothing(
    own_server: Server, at_home: TestClient, fields: dict[str, str], words: str
) -> None:
    own = {"Origin": "http://127.0.0.1:8740"}
    file = {"file": ("b.csv", logged(1.0))}
    sent = at_home.post("/organ/1/air", data={"place": "great"}, files=file, headers=own)
    address = str(sent.url)
    assert "/air/file/" in address
    with opened_to_see(own_server.book) as book:
        before = book.air_logs(1)
    answer = at_home.post(address, data=fields, headers=own)
    assert answer.status_code == 400
    assert words in answer.text
    with opened_to_see(own_server.book) as book:
        assert book.air_logs(1) == before


def test_only_a_few_files_wait_and_each_for_its_own_organ() -> None:
    uploads = Uploads()
    tokens = [uploads.keep(Upload(1, f"{n}", "great", b"x")) for n in range(10)]
    assert [uploads.get(t, 1) is not None for t in tokens] == [False] * 2 + [True] * 8
    assert uploads.get(tokens[-1], 2) is None
    uploads.drop(tokens[-1])
    assert uploads.get(tokens[-1], 1) is None
    large = [uploads.keep(Upload(1, "big", "great", bytes(40 << 20))) for _ in range(2)]
    assert [uploads.get(t, 1) is not None for t in large] == [False, True]
