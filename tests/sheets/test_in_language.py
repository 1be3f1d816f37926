"""Every sheet in German and French: no English is left but what people wrote.

The test's language writes each letter in its wide form, so that whatever is printed in plain
letters has come past the translations.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from datetime import date
from functools import cache
from typing import Any

import pytest
from builders import words

from tests.sheets.test_outlook import EVENTS, TODAY
from tests.sheets.visits import (
    DAY,
    condition,
    facts,
    hall_organ,
    reading,
    readings_of,
    text,
    unspaced,
    village_organ,
    work,
)
from walkboard.languages import spoken, translation
from walkboard.listening.types import ReadingFlag
from walkboard.organ.model import Organ, PipeRef
from walkboard.planning.complete import complete_tuning
from walkboard.sheets import typesetting
from walkboard.sheets.complete import complete_sheet
from walkboard.sheets.console_card import console_card
from walkboard.sheets.drift_chart import Band, DriftCourse
from walkboard.sheets.key_sheet import key_sheet
from walkboard.sheets.outlook import outlook_sheet
from walkboard.sheets.report import visit_report
from walkboard.sheets.typesetting import render_pdf
from walkboard.sheets.values import Fault, Ticked, TickState, Work
from walkboard.sheets.wording import temperament_words
from walkboard.sheets.worklist import worklist_sheet
from walkboard.survey.plan.make_survey import plan_survey

LETTERS = [chr(code) for start in "Aa" for code in range(ord(start), ord(start) + 26)]
WIDE = str.maketrans({letter: chr(ord(letter) + 0xFEE0) for letter in LETTERS})
COMMON = {"min", "Great", "Swell", "Pedal", "Choir"}  # units, and names of divisions
CODES = {"language", "stops", "state", "move", "address", "square", "words", "marks"}
SAID = "The blower hums"


def wide(words_: str) -> str:
    parts = re.split(r"(\{[^}]*\})", words_)
    return "".join(part if part.startswith("{") else part.translate(WIDE) for part in parts)


NAMES = ["worklist", "report", "bare report", "keys", "outlook", "complete", "card"]


@cache
def sheets() -> dict[str, object]:
    organ, hall = village_organ(), hall_organ()
    pipes = [("great.open8:19", -7.2), ("swell.oboe8:7", 12.0), ("great.fifteenth2:40", 31.0)]
    planned = work(organ, pipes, 1.5)
    ticks = (
        Ticked(PipeRef.parse("great.open8:19"), TickState.DONE),
        Ticked(PipeRef.parse("swell.oboe8:7"), TickState.SKIPPED),
    )
    ticked = Work(planned.plan, ticks)
    visit = facts(organ, event_air_celsius=21.0, wind_mm={"great": 70.0}, closing_note=SAID)
    heard = readings_of(organ.rank("great.open8"), 0.4)
    heard += [reading(PipeRef("swell.oboe8", n), 6.0 * n, ReadingFlag.UNSTEADY) for n in (1, 2, 9)]
    heard += [
        reading(PipeRef("swell.oboe8", n), None, flag) for n, flag in enumerate(ReadingFlag, 10)
    ]
    faults = [
        Fault("cipher", "Oboe 8", SAID, DAY),
        Fault("dead note", "", SAID, DAY, date(2026, 3, 20), SAID),
    ]
    report = visit_report(
        organ,
        visit,
        heard,
        condition=condition(organ),
        work=ticked,
        faults=faults,
        silent=[PipeRef("great.open8", 2)],
    )
    course = DriftCourse("Great", (Band(TODAY, -1.0, 0.0, 1.0),), (), 20.0)
    made = (
        worklist_sheet(organ, visit, ticked),
        report,
        visit_report(organ, facts(organ, air_celsius={}), []),
        key_sheet(organ, plan_survey(organ, minutes=10.0), DAY),
        outlook_sheet(hall, TODAY, EVENTS, [course], visits=3, visit_minutes=120.0),
        complete_sheet(organ, complete_tuning(organ, 120.0), DAY),
        console_card(organ.name, "http://10.0.0.2/report/x", "<svg/>", DAY),
    )
    return dict(zip(NAMES, made, strict=True))


def names(organ: Organ) -> set[str]:
    given = " ".join(
        [organ.name, *(r.name for r in organ.ranks), *(s.name for s in organ.stops),
         *(d.name for d in organ.divisions), temperament_words(organ.temperament.name), SAID,
         "Before the harvest festival", *(one.occasion.title for one in EVENTS)]
    )  # fmt: skip
    return set(re.findall(r"[A-Za-z]{3,}", given))


def seen(value: Any, at: str = "") -> Iterator[str]:
    if isinstance(value, str):
        svg = re.findall(r">([^<>]+)<", value) if value.startswith("<svg") else [value]
        yield from svg
    elif isinstance(value, list):
        for item in value:
            yield from seen(item, at)
    elif isinstance(value, dict):
        for name, item in value.items():
            if name not in CODES and name != "front":
                yield from seen(item, name)


@pytest.fixture
def in_wide_letters(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[dict[str, Any]]]:
    drawn: list[dict[str, Any]] = []

    def typeset(_: str, sheet: str, __: str | None = None) -> bytes:
        drawn.append(json.loads(sheet))
        return b""

    monkeypatch.setattr(spoken, "language", lambda: "wide")
    monkeypatch.setattr(typesetting, "language", lambda: "wide")
    monkeypatch.setattr(
        translation, "sentences", lambda _: {text: wide(text) for text in words.sentences()}
    )
    monkeypatch.setattr(typesetting, "_typeset", typeset)
    yield drawn
    translation._known.cache_clear()
    translation._read.cache_clear()


@pytest.mark.parametrize("name", NAMES)
def test_no_english_is_left(name: str, in_wide_letters: list[dict[str, Any]]) -> None:
    known = names(village_organ()) | names(hall_organ()) | COMMON
    render_pdf(sheets()[name])
    shown = in_wide_letters[-1]
    if "front" in shown:
        del shown["title"]  # page 1 has its own texts in each language
    texts = [*seen(shown), *shown["words"].values()]
    assert len(texts) > 8
    assert [t for t in texts if set(re.findall(r"[A-Za-z]{3,}", t)) - known] == []


@pytest.mark.parametrize(
    ("language", "said"),
    [
        ("de", ("Bevor Sie ins Gehäuse gehen", "Stimmring", "tiefer", "7,2 zu tief", "Seite 1")),
        ("fr", ("Avant d'entrer dans le buffet", "bague", "plus haut", "7,2 trop bas", "page 1")),
    ],
)
def test_a_worklist_is_printed_in_the_language(language: str, said: tuple[str, ...]) -> None:
    organ = village_organ()
    sheet = worklist_sheet(organ, facts(organ), work(organ, [("great.open8:19", -7.2)], 1.5))
    with spoken.speaking(language):
        printed = unspaced(text(render_pdf(sheet)))
    for words_ in said:
        assert unspaced(words_) in printed
    assert "sharper" not in printed
    assert unspaced("Before the harvest festival") in printed  # the purpose is the tuner's own


@pytest.mark.parametrize("name", NAMES)
def test_every_sheet_can_be_drawn(name: str) -> None:
    with spoken.speaking("fr"):
        assert render_pdf(sheets()[name]).startswith(b"%PDF")
