"""The texts of page 1 in each language: one TOML file per language under ``words``.

Braces are filled in. A text that depends on a number is a table of ``one`` and ``other``, chosen by
``n``.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import cache
from importlib.resources import files
from typing import Any

from walkboard.scales.key_names import USUAL_NAMES, name_of
from walkboard.scales.keys import Key
from walkboard.sheets.front_page.news import Language
from walkboard.sheets.wording import BOUND, key_words


@dataclass(frozen=True)
class Phrases:
    """One language's words.

    Attributes
    ----------
    language : Language
    texts : mapping of str to object
        As the file has them.
    """

    language: Language
    texts: Mapping[str, Any]

    def say(self, name: str, /, **values: object) -> str:
        """A text with its braces filled in; KeyError if the language lacks it."""
        text: Any = self.texts
        for part in name.split("."):
            text = text[part]
        if not isinstance(text, str):
            text = text["one" if values["n"] == 1 else "other"]
        return text.format(**values) if values else str(text)

    def day(self, day: date) -> str:
        """``Wednesday 9 December 2026``."""
        return self.say(
            "day",
            weekday=self.texts["weekdays"][day.weekday()],
            n=day.day,
            month=self.texts["months"][day.month - 1],
            year=day.year,
        )

    def time(self, at: datetime) -> str:
        """The time of day."""
        return self.say("time", hour=at.hour, minute=f"{at.minute:02d}")

    def celsius(self, value: float) -> str:
        """``19 °C``, rounded to half degrees."""
        text = f"{round(2.0 * value) / 2.0:g}".replace("-", "−")
        return f"{text.replace('.', self.say('decimal'))}{BOUND}°C"

    def number(self, value: float) -> str:
        """``4.5``, with the language's decimal sign."""
        return f"{value:g}".replace(".", self.say("decimal"))

    def key(self, name: str) -> str:
        """A key as musicians of the language write it; Helmholtz in German, solfège in French."""
        key = Key.parse(name)
        names = USUAL_NAMES.get(self.language.value)
        return key_words(key) if names is None else name_of(key, names)

    def listed(self, words: Sequence[str], most: int) -> str:
        """``a, b and c``; no more than `most`, and how many remain."""
        shown = list(words[:most])
        if len(words) > most:
            shown.append(self.say("more", n=len(words) - most))
        if len(shown) < 2:
            return "".join(shown)
        return f"{', '.join(shown[:-1])} {self.say('and')} {shown[-1]}"


@cache
def phrases(language: Language) -> Phrases:
    """The words of a language."""
    file = files("walkboard.sheets.front_page").joinpath("words", f"{language.value}.toml")
    return Phrases(language, tomllib.loads(file.read_text(encoding="utf-8")))
