"""Translates the sentences of the packages below the pages into the visitor's language.

Those packages speak English: why a pipe is on the worklist, what the checker found, what went
wrong. The translations are in ``words/LANGUAGE/sentences.toml``; builders/words.py writes its
left-hand side, so a new language needs no code. A text that is not in the file stays as it is:
what users wrote, and the names of stops.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache, lru_cache

from walkboard.desk.text import catalogue as catalogue_module

_GAP = re.compile(r"\{([a-z])\}")
_AFTER_FIGURE = re.compile(r"(?P<figure>\S*\d\S* )(?P<rest>.+)")  # "7.2 flat", "A4 silent"
# A figure with decimals; neither a day (9.12.2026) nor a part of a file's name (walk1.2.flac).
_DECIMALS = re.compile(r"(?<![\w.])(\d+)\.(\d+)(?!\w|\.\w)")
_SPACE = "[ \N{NO-BREAK SPACE}]"  # figures are bound to their units
_JOINTS = (". ", "; ", ", ", ": ")  # of sentences and phrases


@dataclass(frozen=True, slots=True)
class _Pattern:
    form: re.Pattern[str]
    own: int  # letters outside the gaps
    words: str


@dataclass(frozen=True, slots=True)
class _Reading:
    """One way to read a text, and how many of its letters the catalogue covers."""

    words: str
    known: int


def translate(text: str) -> str:
    """A sentence from a package below the pages, in the visitor's language."""
    spoken = catalogue_module.language()
    if spoken == catalogue_module.ENGLISH:
        return text
    mark = catalogue_module.say("frame.script.decimal")
    return _DECIMALS.sub(rf"\1{mark}\2", _read(text, spoken).words)


@lru_cache(maxsize=4096)
def _read(text: str, language: str) -> _Reading:
    exact, patterns = _known(language)
    if text in exact:
        return _Reading(exact[text], len(text))
    ways = [*_by_parts(text, language), *_by_pattern(text, patterns, language)]
    return max(ways, key=lambda way: way.known, default=_Reading(text, 0))


def _by_pattern(text: str, patterns: list[_Pattern], language: str) -> Iterator[_Reading]:
    for pattern in patterns:
        found = pattern.form.fullmatch(text)
        if found is None:
            continue
        # What fills a gap may itself be a phrase: "flues at {a}" with "the event".
        gaps = {gap: _read(phrase, language) for gap, phrase in found.groupdict().items()}
        words = pattern.words.format(**{gap: one.words for gap, one in gaps.items()})
        yield _Reading(words, pattern.own + sum(one.known for one in gaps.values()))


def _by_parts(text: str, language: str) -> Iterator[_Reading]:
    for joint in _JOINTS:
        if joint in text:
            stop = joint.strip() if joint == ". " else ""  # a sentence is known with its stop
            first, rest = text.split(joint, 1)
            one, other = _read(first + stop, language), _read(rest, language)
            between = joint.removeprefix(stop) if stop else joint
            yield _Reading(one.words + between + other.words, one.known + other.known)
    figured = _AFTER_FIGURE.fullmatch(text)
    if figured is not None:
        after = _read(figured["rest"], language)
        yield _Reading(figured["figure"] + after.words, after.known)


@cache
def _known(language: str) -> tuple[dict[str, str], list[_Pattern]]:
    """Whole texts, and those with gaps."""
    exact: dict[str, str] = {}
    gaps: list[_Pattern] = []
    for key, words in catalogue_module.catalogue(language).items():
        if not key.startswith("sentences.") or not isinstance(words, str):
            continue
        text = key.removeprefix("sentences.")
        parts = [_plain(part) for part in _GAP.split(text)]
        if len(parts) == 1:
            exact[parts[0]] = _plain(words)
            continue
        form = "".join(
            f"(?P<{part}>.+?)" if number % 2 else re.escape(part).replace(r"\ ", _SPACE)
            for number, part in enumerate(parts)
        )
        own = sum(len(part) for part in parts[::2])
        gaps.append(_Pattern(re.compile(form, re.DOTALL), own, words))
    return exact, gaps


def _plain(text: str) -> str:
    return text.replace("{{", "{").replace("}}", "}")
