"""What the key holder reads: which stop to draw and which keys to hold, in order."""

from __future__ import annotations

from collections.abc import Sequence

from walkboard.organ.model import Organ, PipeRef, Rank, Stop
from walkboard.organ.sounding import Held, held_keys
from walkboard.sheets.wording import key_words, rank_words, with_feet


def draw_words(organ: Organ, held: Sequence[Held | None]) -> str:
    """``Draw Principal 4 on the Great.``, with a word where the stop holds other ranks too."""
    stops = list(dict.fromkeys(h.stop.id for h in held if h is not None))
    if not stops:
        return "No stop plays these pipes; sound them at the chest."
    sentences = []
    for place, stop_id in enumerate(stops):
        stop = organ.stop(stop_id)
        where = f"{stop_words(organ, stop)} on the {organ.division(stop.division).name}"
        sentences.append(f"Draw {where}." if place == 0 else f"Where marked, {where} instead.")
        if len({p.rank for p in stop.plays}) > 1:
            sentences.append(
                f"{stop.name} sounds other ranks too: silence them with felt before you listen."
            )
    return " ".join(sentences)


def stop_words(organ: Organ, stop: Stop) -> str:
    """A stop's name, with its feet if the name has none and they are clear."""
    ranks = {plays.rank for plays in stop.plays}
    if len(ranks) != 1:
        return stop.name
    plays = min(stop.plays, key=lambda p: p.from_key)
    rank = organ.rank(plays.rank)
    octaves, rest = divmod(rank.key_of(plays.first_pipe).semitone - plays.from_key.semitone, 12)
    if rest or octaves < 0 or rank.breaks_back:
        return stop.name
    return with_feet(stop.name, rank.multiples[0][1] * 2**octaves)


def full_stop_words(organ: Organ, stop: Stop) -> str:
    """A stop with its division and feet: ``Great · Principal 8′``."""
    return f"{organ.division(stop.division).name} · {stop_words(organ, stop)}"


def key_labels(organ: Organ, rank: Rank) -> dict[int, str]:
    """What each pipe of a rank is called by the key that sounds it, by its number."""
    pipes = [PipeRef(rank.id, number) for number in range(1, rank.pipes + 1)]
    held = held_keys(organ, rank, pipes)
    first = next((h for h in held if h is not None), None)
    return {pipe.number: key_label(h, first) for pipe, h in zip(pipes, held, strict=True)}


def pipe_words(organ: Organ, pipe: PipeRef) -> str:
    """``Great · Principal 4′, F♯3``."""
    rank = organ.rank(pipe.rank)
    return f"{rank_words(organ, rank)}, {key_labels(organ, rank)[pipe.number]}"


def key_label(held: Held | None, first: Held | None) -> str:
    """A key as the row shows it, with the stop where it is not the group's first one."""
    if held is None:
        return "–"
    name = key_words(held.key)
    is_first = first is not None and held.stop.id == first.stop.id
    return name if is_first else f"{name} ({held.stop.name})"
