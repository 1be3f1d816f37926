"""The name most likely meant by a misspelt one."""

from __future__ import annotations

import re
from collections.abc import Iterable
from difflib import get_close_matches

CLOSE_ENOUGH = 0.6  # ratio of difflib, 0 to 1; chosen: difflib's own default cutoff
MOST_SHOWN = 12  # names listed if none is close; chosen, to fit a line or two


def did_you_mean(word: str, there_are: Iterable[str], kind: str) -> str:
    """A hint with the most likely word, or a list of the possible ones."""
    words = list(there_are)
    likely = likeliest(word, words)
    if likely is not None:
        return f"Did you mean {likely}?"
    if not words:
        return f"There is no {kind} yet: add it."
    shown = ", ".join(words[:MOST_SHOWN]) + (" …" if len(words) > MOST_SHOWN else "")
    return f"Write one of: {shown}."


def likeliest(word: str, there_are: Iterable[str]) -> str | None:
    """The word most likely meant, if any is close."""
    by_small = {candidate.lower(): candidate for candidate in there_are}
    near = get_close_matches(word.lower(), by_small, n=1, cutoff=CLOSE_ENOUGH)
    return by_small[near[0]] if near else None


def likeliest_id(word: str, names: Iterable[tuple[str, str]]) -> str | None:
    """The id most likely meant; the word may also be a name or an id's last part.

    Parameters
    ----------
    word : str
        As typed.
    names : iterable of (str, str)
        Ids with their names.
    """
    pairs = list(names)
    near = likeliest(word, [id_ for id_, _ in pairs])
    if near is not None:
        return near
    meant_by: dict[str, str] = {}
    for id_, name in pairs:
        for spelling in (name, id_.rpartition(".")[2], id_):
            meant_by.setdefault(_plain(spelling), id_)
    meant = likeliest(_plain(word), meant_by)
    return None if meant is None else meant_by[meant]


def meant_instead(word: str, names: Iterable[tuple[str, str]], otherwise: str) -> str:
    """The fix for an unknown name: the most likely id, with a pipe's number, or `otherwise`.

    Parameters
    ----------
    word : str
        As typed; may be a pipe, ``rank:number``.
    names : iterable of (str, str)
        Ids with their names.
    otherwise : str
        What to write if none is close.
    """
    pairs = list(names)
    rank, colon, number = word.rpartition(":")
    of_pipe = bool(colon) and number.isdecimal()
    meant = likeliest_id(rank if of_pipe else word, pairs)
    if meant is None:
        return otherwise
    return f"Did you mean {meant}:{number}?" if of_pipe else f"Did you mean {meant}?"


def _plain(text: str) -> str:
    return re.sub(r"[^a-z0-9]+", "", text.lower())
