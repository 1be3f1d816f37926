"""Draws the sheets as PDF through Typst: tagged, its own letters only, the same bytes each time."""

from __future__ import annotations

import dataclasses
import json
import re
import tempfile
import unicodedata
from datetime import date
from functools import singledispatch
from importlib.resources import files
from pathlib import Path
from typing import Any

import typst

from walkboard.languages.spoken import language
from walkboard.languages.translation import joint_in, translate
from walkboard.physics.moving import Sense
from walkboard.sheets.chart import draw_chart
from walkboard.sheets.complete import CompleteSheet
from walkboard.sheets.console_card import ConsoleCard
from walkboard.sheets.drift_chart import DriftCourse, draw_drift
from walkboard.sheets.in_language import in_language
from walkboard.sheets.key_sheet import KeySheet
from walkboard.sheets.outlook import OutlookSheet
from walkboard.sheets.plan_chart import draw_plan_curve
from walkboard.sheets.readiness_chart import CalendarChart, draw_readiness
from walkboard.sheets.values import PlanCurve, RankChart, TickState, VisitReport, WorklistSheet

MISSING = "▯"  # stands where the built-in letters have no shape
_BLANKS = re.compile(r"[^\S\u00a0]+")  # but those that keep a number and its unit on one line
_LONG_WORD, _BROKEN_AFTER = 16, 8  # letters of a word that may break, and after how many each
_WITHOUT_SHAPE = re.compile(r'the text `"(.+?)"` could not be displayed', re.DOTALL)
_WORDS = re.compile(r'\bt\("([^"]+)"\)')  # a template's own texts
_CODES = (*Sense, *TickState)  # that templates compare and say
_TRIAL = '#set document(title: "trial"); #set text(font: "Libertinus Serif"); #sys.inputs.sheet'
_TRIAL_PICTURE = '#set document(title: "trial"); #image(sys.inputs.sheet, alt: "trial")'


def render_pdf(sheet: object) -> bytes:
    """A sheet as PDF/UA-1, A4, in the language that is spoken.

    The document's date is the sheet's own day, so that the same sheet gives the same bytes. Texts
    are handed to the templates as data. Characters that Typst's built-in letters cannot show are
    printed as ▯.

    Parameters
    ----------
    sheet : WorklistSheet, KeySheet, VisitReport, OutlookSheet, CompleteSheet or ConsoleCard

    Raises
    ------
    TypeError
        For anything else.
    """
    return _drawn(in_language(sheet))


@singledispatch
def _drawn(sheet: object) -> bytes:
    raise TypeError(f"there is no sheet for {type(sheet).__name__}")


@_drawn.register
def _(sheet: WorklistSheet) -> bytes:
    return _compiled("worklist.typ", _plain(sheet), sheet.day)


@_drawn.register
def _(sheet: KeySheet) -> bytes:
    return _compiled("key_sheet.typ", _plain(sheet), sheet.day)


@_drawn.register
def _(sheet: VisitReport) -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        names = {}
        for number, picture in enumerate(sheet.pictures, 1):
            name = f"{number}.{picture.ending}"
            Path(folder, name).write_bytes(picture.content)
            if _can_draw(name, folder):
                names[name] = picture
        plain = _plain(dataclasses.replace(sheet, pictures=()))
        plain["pictures"] = [
            {"file": f"/{n}", "shows": _printable(p.shows), "rights": _printable(p.rights)}
            for n, p in names.items()
        ]
        plain["undrawn"] = [_printable(p.shows) for p in sheet.pictures if p not in names.values()]
        return _compiled("report.typ", plain, sheet.day, folder=folder)


@_drawn.register
def _(sheet: OutlookSheet) -> bytes:
    return _compiled("outlook.typ", _plain(sheet), sheet.day)


@_drawn.register
def _(sheet: CompleteSheet) -> bytes:
    return _compiled("complete.typ", _plain(sheet), sheet.day)


@_drawn.register
def _(sheet: ConsoleCard) -> bytes:
    data = _plain(sheet) | {"square": sheet.square, "address": sheet.address}
    return _compiled("console_card.typ", data, sheet.day)


