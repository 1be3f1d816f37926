"""Translates English sentences into the reader's language.

The packages speak English: why a pipe is on the worklist, what the checker found, what went wrong,
what a sheet says. The translations are in ``words/LANGUAGE.toml``; builders/words.py writes its
left-hand side, so a new language needs no code. A text that is not in the file stays as it is: what
users wrote, and the names of stops.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib.resources import files

from walkboard.languages import spoken

_GAP = re.compile(r"\{([a-z])\}")
# "7.2 flat", "A4 silent", "Great 7.2 flat"
_AFTER_FIGURE = re.compile(r"(?P<figure>(?:.* )?\S*\d\S* )(?P<rest>\D+)")
_MOST_WORDS_BEFORE = 6  # of a name that stands before a known phrase: "Great in tune". Chosen.
# A figure with decimals; no section of a law, no day (9.12.2026), no part of a file's name
# (walk1.2.flac).
_DECIMALS = re.compile(r"(?<![\w.])(?<!CFR )(\d+)\.(\d+)(?!\w|\.\w)")
_DECIMAL_MARKS = {"de": ",", "fr": ","}
MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
_DAY = re.compile(rf"\b(\d\d?) ({'|'.join(MONTHS)}) (\d{{4}})\b")
_DAYS = {"de": "{day}. {month} {year}", "fr": "{day} {month} {year}"}
_ORDINAL = re.compile(r"\b(\d+)(?:st|nd|rd|th)\b")
_ORDINALS = {"de": r"\1.", "fr": r"\1e"}
_SPACE = "[ \N{NO-BREAK SPACE}]"  # figures are bound to their units
_JOINTS = (". ", "; ", ", ", ": ", " · ")  # of sentences and phrases
_OWN_JOINTS = {"fr": {"; ": "\N{NO-BREAK SPACE}; ", ": ": "\N{NO-BREAK SPACE}: "}}


class Own(str):
    """Words that a user wrote; they are never translated."""

    __slots__ = ()


@dataclass(frozen=True, slots=True)
class _Pattern:
    form: re.Pattern[str]
    pieces: tuple[str, ...]  # outside the gaps
    own: int  # letters of the pieces
    words: str

    def may_be(self, text: str) -> bool:
        return all(piece in text for piece in self.pieces)


@dataclass(frozen=True, slots=True)
class _Reading:
    """One way to read a text, how many letters the words cover, and its pattern's own of them."""

    words: str
    known: int
    own: int = 0


def translate(text: str) -> str:
    """An English sentence or phrase in the language that is spoken."""
    language = spoken.language()
    if language == spoken.ENGLISH or isinstance(text, Own):
        return text
    words = _DAY.sub(_day, _read(text, language).words)
    words = _ORDINAL.sub(_ORDINALS.get(language, r"\g<0>"), words)
    return _DECIMALS.sub(rf"\1{_DECIMAL_MARKS.get(language, '.')}\2", words)


def joint_in(language: str, joint: str) -> str:
    """A joint of phrases, as ``": "``, with the blanks of a language."""
    return _OWN_JOINTS.get(language, {}).get(joint, joint)


@cache
def sentences(language: str) -> Mapping[str, str]:
    """The translations of a language by their English."""
    file = files("walkboard.languages").joinpath("words", f"{language}.toml")
    return tomllib.loads(file.read_text(encoding="utf-8")) if file.is_file() else {}


def _day(found: re.Match[str]) -> str:
    language = spoken.language()
    day, month, year = found.groups()
    if language == "fr" and day == "1":
        day = "1er"
    month = sentences(language).get(month, month)
    return _DAYS.get(language, "{day} {month} {year}").format(day=day, month=month, year=year)


@lru_cache(maxsize=4096)
def _read(text: str, language: str) -> _Reading:
    exact, patterns = _known(language)
    if text in exact:
        return _Reading(exact[text], len(text), len(text))
    ways = [
        *_by_pattern(text, patterns, language),
        *_by_parts(text, exact, language),
        *_as_sentence(text, language),
    ]
    return max(ways, key=lambda way: (way.known, way.own), default=_Reading(text, 0))


def _by_pattern(text: str, patterns: list[_Pattern], language: str) -> Iterator[_Reading]:
    for pattern in patterns:
        found = pattern.form.fullmatch(text) if pattern.may_be(text) else None
        if found is None:
            continue
        # What fills a gap may itself be a phrase: "flues at {a}" with "the event".
        gaps = {gap: _read(phrase, language) for gap, phrase in found.groupdict().items()}
        words = pattern.words.format(**{gap: one.words for gap, one in gaps.items()})
        known = pattern.own + sum(one.known for one in gaps.values())
        yield _Reading(words, known, pattern.own)


def _by_parts(text: str, exact: Mapping[str, str], language: str) -> Iterator[_Reading]:
    for joint in _JOINTS:
        if joint in text:
            stop = joint.strip() if joint == ". " else ""  # a sentence is known with its stop
            first, rest = text.split(joint, 1)
            one, other = _read(first + stop, language), _read(rest, language)
            between = " " if stop else joint_in(language, joint)
            known, own = one.known + other.known, one.own + other.own
            yield _Reading(one.words + between + other.words, known, own)
    figured = _AFTER_FIGURE.fullmatch(text)
    if figured is not None:
        after = _read(figured["rest"], language)
        yield _Reading(figured["figure"] + after.words, after.known)
    start = 0
    for _ in range(_MOST_WORDS_BEFORE):
        start = text.find(" ", start) + 1
        if not start:
            break
        if (phrase := text[start:]) in exact:
            yield _Reading(text[:start] + exact[phrase], len(phrase))
            break


def _as_sentence(text: str, language: str) -> Iterator[_Reading]:
    """A phrase that was made a sentence: with a stop, and with a capital."""
    if text.endswith(".") and len(text) > 1:
        phrase = _read(text[:-1], language)
        yield _Reading(f"{phrase.words}.", phrase.known)
    if text[-1:] in {".", "?"} and text[0].isupper():
        phrase = _read(text[0].lower() + text[1:], language)
        yield _Reading(phrase.words[:1].upper() + phrase.words[1:], phrase.known - 1)


@cache
def _known(language: str) -> tuple[dict[str, str], list[_Pattern]]:
    """Whole texts, and those with gaps."""
    exact: dict[str, str] = {}
    gaps: list[_Pattern] = []
    for text, words in sentences(language).items():
        parts = [_plain(part) for part in _GAP.split(text)]
        if len(parts) == 1:
            exact[parts[0]] = _plain(words)
            continue
        form = "".join(
            f"(?P<{part}>.*?)" if number % 2 else re.escape(part).replace(r"\ ", _SPACE)
            for number, part in enumerate(parts)
        )
        pieces = [part for part in parts[::2] if part]
        # A blank of the pattern may be a no-break space in the text.
        longest = tuple(word for piece in pieces for word in piece.split())
        own = sum(len(part) for part in pieces)
        gaps.append(_Pattern(re.compile(form, re.DOTALL), longest, own, words))
    return exact, gaps


def _plain(text: str) -> str:
    return text.replace("{{", "{").replace("}}", "}")
