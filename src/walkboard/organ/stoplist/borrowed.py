"""Reads what a borrowed or extended stop is taken from."""

from __future__ import annotations

import re

from walkboard.organ.stoplist.context import Context
from walkboard.organ.stoplist.entries import Source
from walkboard.organ.stoplist.figures import (
    take_feet,
)
from walkboard.organ.stoplist.keys import take_reach
from walkboard.organ.stoplist.names import plain

_EXTENDED = re.compile(
    r"[(\[]?\s*\b(?:ext(?:ension|ended)?\b\.?|prol(?:ungamento|ungato)?\b\.?|verl(?:ängert|ängerung)?\b\.?"
    r"|verl\.)\s*(?P<from>[^)\]]*)[)\]]?",
    re.IGNORECASE,
)
_BORROWED = re.compile(
    r"[(\[]\s*(?:transm(?:issi(?:on|e|one|ón))?\b\.?|tr\.|borrowed|aus|from|von|de|uit|dal|ex|emprunt\w*)\s*"
    r"(?:from|von|aus|de|uit|:)?\s*(?P<from>[^)\]]*)[)\]]",
    re.IGNORECASE,
)
BRACKETS = re.compile(r"[(\[]([^)\]]*)[)\]]")


def source_of(text: str, context: Context) -> tuple[Source | None, str]:
    """The source of a borrowed or extended stop, and the line without these words."""
    from walkboard.organ.stoplist.divisions import named  # noqa: PLC0415

    for pattern in (_EXTENDED, _BORROWED):
        match = pattern.search(text)
        if match is None:
            continue
        words = match["from"].strip(" .:,")
        if pattern is _BORROWED and take_reach(match[0]).from_key is not None:
            continue
        rest = f"{text[: match.start()]} {text[match.end() :]}"
        return _source_in(words, context), rest
    for match in BRACKETS.finditer(text):
        division = named(match[1], list(context.divisions))
        if division is not None and division != context.division and len(match[1]) > 1:
            rest = f"{text[: match.start()]} {text[match.end() :]}"
            return Source(division=division), rest
    return None, text


def _source_in(words: str, context: Context) -> Source:
    from walkboard.organ.stoplist.divisions import named  # noqa: PLC0415

    if re.fullmatch(r"(?:no\.?|nr\.?)?\s*\d{1,3}", words, re.IGNORECASE):
        number = int(re.sub(r"\D", "", words))
        if number not in {1, 2, 4, 8, 16, 32}:
            return Source(number=number)
    division = ""
    first, _, after = words.partition(" ")
    if first:
        there = list(context.divisions)
        whole = named(words, there)
        if whole is not None:
            return Source(division=whole)
        if len(first) >= 2 and not take_feet(first):
            division = named(first, there) or ""
            if division:
                words = after
    feet = take_feet(words)
    name = words if feet is None else feet.rest
    return Source(plain(name), division, None, "" if feet is None else feet.value)
