"""Published readability indices; higher is easier, but for the Vienna formula, a school year.

- English: R. Flesch, "A new readability yardstick", J. Applied Psychology 32 (1948) 221-233.
- French: L. Kandel and A. Moles, "Application de l'indice de Flesch à la langue française", Cahiers
  Études de Radio-Télévision 19 (1958) 253-274.
- German: R. Bamberger and E. Vanecek, "Lesen, Verstehen, Lernen, Schreiben" (1984), first Vienna
  text formula (Wiener Sachtextformel).
Coefficients from memory of these papers; syllables are counted as groups of vowels.
"""

from __future__ import annotations

import re

_VOWELS = re.compile(r"[aeiouyäöüàâéèêëîïôùûœ]+", re.IGNORECASE)
_SENTENCE = re.compile(r"[.!?]+(?:\s|$)|\n")
_WORD = re.compile(r"[^\W\d_]+(?:[’'′][^\W\d_]+)*")


def words_of(text: str) -> list[str]:
    return _WORD.findall(text)


def counted_words(text: str) -> int:
    """As a word processor counts: anything between blanks that is not a lone mark."""
    return sum(bool(re.search(r"\w", part)) for part in text.split())


def sentences_of(text: str) -> list[str]:
    return [part for part in _SENTENCE.split(text) if words_of(part)]


def syllables(word: str, *, silent_e: bool = False) -> int:
    groups = len(_VOWELS.findall(word))
    if silent_e and groups > 1 and re.search(r"(?<![aeiouyl])(?:es?|ed)$", word.lower()):
        groups -= 1
    return max(1, groups)


def flesch(text: str) -> float:
    per_sentence, per_word = _rates(text, silent_e=True)
    return 206.835 - 1.015 * per_sentence - 84.6 * per_word


def kandel_moles(text: str) -> float:
    per_sentence, per_word = _rates(text, silent_e=True)
    return 207.0 - 1.015 * per_sentence - 73.6 * per_word


def vienna(text: str) -> float:
    words = words_of(text)
    counts = [syllables(word) for word in words]
    three = 100.0 * sum(n >= 3 for n in counts) / len(words)
    one = 100.0 * sum(n == 1 for n in counts) / len(words)
    long = 100.0 * sum(len(word) > 6 for word in words) / len(words)
    per_sentence = len(words) / len(sentences_of(text))
    return 0.1935 * three + 0.1672 * per_sentence + 0.1297 * long - 0.0327 * one - 0.875


def _rates(text: str, *, silent_e: bool) -> tuple[float, float]:
    words = words_of(text)
    spoken = sum(syllables(word, silent_e=silent_e) for word in words)
    return len(words) / len(sentences_of(text)), spoken / len(words)
