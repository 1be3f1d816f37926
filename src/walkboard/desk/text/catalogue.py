"""The catalogue of every text of the pages: one TOML file a page under ``words/LANGUAGE``.

A text is looked up by ``page.key``. Braces are filled in. A text that depends on a number is a
table of ``one`` and ``other``, chosen by ``n``.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Any

from walkboard.languages.spoken import ENGLISH, language


class MissingWordsError(KeyError):
    """A missing text; our mistake, never the user's."""


@cache
def catalogue(of: str) -> Mapping[str, str | Mapping[str, str]]:
    """Every text of a language by its whole key; one that has plural forms is a mapping."""
    # A missing translation falls back to English.
    found: dict[str, str | Mapping[str, str]] = {}
    if of != ENGLISH:
        found.update(catalogue(ENGLISH))
    folder = files("walkboard.desk").joinpath("words", of)
    for entry in sorted(folder.iterdir(), key=lambda entry: entry.name):
        if entry.name.endswith(".toml"):
            table = tomllib.loads(entry.read_text(encoding="utf-8"))
            found.update(_flat(entry.name.removesuffix(".toml"), table))
    return found


def say(key: str, /, **values: object) -> str:
    """A text of the catalogue.

    Parameters
    ----------
    key : str
        As ``organ.title``.
    values
        What its braces are filled with; ``n`` chooses the plural form.

    Raises
    ------
    MissingWordsError
        When there is no such text.
    """
    text = catalogue(language()).get(key)
    if text is None:
        raise MissingWordsError(key)
    if not isinstance(text, str):
        text = text["one" if values["n"] == 1 else "other"]
    return text.format(**values) if values else text


def script_words(page: str) -> dict[str, Any]:
    """The texts that a page's scripts use: the sections ``script`` of the frame and of the page."""
    wanted = ("frame.script.", f"{page}.script.")
    found: dict[str, Any] = {}
    for key, text in catalogue(language()).items():
        for prefix in wanted:
            if key.startswith(prefix):
                found[key.removeprefix(prefix)] = text if isinstance(text, str) else dict(text)
    return found


def _flat(prefix: str, table: Mapping[str, Any]) -> dict[str, str | Mapping[str, str]]:
    found: dict[str, str | Mapping[str, str]] = {}
    for key, value in table.items():
        name = f"{prefix}.{key}"
        if isinstance(value, str):
            found[name] = value
        elif "one" in value or "other" in value:
            found[name] = dict(value)
        else:
            found.update(_flat(name, value))
    return found
