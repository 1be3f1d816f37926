"""Writes the guide: a folder with a page that plays the stops, and the tuning files."""

from __future__ import annotations

import base64
import io
import json
import tomllib
from collections.abc import Callable, Sequence
from functools import cache
from html import escape
from importlib.resources import files
from pathlib import Path
from string import Template
from typing import TYPE_CHECKING, Any

import numpy as np

from walkboard.book.records import KeptVisit
from walkboard.errors import InputError
from walkboard.organ.model import Organ
from walkboard.sheets.front_page.news import Language
from walkboard.sheets.front_page.phrases import Phrases, phrases
from walkboard.sheets.keyholder import stop_words
from walkboard.work.guide.clips import RATE_HZ, Clip
from walkboard.work.guide.figures import SAME_BRIGHTER_DB, SAME_LOUDER_DB
from walkboard.work.guide.gather import GuideStop, PlayedKey, Session, gather
from walkboard.work.guide.lessons import clips_near, lesson_stops
from walkboard.work.guide.tuning import measured_tunings, tuning_files
from walkboard.work.write_files import write_file

if TYPE_CHECKING:
    from walkboard.book.keeping import Book

PAGE, LESSONS = "index.html", "lessons.html"
_PEAK = 10.0 ** (
    -15.0 / 20.0
)  # peak of the loudest clip: several stops and keys sound at once. Chosen.


def write_guide(
    book: Book,
    organ: Organ,
    visit: KeptVisit,
    to: Path,
    *,
    with_sound: bool = True,
    without: Sequence[str] = (),
    rights: str = "",
    language: Language = Language.ENGLISH,
    progress: Callable[[float, float], None] = lambda _done, _all: None,
) -> Path:
    """Write the guide of one visit's recordings.

    Parameters
    ----------
    book : Book
    organ : Organ
    visit : KeptVisit
    to : Path
        Folder; created if necessary. Files with the same names are replaced.
    with_sound : bool
        False: without clips.
    without : sequence of str
        Ids of stops whose clips are left out.
    rights : str
        Who owns the sounds and what may be done with them, in the owner's words.
    language : Language
    progress : callable
        Called with the stops done and the total.

    Returns
    -------
    Path
        The page.

    Raises
    ------
    InputError
        If no stop was recorded alone, or the folder cannot be written.
    UnknownNameError
        If a stop to leave out is not in the organ.
    """
    for stop in without:
        organ.stop(stop)
    session = gather(
        book,
        organ,
        visit,
        with_sound=with_sound,
        without=frozenset(without),
        progress=progress,
    )
    made = tuning_files(measured_tunings(book, organ, visit, session.air_celsius))
    try:
        to.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(
            f"The folder cannot be created: {error.strerror}.",
            where=str(to),
            fix="Choose another place.",
        ) from None
    for name, data in made.items():
        write_file(data, to / name, what="tuning")
    if any(stop.clips for stop in session.stops):
        write_file(
            lessons_page(organ, visit, session, language).encode(), to / LESSONS, what="page"
        )
    page = guide_page(organ, visit, session, tunings=sorted(made), rights=rights, language=language)
    return write_file(page.encode(), to / PAGE, what="page")


def guide_page(
    organ: Organ,
    visit: KeptVisit,
    session: Session,
    *,
    tunings: Sequence[str],
    rights: str = "",
    language: Language = Language.ENGLISH,
) -> str:
    """The page as one self-contained HTML file."""
    gain = one_gain(session)
    stops = [_stop_data(organ, stop, stop.clips, gain) for stop in session.stops]
    has_sound = any(stop.clips for stop in session.stops)
    own, common = guide_phrases(language), phrases(language)
    link = f'<p><a href="{LESSONS}">{escape(own.say("lessons_link"))}</a></p>'
    words = {
        name: escape(own.say(name))
        for name in ("stops", "compared", "keyboard", "volume", "keep_down", "silence", "keys")
    }
    air = common.celsius(session.air_celsius)
    return Template(_part("guide.html")).substitute(
        words,
        language=language.value,
        organ=escape(organ.name),
        title=escape(own.say("title", organ=organ.name)),
        intro=escape(own.say("intro", day=common.day(visit.opened_at.date()), air=air)),
        rights=escape(rights or own.say("ask")),
        divisions=_divisions(organ, session, {s["id"]: s for s in stops}, language),
        tuning=escape(own.say("tuning")),
        tunings=_links(tunings, session, language),
        lessons=link if has_sound else "",
        style=_part("guide.css"),
        script=_part("player.js") + _part("guide.js"),
        data=_json(_script_words(language) | {"stops": stops}),
    )


def lessons_page(
    organ: Organ, visit: KeptVisit, session: Session, language: Language = Language.ENGLISH
) -> str:
    """The experiments page as one self-contained HTML file."""
    gain = one_gain(session)
    stops = [
        _stop_data(organ, stop, clips_near(stop), gain) | about
        for stop, about in lesson_stops(organ, session)
    ]
    own = guide_phrases(language)
    gaps = {"organ": organ.name, "day": phrases(language).day(visit.opened_at.date())}
    words = {name: escape(text.format(**gaps)) for name, text in own.texts["lessons"].items()}
    words |= {name: escape(own.say(name)) for name in ("volume", "silence", "all_stops")}
    return Template(_part("lessons.html")).substitute(
        words,
        language=language.value,
        celsius=f"{round(2.0 * session.air_celsius) / 2.0:g}",
        style=_part("guide.css"),
        script=_part("player.js") + _part("lessons.js"),
        data=_json(
            _script_words(language) | {"celsius": session.air_celsius, "stops": stops},
        ),
    )


