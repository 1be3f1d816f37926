"""How an organ's ranks sounded in the recordings that the book has: what a new walk is compared to.

Nothing is stored for it: levels, partials and deviations are read from the readings. Only walks of
one stop count, and of these only values without a flag.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from walkboard.errors import UnknownNameError
from walkboard.organ.model import Organ

if TYPE_CHECKING:
    from walkboard.book.keeping import Book
    from walkboard.survey.recognise.rank_sound import RankSound

_MOST_VISITS = 12  # looked through, from the newest back; chosen
_MOST_RECORDINGS = 2  # of each stop; the one with most pipes counts; chosen


@dataclass(frozen=True, eq=False)
class Earlier:
    """A rank as one recording has it.

    Attributes
    ----------
    rank : str
    sha256 : str
        Of the recording's content.
    sound : RankSound
    """

    rank: str
    sha256: str
    sound: RankSound


def earlier_sounds(
    book: Book, organ_id: int, organ: Organ, drawn: Sequence[str]
) -> tuple[Earlier, ...]:
    """Recordings of a lone stop, and of others that it may be mistaken for, the newest first.

    Parameters
    ----------
    book : Book
    organ_id : int
    organ : Organ
    drawn : sequence of str
        As stated for the new walk; looked up only if it is one stop of one rank.
    """
    from walkboard.survey.hear.before import lone_rank, octave_away, same_pitch, sound_of

    rank = lone_rank(organ, drawn)
    others = {**same_pitch(organ, drawn), **octave_away(organ, drawn)}
    if rank is None or not others:
        return ()
    found: list[Earlier] = []
    left = dict.fromkeys((drawn[0], *others), _MOST_RECORDINGS)
    for visit in list(reversed(book.visits(organ_id)))[:_MOST_VISITS]:
        labels = book.recording_labels(visit.id)
        for recording_id, label in sorted(labels.items(), reverse=True):
            if len(label.drawn) != 1 or not left.get(label.drawn[0]):
                continue
            recording = book.recording(recording_id)
            try:
                sound = sound_of(organ, recording.walk)
                of_rank = lone_rank(organ, label.drawn)
            except UnknownNameError:  # of an older description
                continue
            if sound is not None and of_rank is not None:
                left[label.drawn[0]] -= 1
                found.append(Earlier(of_rank.id, recording.sha256, sound))
        if not any(left.values()):
            break
    return tuple(found)


def besides(earlier: Sequence[Earlier], sha256: str) -> dict[str, RankSound]:
    """By rank, the recording with most pipes; not the one with this content, which is heard now."""
    best: dict[str, RankSound] = {}
    for one in earlier:
        if one.sha256 != sha256 and (
            one.rank not in best or len(one.sound.place) > len(best[one.rank].place)
        ):
            best[one.rank] = one.sound
    return best
