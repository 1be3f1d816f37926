"""Builds page 1: answers every question, or says the answer is unknown, in at most 200 words."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from walkboard.sheets.front_page.news import (
    Answer,
    FaultNews,
    FrontPage,
    Language,
    Question,
    Section,
    VenueNews,
)
from walkboard.sheets.front_page.phrases import Phrases, phrases
from walkboard.sheets.wording import BOUND

MOST_WORDS = 200
# How many names are listed, and how many letters of people's own texts are kept: the first pair
# that keeps the page within its limit. Chosen; the last fits any book.
_ROOMS = ((3, 60), (2, 45), (1, 30), (1, 15))
_SAME_CELSIUS = 0.5  # an inaudible difference; chosen: 1.5 cents of flues against reeds
# Relative humidity in which organs are usually kept: 40 to 60 % (facts of the trade: a panel of an
# organists' guild) up to 65 % (United Kingdom practice). Outside it, the adviser is asked.
_DRY, _DAMP = 0.40, 0.65


def front_page(news: VenueNews, language: Language = Language.ENGLISH) -> FrontPage:
    """Page 1 of the report.

    Parameters
    ----------
    news : VenueNews
    language : Language
        Stops, titles and people's own texts stay as written.
    """
    for names, letters in _ROOMS:
        page = _page(news, _Words(phrases(language), names, letters))
        if sum(any(c.isalnum() for c in part) for part in page.words.split()) <= MOST_WORDS:
            break
    return page


@dataclass(frozen=True)
class _Words:
    """A language's texts, and how much of people's own texts fits.

    Attributes
    ----------
    phrases : Phrases
    names : int
        In a row.
    letters : int
        Longest text a person may write.
    """

    phrases: Phrases
    names: int
    letters: int

    def say(self, name: str, /, **values: object) -> str:
        return self.phrases.say(name, **values)

    def listed(self, names: Sequence[str]) -> str:
        return self.phrases.listed([_together(name) for name in names], self.names)

    def short(self, text: str) -> str:
        """Someone's own text on one line, cut at a word if long, without a final full stop."""
        plain = " ".join(text.split()).rstrip(".")
        if len(plain) <= self.letters:
            return plain
        return plain[: self.letters].rsplit(" ", 1)[0].rstrip(",;:") + " …"


def _page(news: VenueNews, words: _Words) -> FrontPage:
    return FrontPage(
        language=words.phrases.language,
        title=words.say("title", organ=news.organ, day=words.phrases.day(news.day)),
        day=news.day,
        organ=news.organ,
        sections=(
            Section(words.say("section.ready"), _ready(news, words)),
            Section(words.say("section.done"), _done(news, words)),
            Section(words.say("section.wrong"), _wrong(news, words)),
            Section(words.say("section.ask"), _ask(news, words)),
            Section(words.say("section.next"), _next(news, words)),
        ),
    )


def _ready(news: VenueNews, words: _Words) -> tuple[Answer, ...]:
    event = news.event
    if event is None:
        asked = (Question.READY, Question.WHICH_EVENT, Question.WHAT_HEARD, Question.NOT_HEARD)
        return (Answer(asked, words.say("event.none"), is_known=False),)
    ready, heard = (Question.READY,), Question.WHAT_HEARD
    answers = []
    if event.is_ready is None:
        answers.append(Answer((*ready, heard), words.say("ready.unknown"), is_known=False))
    elif not event.is_ready:
        answers.append(Answer(ready, words.say("ready.no")))
    else:
        how = "faulty" if event.is_faulty else "yes"
        answers.append(Answer((*ready, heard), words.say(f"ready.{how}")))
    when = {
        "title": words.short(event.title),
        "day": words.phrases.day(event.at),
        "time": words.phrases.time(event.at),
    }
    if event.celsius is None:
        answers.append(Answer((Question.WHICH_EVENT,), words.say("event.no_celsius", **when)))
    else:
        said = words.say("event.next", **when, celsius=words.phrases.celsius(event.celsius))
        answers.append(Answer((Question.WHICH_EVENT,), said))
    if event.is_ready is False:
        stops = words.listed(event.weakest)
        answers.append(Answer((heard,), words.say("heard.sour", stops=stops)))
    if event.not_heard:
        said = words.say("not_heard.some", stops=words.listed(event.not_heard))
    else:
        said = words.say("not_heard.none")
    answers.append(Answer((Question.NOT_HEARD,), said))
    return tuple(answers)


def _done(news: VenueNews, words: _Words) -> tuple[Answer, ...]:
    if news.tuned:
        stops = words.listed(news.tuned_stops)
        done = Answer((Question.DONE,), words.say("done.some", n=news.tuned, stops=stops))
    else:
        done = Answer((Question.DONE,), words.say("done.none"))
    both = (Question.LEFT, Question.WHY_LEFT)
    if not news.was_planned:
        return done, Answer(both, words.say("left.unplanned"))
    if not news.left:
        return done, Answer(both, words.say("left.none"))
    if news.left_reason:
        why = words.say("left.reason", reason=words.short(news.left_reason))
    else:
        why = words.say("left.open" if news.is_open else "left.time")
    left = words.say("left.some", n=news.left)
    return done, Answer((Question.LEFT,), left), Answer((Question.WHY_LEFT,), why)