@cache
def guide_phrases(language: Language) -> Phrases:
    """The words of the guide in a language."""
    file = files("walkboard.work.guide").joinpath("languages", f"{language.value}.toml")
    return Phrases(language, tomllib.loads(file.read_text(encoding="utf-8")))


def _script_words(language: Language) -> dict[str, Any]:
    return {
        "words": guide_phrases(language).texts["script"],
        "decimal": phrases(language).say("decimal"),
    }


def _part(name: str) -> str:
    folder = files("walkboard.work.guide").joinpath("page")
    return folder.joinpath(name).read_text(encoding="utf-8")


def _json(data: object) -> str:
    """Data for a script element, escaped so that no end tag in it ends the element."""
    return json.dumps(data, ensure_ascii=False).replace("</", "<\\/")


def one_gain(session: Session) -> float:
    """One factor for all clips, so that stops keep their relative loudness."""
    peaks = [
        float(np.max(np.abs(played.clip.samples), initial=0.0))
        for stop in session.stops
        for played in stop.clips
    ]
    peak = max(peaks, default=0.0)
    return _PEAK / peak if peak > 0.0 else 1.0


def opus(clip: Clip, gain: float) -> bytes:
    """A clip as Ogg Opus (RFC 7845)."""
    import soundfile

    stream = io.BytesIO()
    soundfile.write(stream, clip.samples * gain, RATE_HZ, format="OGG", subtype="OPUS")
    return stream.getvalue()


def _stop_data(
    organ: Organ, stop: GuideStop, clips: Sequence[PlayedKey], gain: float
) -> dict[str, Any]:
    return {
        "id": stop.stop.id,
        "name": f"{stop_words(organ, stop.stop)} ({stop.division})",
        "hz": {str(key): round(hz, 5) for key, hz in stop.hz.items()},
        "clips": [
            {
                "key": played.key,
                "hz": round(played.hz, 5),
                "from": played.clip.loop_start / RATE_HZ,
                "to": played.clip.loop_end / RATE_HZ,
                "opus": base64.b64encode(opus(played.clip, gain)).decode("ascii"),
            }
            for played in clips
        ],
    }


def _divisions(
    organ: Organ, session: Session, data: dict[str, dict[str, Any]], language: Language
) -> str:
    parts = []
    for division in organ.divisions:
        stops = [s for s in session.stops if s.stop.division == division.id]
        if not stops:
            continue
        rows = "\n".join(
            _row(organ, stop, language, plays=bool(data[stop.stop.id]["clips"])) for stop in stops
        )
        parts.append(
            f'<section aria-labelledby="d-{escape(division.id)}">\n'
            f'<h3 id="d-{escape(division.id)}">{escape(division.name)}</h3>\n'
            f'<ul class="stops">\n{rows}\n</ul>\n</section>'
        )
    return "\n".join(parts)


def _row(organ: Organ, stop: GuideStop, language: Language, *, plays: bool) -> str:
    name = escape(stop_words(organ, stop.stop))
    said = _facts(stop, language)
    if not plays:
        said.append(guide_phrases(language).say("no_sound"))
        facts = ", ".join(escape(fact) for fact in said)
        return f'<li><span class="name">{name}</span> <span class="facts">{facts}</span></li>'
    facts = ", ".join(escape(fact) for fact in said)
    return (
        f'<li><label><input type="checkbox" value="{escape(stop.stop.id)}"> '
        f'<span class="name">{name}</span></label> <span class="facts">{facts}</span></li>'
    )


def _facts(stop: GuideStop, language: Language) -> list[str]:
    from walkboard.scales.keys import Key

    own, common = guide_phrases(language), phrases(language)

    def key(semitone: int) -> str:
        return common.key(Key(semitone).name)

    facts = []
    if stop.hz:
        facts.append(own.say("from_to", first=key(min(stop.hz)), last=key(max(stop.hz))))
        middle = min(stop.hz, key=lambda one: abs(one - 69))
        hz = _decimal(f"{stop.hz[middle]:.1f}", common)
        facts.append(own.say("at_hz", key=key(middle), hz=hz))
    if stop.figures is not None:
        louder, brighter = stop.figures.louder_db, stop.figures.brighter_db
        names = ("louder", "softer", "as_loud")
        facts.append(_against(louder, SAME_LOUDER_DB, names, own))
        if brighter is not None:
            names = ("brighter", "darker", "as_bright")
            facts.append(_against(brighter, SAME_BRIGHTER_DB, names, own))
    return facts


def _against(value: float, same: float, names: tuple[str, str, str], own: Phrases) -> str:
    """In words, and in whole decibels: positions do not agree more finely."""
    more, less, alike = names
    if abs(value) < same:
        return own.say(alike)
    return own.say(more if value > 0.0 else less, by=f"{value:+.0f}".replace("-", "−"))


def _decimal(text: str, common: Phrases) -> str:
    return text.replace(".", common.say("decimal"))


def _links(tunings: Sequence[str], session: Session, language: Language) -> str:
    own = guide_phrases(language)
    if not tunings:
        return f"<p>{escape(own.say('no_tuning'))}</p>"
    items = "".join(f'<li><a href="{escape(n)}" download>{escape(n)}</a></li>' for n in tunings)
    said = own.say("tuning_words", air=phrases(language).celsius(session.air_celsius))
    return f"<p>{escape(said)}</p>\n<ul>{items}</ul>"
