"""Writes the guide: a folder with one page that plays the stops, and the tuning files."""

from __future__ import annotations

import base64
import io
import json
from collections.abc import Callable, Sequence
from html import escape
from importlib.resources import files
from pathlib import Path
from string import Template
from typing import TYPE_CHECKING, Any

import numpy as np

from walkboard.book.records import KeptVisit
from walkboard.errors import InputError
from walkboard.organ.model import Organ
from walkboard.sheets.keyholder import stop_words
from walkboard.sheets.wording import celsius, day_words, key_words, signed
from walkboard.work.guide.clips import RATE_HZ, Clip
from walkboard.work.guide.gather import GuideStop, PlayedKey, Session, gather
from walkboard.work.guide.lessons import clips_near, lesson_stops
from walkboard.work.guide.tuning import measured_tunings, tuning_files
from walkboard.work.write_files import write_file

if TYPE_CHECKING:
    from walkboard.book.keeping import Book

PAGE, LESSONS = "index.html", "lessons.html"
_PEAK = 10.0 ** (-15.0 / 20.0)  # of the loudest clip: several stops and keys sound at once. Chosen.
_SAME_DB = 1.0  # nearer than this to the middle is "like most stops"; three times what is measured


def write_guide(
    book: Book,
    organ: Organ,
    visit: KeptVisit,
    to: Path,
    *,
    with_sound: bool = True,
    without: Sequence[str] = (),
    rights: str = "",
    progress: Callable[[float, float], None] = lambda _done, _all: None,
) -> Path:
    """Write the guide of one visit's recordings.

    Parameters
    ----------
    book : Book
    organ : Organ
    visit : KeptVisit
    to : Path
        Folder; made if it is not there. Files of the same names are replaced.
    with_sound : bool
        False leaves every clip out.
    without : sequence of str
        Ids of stops whose clips are left out.
    rights : str
        Whose the sounds are and what may be done with them, in the owner's words.
    progress : callable
        Given stops done and stops in all.

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
            f"The folder cannot be made: {error.strerror}.",
            where=str(to),
            fix="Choose another place.",
        ) from None
    for name, data in made.items():
        write_file(data, to / name, what="tuning")
    if any(stop.clips for stop in session.stops):
        write_file(lessons_page(organ, visit, session).encode(), to / LESSONS, what="page")
    page = guide_page(organ, visit, session, tunings=sorted(made), rights=rights)
    return write_file(page.encode(), to / PAGE, what="page")


def guide_page(
    organ: Organ, visit: KeptVisit, session: Session, *, tunings: Sequence[str], rights: str = ""
) -> str:
    """The page as one HTML file that needs nothing else."""
    gain = one_gain(session)
    stops = [_stop_data(organ, stop, stop.clips, gain) for stop in session.stops]
    has_sound = any(stop.clips for stop in session.stops)
    return Template(_part("guide.html")).substitute(
        organ=escape(organ.name),
        day=escape(day_words(visit.opened_at.date())),
        air=escape(celsius(session.air_celsius)),
        rights=escape(rights or "Ask the owner of the organ before you pass these sounds on."),
        divisions=_divisions(organ, session, {s["id"]: s for s in stops}),
        tunings=_links(tunings, session),
        lessons=f'<p><a href="{LESSONS}">Five experiments for pupils</a></p>' if has_sound else "",
        style=_part("guide.css"),
        script=_part("player.js") + _part("guide.js"),
        data=_json({"stops": stops}),
    )


def lessons_page(organ: Organ, visit: KeptVisit, session: Session) -> str:
    """The page of experiments as one HTML file that needs nothing else."""
    gain = one_gain(session)
    stops = [
        _stop_data(organ, stop, clips_near(stop), gain) | about
        for stop, about in lesson_stops(organ, session)
    ]
    return Template(_part("lessons.html")).substitute(
        organ=escape(organ.name),
        day=escape(day_words(visit.opened_at.date())),
        celsius=f"{round(2.0 * session.air_celsius) / 2.0:g}",
        style=_part("guide.css"),
        script=_part("player.js") + _part("lessons.js"),
        data=_json({"celsius": session.air_celsius, "stops": stops}),
    )


def _part(name: str) -> str:
    folder = files("walkboard.work.guide").joinpath("page")
    return folder.joinpath(name).read_text(encoding="utf-8")


def _json(data: object) -> str:
    """Data for a script element: no end tag in it ends the element."""
    return json.dumps(data, ensure_ascii=False).replace("</", "<\\/")


def one_gain(session: Session) -> float:
    """One factor for every clip, so that stops keep their loudness against one another."""
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


def _divisions(organ: Organ, session: Session, data: dict[str, dict[str, Any]]) -> str:
    parts = []
    for division in organ.divisions:
        stops = [s for s in session.stops if s.stop.division == division.id]
        if not stops:
            continue
        rows = "\n".join(_row(organ, stop, bool(data[stop.stop.id]["clips"])) for stop in stops)
        parts.append(
            f'<section aria-labelledby="d-{escape(division.id)}">\n'
            f'<h3 id="d-{escape(division.id)}">{escape(division.name)}</h3>\n'
            f'<ul class="stops">\n{rows}\n</ul>\n</section>'
        )
    return "\n".join(parts)


def _row(organ: Organ, stop: GuideStop, plays: bool) -> str:
    name = escape(stop_words(organ, stop.stop))
    facts = ", ".join(escape(fact) for fact in _facts(stop))
    if not plays:
        facts = f"{facts}, no sound" if facts else "no sound"
        return f'<li><span class="name">{name}</span> <span class="facts">{facts}</span></li>'
    return (
        f'<li><label><input type="checkbox" value="{escape(stop.stop.id)}"> '
        f'<span class="name">{name}</span></label> <span class="facts">{facts}</span></li>'
    )


def _facts(stop: GuideStop) -> list[str]:
    from walkboard.scales.keys import Key

    facts = []
    if stop.hz:
        lowest, highest = min(stop.hz), max(stop.hz)
        facts.append(f"{key_words(Key(lowest))} to {key_words(Key(highest))}")
        middle = min(stop.hz, key=lambda key: abs(key - 69))
        facts.append(f"{key_words(Key(middle))} at {stop.hz[middle]:.1f} Hz")
    if stop.figures is not None:
        facts.append(_against(stop.figures.louder_db, "louder", "softer", "dB"))
        if stop.figures.brighter_db is not None:
            facts.append(_against(stop.figures.brighter_db, "brighter", "darker", "dB an octave"))
    return facts


def _against(value: float, more: str, less: str, unit: str) -> str:
    word = more if value > 0.0 else less
    if abs(value) < _SAME_DB:
        return f"neither {more} nor {less} than most"
    return f"{word} than most ({signed(value)} {unit})"


def _links(tunings: Sequence[str], session: Session) -> str:
    if not tunings:
        return "<p>No tuning was measured at this visit.</p>"
    items = "".join(f'<li><a href="{escape(n)}" download>{escape(n)}</a></li>' for n in tunings)
    return (
        f"<p>Key by key, for air of {escape(celsius(session.air_celsius))}: .syx is a MIDI tuning "
        "dump, .scl and .kbm belong together. Warmer air raises the flues, the reeds hardly."
        f"</p>\n<ul>{items}</ul>"
    )
