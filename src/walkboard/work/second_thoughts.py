"""Corrections: recordings relabelled or withdrawn, conditions corrected.

What was said first stays in the book. A visit's minutes and purpose are corrected by
`walkboard.book.visits.visits.Visits.correct_visit`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from walkboard import __version__
from walkboard.book.records import Conditions, KeptRecording, KeptVisit
from walkboard.errors import BookError, InputError
from walkboard.organ.console import Coupler
from walkboard.organ.model import Organ
from walkboard.organ.reading import read_organ
from walkboard.survey.hear.heard_walk import HeardWalk
from walkboard.work.hear_recordings import ToHear, hear_files
from walkboard.work.processes import ProgressOfEach
from walkboard.work.remembered import besides, earlier_sounds
from walkboard.work.visit import checked_conditions, refuse_nothing_heard

if TYPE_CHECKING:
    from walkboard.book.keeping import Book


def relabel(
    book: Book,
    recording_id: int,
    *,
    drawn: Sequence[str] | None = None,
    air_celsius: float | None = None,
    organ_version: int | None = None,
    sure: bool = False,
    words: str = "",
    progress: ProgressOfEach | None = None,
) -> KeptRecording:
    """Relabel a recording, hear it again with the new label, and keep both labels.

    Works for open and closed visits; anything derived from the old readings no longer counts.

    Parameters
    ----------
    book : Book
    recording_id : int
    drawn : sequence of str or None
        Ids of the stops; None: as before.
    air_celsius : float or None
        The air of these pipes [°C]; None: as before.
    organ_version : int or None
        Version of the organ's description; None for the newest.
    sure : bool
        Whether the tuner is sure that these stops were drawn; the label may then stay as it is.
    words : str
        Why; may be empty.
    progress : see `walkboard.work.hear_recordings.hear_files`

    Raises
    ------
    BookError
        If there is no such recording or description, its sound is missing, or it already has this
        label.
    InputError
        If it cannot be analysed under the new label; nothing is changed then.
    """
    old = book.recording(recording_id)
    versions = book.organ_versions(book.visit(old.visit_id).organ_id)
    wanted = versions[-1].version if organ_version is None else organ_version
    kept = next((version for version in versions if version.version == wanted), None)
    if kept is None:
        raise BookError(
            f"The organ has no description {wanted} in this book.",
            fix=f"It has descriptions 1 to {versions[-1].version}.",
        )
    stops = old.walk.drawn if drawn is None else tuple(drawn)
    air = old.walk.air_celsius if air_celsius is None else air_celsius
    label = (stops, air, wanted)
    stays = sure and old.walk.heard is not None and not old.walk.believed
    if not old.is_withdrawn and not stays and label == (
        old.walk.drawn, old.walk.air_celsius, old.organ_version,
    ):  # fmt: skip
        raise BookError(
            f"Recording {recording_id} already has this label.",
            fix="Give other stops (--drawn), another air (--air-now) or description. If these stops"
            " were drawn for certain although it is doubted: --sure.",
        )
    heard: list[HeardWalk] = []
    organ = read_organ(kept.description)
    earlier = earlier_sounds(book, book.visit(old.visit_id).organ_id, organ, stops)
    to_hear = ToHear(
        book.sound_path(recording_id),
        kept.description,
        stops,
        air,
        before=besides(earlier, old.sha256),
        sure=sure,
    )
    hear_files([to_hear], lambda _, walk: heard.append(walk), processes=1, progress=progress)
    walk = replace(heard[0], file=old.walk.file)
    refuse_nothing_heard(walk)
    return book.relabel_recording(
        recording_id,
        walk,
        program_version=__version__,
        words=words.strip(),
        organ_version=wanted,
    )


def stops_heard(organ: Organ, walk: HeardWalk) -> tuple[str, ...] | None:
    """The stops that a walk that is not believed seems to have been drawn with.

    Parameters
    ----------
    organ : Organ
    walk : HeardWalk

    Returns
    -------
    tuple of str or None
        Ids of stops and of the coupler that a stop of another keyboard needs; None where nothing
        better than what was stated is known.
    """
    heard = walk.heard
    if heard is None or heard.believed or not heard.is_walk:
        return None
    known = {stop.id: stop for stop in organ.stops}
    absent = set(heard.not_sounding)
    found = [one for one in walk.drawn if one not in absent]
    played = organ.stops_among(walk.drawn)[0].division
    for one in heard.also_sounding[:1] if absent >= set(walk.drawn) else heard.also_sounding:
        if one.stop not in known or one.semitones:
            return None
        theirs = known[one.stop].division
        if theirs != played:
            through = [c.id for c in organ.couplers if _leads(c, theirs, played)]
            if not through:
                return None
            found.append(through[0])
        found.append(one.stop)
    stops = tuple(dict.fromkeys(found))
    return stops if set(stops) != set(walk.drawn) and organ.stops_among(stops) else None


def may_be_sure(walk: HeardWalk) -> bool:
    """Whether a walk is doubted only for what it sounds like, which the tuner may know better."""
    heard = walk.heard
    return (
        heard is not None
        and not heard.believed
        and bool(walk.holds)
        and heard.tremulant is None
        and set(heard.not_sounding) >= set(walk.drawn)
    )


def confirm(book: Book, recording_id: int) -> KeptRecording:
    """Hear a doubted recording again with its own label, of which the tuner is sure.

    Raises
    ------
    BookError, InputError
        As `relabel`.
    """
    old = book.recording(recording_id)
    return relabel(book, recording_id, organ_version=old.organ_version, sure=True)


def _leads(coupler: Coupler, from_division: str, to_division: str) -> bool:
    joins = (coupler.from_division, coupler.to_division) == (from_division, to_division)
    return joins and coupler.semitones == 0 and not coupler.unison_off


def withdraw(book: Book, recording_id: int, words: str = "") -> KeptRecording:
    """Say that a recording does not count; it stays in the book (`Book.withdraw_recording`).

    Raises
    ------
    BookError
        If there is no such recording.
    """
    return book.withdraw_recording(recording_id, words.strip())


def correct_conditions(
    book: Book,
    organ: Organ,
    visit: KeptVisit,
    *,
    air_celsius: Mapping[str, float],
    humidity: float | None,
    wind_mm: Mapping[str, float],
    which: int | None = None,
) -> KeptVisit:
    """Correct conditions that were noted wrongly; anything not given stays as noted.

    Parameters
    ----------
    book : Book
    organ : Organ
    visit : KeptVisit
    air_celsius, humidity, wind_mm
        As `checked_conditions` takes them.
    which : int or None
        Number of the visit's conditions, from 1 in order of noting; None for the last.

    Raises
    ------
    UnknownNameError, InputError
        As `checked_conditions`; also if the visit has no such conditions.
    """
    given = checked_conditions(organ, air_celsius, humidity, wind_mm)
    place = len(visit.conditions) if which is None else which
    if not 1 <= place <= len(visit.conditions):
        there = len(visit.conditions)
        raise InputError(
            f"Visit {visit.id} has no conditions {place}.",
            fix=f"It has {there}, numbered from 1." if there else "Note them first.",
        )
    old = visit.conditions[place - 1]
    assert old.id is not None  # it is the book's
    new = Conditions(
        {**old.air_celsius, **given.air_celsius},
        old.humidity if given.humidity is None else given.humidity,
        {**old.wind_mm, **given.wind_mm},
    )
    return book.correct_conditions(old.id, new)