def _compiled(
    template: str, data: dict[str, Any], day: date, *, folder: str | None = None
) -> bytes:
    """A template filled in; it may read the files of a folder."""
    templates = files("walkboard.sheets.templates")
    source = "\n".join(
        templates.joinpath(name).read_text(encoding="utf-8") for name in ("frame.typ", template)
    )
    own = {": ": joint_in(language(), ": ")}
    data["words"] = own | {words: translate(words) for words in (*_WORDS.findall(source), *_CODES)}
    data |= {"year": day.year, "month": day.month, "day_of_month": day.day}
    given = json.dumps(data, ensure_ascii=False)
    try:
        return _typeset(source, given, folder)
    except typst.TypstError as error:
        if _WITHOUT_SHAPE.search(str(error)) is None:
            raise
    for letter in _without_shape({letter for letter in given if not letter.isascii()}):
        given = given.replace(letter, MISSING)
    return _typeset(source, given, folder)


def _can_draw(name: str, folder: str) -> bool:
    """Whether a picture can be drawn: a file may begin as one and be broken further on."""
    try:
        _typeset(_TRIAL_PICTURE, f"/{name}", folder)
    except typst.TypstError:
        return False
    return True


def _typeset(source: str, sheet: str, folder: str | None = None) -> bytes:
    # Its stub wants a root of the same type as the source.
    made: bytes = typst.compile(  # type: ignore[call-overload]
        source.encode(),
        root=folder,
        format="pdf",
        sys_inputs={"sheet": sheet},
        ignore_system_fonts=True,
        pdf_standards=["ua-1"],  # PDF/UA-1, ISO 14289-1
    )
    return made


def _without_shape(letters: set[str]) -> set[str]:
    """Those letters that Typst's own fonts cannot show, found by asking it."""
    left = set(letters)
    while left:
        try:
            _typeset(_TRIAL, " ".join(sorted(left)))
        except typst.TypstError as error:
            shown = _WITHOUT_SHAPE.search(str(error))
            refused = left & set(shown.group(1)) if shown else set()
            if not refused:
                raise
            left -= refused
        else:
            break
    return letters - left


def _plain(value: object) -> Any:
    """A value as JSON holds it, its texts fit to print and its charts drawn."""
    if isinstance(value, str):
        return _printable(value)
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    if isinstance(value, RankChart):
        clean = _cleaned(value)
        alt = translate(f"Chart of {clean.heading}: cents against key. {clean.caption}")
        return {
            "heading": clean.heading,
            "caption": clean.caption,
            "alt": alt,
            "svg": draw_chart(clean),
        }
    if isinstance(value, PlanCurve):
        drawn = dataclasses.replace(value, words=_printable(value.words))
        return {
            "heading": _printable(value.heading),
            "caption": _printable(value.caption),
            "alt": _alt(value.heading, value.caption),
            "svg": draw_plan_curve(drawn),
        }
    if isinstance(value, CalendarChart):
        rows = tuple(dataclasses.replace(r, title=_printable(r.title)) for r in value.rows)
        return {
            "heading": _printable(value.heading),
            "alt": _alt(value.heading, value.caption),
            "svg": draw_readiness(dataclasses.replace(value, rows=rows)),
        }
    if isinstance(value, DriftCourse):
        return {
            "title": _printable(value.title),
            "caption": _printable(value.caption),
            "alt": translate(
                f"Chart of {_printable(value.title)} over the visits. {_printable(value.caption)}"
            ),
            "svg": draw_drift(value),
        }
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: _plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, date):
        return value.isoformat()
    return value


def _alt(heading: str, caption: str) -> str:
    return translate(f"Chart: {_printable(heading)}. {_printable(caption)}")


def _cleaned(chart: RankChart) -> RankChart:
    return dataclasses.replace(
        chart,
        heading=_printable(chart.heading),
        caption=_printable(chart.caption),
        points=tuple(dataclasses.replace(p, word=_printable(p.word)) for p in chart.points),
        lines=tuple(dataclasses.replace(li, words=_printable(li.words)) for li in chart.lines),
    )


def _printable(words: str) -> str:
    """Text on one line, without control characters, that can be broken if it is very long."""
    kept = []
    for letter in _BLANKS.sub(" ", words).strip():
        kind = unicodedata.category(letter)
        if kind in {"Cc", "Cf"}:  # controls, and marks that turn the direction of a whole line
            continue
        kept.append(MISSING if kind in {"Cs", "Co", "Cn"} else letter)
    return re.sub(rf"\S{{{_LONG_WORD},}}", _breakable, "".join(kept))


def _breakable(word: re.Match[str]) -> str:
    """A long word with blanks of no width in it, so that a narrow column can hold it."""
    letters = word.group()
    starts = range(0, len(letters), _BROKEN_AFTER)
    return "\u200b".join(letters[start : start + _BROKEN_AFTER] for start in starts)