def _wrong(news: VenueNews, words: _Words) -> tuple[Answer, ...]:
    asked = (Question.WRONG, Question.AROUND, Question.WHO, Question.BEFORE)
    if not news.faults:
        return (Answer(asked, words.say("wrong.none")),)
    # One in full: recurring faults before new ones. The others are listed below.
    first = max(news.faults, key=lambda fault: fault.times)
    answers = [
        Answer((Question.WRONG, Question.BEFORE), _fault(first, words)),
        _around(first, words),
    ]
    if first.who:
        said = words.say("who.known", who=words.short(first.who))
        answers.append(Answer((Question.WHO,), said))
    else:
        answers.append(Answer((Question.WHO,), words.say("who.unknown"), is_known=False))
    if len(news.faults) > 1:
        said = words.say("wrong.more", n=len(news.faults) - 1)
        answers.append(Answer((Question.WRONG,), said))
    return tuple(answers)


def _fault(fault: FaultNews, words: _Words) -> str:
    key = words.phrases.key(fault.key) if fault.key else ""
    if fault.stop and key:
        place = words.say("wrong.place", stop=_together(fault.stop), key=key)
    elif key:
        place = words.say("wrong.key", key=key)
    elif fault.stop:
        place = (
            f"{fault.stop}{BOUND}:"
            if words.phrases.language is Language.FRENCH
            else f"{fault.stop}:"
        )
    else:
        place = words.say("wrong.organ")
    values = {"place": place, "kind": words.phrases.texts["kind"][fault.kind]}
    if fault.times < 2:
        return words.say("wrong.once", **values)
    return words.say("wrong.again", **values, times=fault.times, since=fault.since)


def _around(fault: FaultNews, words: _Words) -> Answer:
    asked = (Question.AROUND,)
    if fault.meanwhile:
        return Answer(asked, words.say("around.known", meanwhile=words.short(fault.meanwhile)))
    if fault.stop:
        return Answer(asked, words.say("around.without"))
    return Answer(asked, words.say("around.unknown"), is_known=False)


def _ask(news: VenueNews, words: _Words) -> tuple[Answer, ...]:
    calendar = None if news.event is None else news.event.celsius
    tuned = news.tuned_for_celsius
    heating = (Question.HEATING,)
    if calendar is None and tuned is None:
        heat = Answer(heating, words.say("ask.no_heat"), is_known=False)
    elif calendar is not None and tuned is not None and abs(calendar - tuned) > _SAME_CELSIUS:
        warm = {"tuned": words.phrases.celsius(tuned), "celsius": words.phrases.celsius(calendar)}
        heat = Answer(heating, words.say("ask.heat_tuned", **warm))
    else:
        wanted = tuned if calendar is None else calendar
        assert wanted is not None
        heat = Answer(heating, words.say("ask.heat", celsius=words.phrases.celsius(wanted)))
    if news.enclosed:
        said = words.say("ask.shutters", division=words.listed(news.enclosed))
    else:
        said = words.say("ask.doors")
    return heat, Answer((Question.CARE,), said), _damp(news.humidity, words)


def _damp(humidity: float | None, words: _Words) -> Answer:
    asked = (Question.CARE,)
    if humidity is None:
        return Answer(asked, words.say("ask.no_humidity"), is_known=False)
    how = "dry" if humidity < _DRY else "damp" if humidity > _DAMP else "humidity"
    return Answer(asked, words.say(f"ask.{how}", percent=round(100.0 * humidity)))


def _next(news: VenueNews, words: _Words) -> tuple[Answer, ...]:
    both = (Question.NEXT, Question.WHY_NEXT)
    visit = news.next_visit
    answers = []
    if visit is None and news.visit_by is not None:
        first, last = (words.phrases.day(day) for day in news.visit_by)
        said = words.say("next.between", first=first, last=last)
        answers.append(Answer(both, said, is_known=False))
    elif visit is None:
        answers.append(Answer(both, words.say("next.none"), is_known=False))
    else:
        when = {"day": words.phrases.day(visit.at), "time": words.phrases.time(visit.at)}
        said = (
            words.say("next.known", **when)
            if visit.hours is None
            else words.say("next.hours", **when, hours=words.phrases.number(visit.hours))
        )
        answers.append(Answer((Question.NEXT,), said[:1].upper() + said[1:]))
        if visit.reason:
            why = words.say("next.reason", reason=words.short(visit.reason))
            answers.append(Answer((Question.WHY_NEXT,), why))
        else:
            said = words.say("next.no_reason")
            answers.append(Answer((Question.WHY_NEXT,), said, is_known=False))
    if news.contact:
        answers.append(Answer((), words.say("next.contact", contact=words.short(news.contact))))
    return tuple(answers)


def _together(name: str) -> str:
    """A stop's name that keeps its feet on the same line."""
    return re.sub(r" (?=\d)", BOUND, name)
