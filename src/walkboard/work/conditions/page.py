"""The logged air as one self-contained HTML file: charts, visits, events, sentences."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from importlib.resources import files
from string import Template

from walkboard.book.records import KeptEvent, KeptVisit
from walkboard.organ.model import Organ
from walkboard.sheets.front_page.news import Language
from walkboard.work.conditions.air_ahead import AirAhead
from walkboard.work.conditions.chart import air_chart, humidity_chart
from walkboard.work.conditions.words import air_phrases, air_words, place_name


def air_page(
    organ: Organ,
    ahead: AirAhead,
    visits: Sequence[KeptVisit],
    events: Sequence[KeptEvent],
    language: Language = Language.ENGLISH,
) -> str:
    """The page.

    Parameters
    ----------
    organ : Organ
    ahead : AirAhead
    visits : sequence of KeptVisit
    events : sequence of KeptEvent
    language : Language
    """
    phrases = air_phrases(language)
    items = "\n".join(f"<li>{escape(one)}</li>" for one in air_words(organ, ahead, language))
    charts = [air_chart(organ, ahead, visits, events, language)]
    for place, band in ahead.humidity.items():
        heading = f"{phrases.say('humidity_title')} ({place_name(organ, place, phrases)})"
        charts.append(f"<h2>{escape(heading)}</h2>")
        charts.append(humidity_chart(organ, place, band, ahead, language))
    text = files("walkboard.work.conditions").joinpath("air.html").read_text(encoding="utf-8")
    return Template(text).substitute(
        language=language.value,
        title=escape(phrases.say("title", organ=organ.name)),
        charts="\n".join(charts),
        says=escape(phrases.say("says")),
        words=items,
    )
