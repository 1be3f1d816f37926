"""Reads keys and compasses as written in different countries."""

from __future__ import annotations

import re
from dataclasses import dataclass

from walkboard.errors import UnknownNameError
from walkboard.scales.key_names import SUPERSCRIPTS, read_key
from walkboard.scales.keys import Key

# Semitones above C of a note's name. In German B is B flat and H is B; in a list without any H, B
# is taken as B natural.
_NOTES = {"c": 0, "d": 2, "e": 4, "f": 5, "g": 7, "a": 9, "b": 11, "h": 11}
_SYLLABLES = {"ut": 0, "do": 0, "re": 2, "ré": 2, "mi": 4, "fa": 5, "sol": 7, "la": 9, "si": 11}
_KEY = r"(?:[A-Ha-h]{1,3}(?:is|es|#|♯|b(?![a-z])|♭)?[⁰¹²³⁴⁵°º]?(?:[0-7]|'{1,4})?)"
_COMPASS = re.compile(
    rf"(?<![\w'])({_KEY})((?:\s*,\s*{_KEY})?)\s*(?:-|–|—|to|bis|tot|à|a)\s*({_KEY})(?![\w'])"
)
_COUNT = re.compile(
    r"\b(\d{2})\s*(?:notes?|keys?|töne?|tasten|toetsen|tonen|touches|note\b|tasti|notas|teclas)",
    re.IGNORECASE,
)
_SHORT = re.compile(
    r"kurze oktave|short octave|octave courte|octava corta|ottava corta|kort octaaf"
    r"|korte octaaf|prima ottava corta",
    re.IGNORECASE,
)
_BROKEN = re.compile(
    r"gebrochene oktave|broken octave|octave brisée|gebroken octaaf", re.IGNORECASE
)
_SYLLABLE = r"(ut|do|ré|re|mi|fa|sol|la|si)"
_SYLLABLE_ENDS = re.compile(
    rf"(?<![\w']){_SYLLABLE}\s?([1-6])\s*(?:-|–|—|à|a|al)\s*{_SYLLABLE}\s?([1-6])(?!\w)",
    re.IGNORECASE,
)
_BARE_COUNT = re.compile(r"[,(;]\s*(\d{2})\s*(?=[),;]|$)")  # CC to g, 56
_WITHOUT = re.compile(
    r"\(\s*(?:no|without|ohne|sans|senza|zonder|sin)\s+([A-Ha-h]{1,3})\s*(sharp|#|♯|is)?\s*\)",
    re.IGNORECASE,
)
# Compasses implied by a number of keys, from C2. Common practice, no source.
USUAL_COUNTS = range(12, 89)


@dataclass(frozen=True, slots=True)
class Compass:
    """A compass from a line.

    Attributes
    ----------
    keys : int
        Number of keys.
    lowest : str
    octave : str or None
        ``short`` or ``broken``.
    missing : tuple of str
    rest : str
        The rest of the line.
    why : str
        The reason, if something was inferred.
    """

    keys: int
    lowest: str = "C2"
    octave: str | None = None
    missing: tuple[str, ...] = ()
    rest: str = ""
    why: str = ""


def take_compass(text: str, *, is_pedal: bool = False) -> Compass | None:
    """The compass in a line, by its two ends, by its number of keys, or both; None if none."""
    without = _WITHOUT.search(text)
    if without is not None:
        text = text[: without.start()] + " " + text[without.end() :]
    count = _COUNT.search(text)
    keys = int(count[1]) if count is not None else None
    rest = _COUNT.sub(" ", text)
    octave = "short" if _SHORT.search(text) else "broken" if _BROKEN.search(text) else None
    rest = _BROKEN.sub(" ", _SHORT.sub(" ", rest))
    syllables = _SYLLABLE_ENDS.search(rest)
    if syllables is not None:
        return _by_syllables(syllables, keys, octave)
    ends = _COMPASS.search(rest)
    if ends is None or not _are_ends(ends[1], ends[3], keys):
        if keys is None or keys not in USUAL_COUNTS:
            return None
        return Compass(keys, octave=octave, rest=rest)
    rest = rest[: ends.start()] + " " + rest[ends.end() :]
    beside = _BARE_COUNT.search(rest) if keys is None else None
    if beside is not None and int(beside[1]) in USUAL_COUNTS:
        keys = int(beside[1])
        rest = rest[: beside.start(1)] + " " + rest[beside.end(1) :]
    low = _low(ends[1])
    if low is None:
        return None
    missing: tuple[str, ...] = ()
    if without is not None:
        missing = _left_out(without, low)
    second = ends[2].strip(" ,")
    if second and octave is None:
        step = read_key(second)
        if step is not None and step.semitone - low.semitone == 2:
            missing = (low.up(1).name,)
    if low.name == "C2" and second.upper() == "E" and octave is None:
        octave = "short"
    left_out = {None: len(missing), "short": 4, "broken": 2}[octave]
    high = _high(ends[3], low, keys, left_out, is_pedal=is_pedal)
    if high is None:
        return None
    there = high.semitone - low.semitone + 1 - left_out
    why = (
        ""
        if keys is None or keys == there
        else f"{keys} keys are given, but from end to end there are {there}"
    )
    return Compass(keys or there, low.name, octave, missing, rest, why)


def _low(written: str) -> Key | None:
    """The lowest key of a compass; GG, AA and BB are below CC in old English lists."""
    if re.fullmatch(r"C{1,3}", written):
        return Key.parse("C2")
    key = read_key(written)
    return key.up(-12) if key is not None and re.fullmatch(r"GG|AA|BB", written) else key


def _left_out(without: re.Match[str], low: Key) -> tuple[str, ...]:
    """The key that a list gives as missing at the bottom: ``(no GG sharp)``."""
    named = _low(without[1])
    if named is None:
        return ()
    key = named.up(1) if without[2] else named
    return (key.name,) if 0 < key.semitone - low.semitone <= 12 else ()


def _by_syllables(ends: re.Match[str], keys: int | None, octave: str | None) -> Compass | None:
    """A compass such as ``ut1 à sol5``, where ut1 is the lowest key of an organ."""
    low, high = (
        Key(12 * (int(number) + 2) + _SYLLABLES[syllable.lower()])
        for syllable, number in ((ends[1], ends[2]), (ends[3], ends[4]))
    )
    left_out = {None: 0, "short": 4, "broken": 2}[octave]
    there = high.semitone - low.semitone + 1 - left_out
    if there not in USUAL_COUNTS:
        return None
    text = ends.string
    rest = text[: ends.start()] + " " + text[ends.end() :]
    why = (
        ""
        if keys is None or keys == there
        else f"{keys} keys are given, but from end to end there are {there}"
    )
    return Compass(keys or there, low.name, octave, (), rest, why)


def _are_ends(low: str, high: str, keys: int | None) -> bool:
    """Whether two words are the ends of a compass and not, say, the words "a" and "e"."""
    marked = bool(re.search(r"[0-9⁰¹²³⁴⁵°º']", high))
    return (low[0].isupper() and (marked or keys is not None or low.startswith("CC"))) or (
        low[0].islower() and marked
    )


def _high(written: str, low: Key, keys: int | None, left_out: int, *, is_pedal: bool) -> Key | None:
    named = read_key(written)
    if keys is not None and named is not None:
        by_count = low.up(keys + left_out - 1)
        if by_count.pitch_class == named.pitch_class:
            return by_count
    text = written.translate(SUPERSCRIPTS)
    if re.fullmatch(r"[A-Ha-h](?:is|es|#|b)?[0-7]", text) and not is_scientific(text, low):
        named = read_key(text.lower())
    if named is not None and named > low:
        return named
    if named is None:
        return None
    # bare letters: the first such note above two octaves (pedal) or four (manual)
    least = low.semitone + (24 if is_pedal else 48)
    return next(Key(s) for s in range(least, least + 12) if s % 12 == named.pitch_class)


def is_scientific(high: str, low: Key) -> bool:
    """Whether a number after a capital is an octave: only if so, it is far above the lowest."""
    try:
        key = Key.parse(high)
    except UnknownNameError:
        return False
    return high[0].isupper() and key.semitone - low.semitone >= 23


_START = re.compile(
    r"\(?\s*\b(?:(?:from|ab|dal|dalla|desde|vanaf|[àa] partir (?:du|de)|von|beginning at|gamut)"
    r"\s+(?:low\s+)?"
    r"|[àa] partir d')"
    r"(?:(tenor|ten\.?|middle|treble)\s+([A-Ha-h])\b|"
    r"(\d)(?:e|ème|er)?\s+(ut|do|ré|re|mi|fa|sol|la|si)\b|"
    r"(ut|do|ré|re|mi|fa|sol|la|si)\s?([1-5])\b|"
    r"([A-Ha-h](?:is|es|#|♯|b|♭)?[⁰¹²³⁴⁵°º]?(?:[0-7]|'{1,4})?)(?![\w']))\s*\)?",
    re.IGNORECASE,
)
_TENOR = re.compile(
    r"\(?\s*(?<!\w)(?:t\.\s?c\.?|ten(?:or|\.)\s?c|tc)(?!\w)\.?\s*\)?", re.IGNORECASE
)
# English lists give a short stop's lowest key: (to FF), (down to tenor C).
_DOWN = re.compile(
    r"\(?\s*\b(?:down\s+)?to\s+(?:(tenor\s+c|t\.?c\.?)|(DD|EE|FF|GG|AA|BB))(?!\w)\s*\)?"
)
_DOUBLE = re.compile(r"\(\s*((?:DD|EE|FF|GG|AA|BB))\s*\)")
_ALONE = re.compile(r"\(\s*([a-h][⁰¹²³⁴⁵°º]?(?:[1-4]|'{1,4})?)\s*\)")
_FULL = re.compile(r"\(\s*CC\s*\)")
# Where bass and treble divide. Common practice, no source: in Iberia between c' and c sharp', in
# Italy and elsewhere between b and c'.
_TREBLE = re.compile(
    r"(?<!\w)\(?(?:soprani|soprano|disc\.|discant|diskant|dessus|treble)\)?(?!\w)", re.IGNORECASE
)
_BASS = re.compile(r"(?<!\w)\(?(?:bassi|bas\.|basse seule|bass only)\)?(?!\w)", re.IGNORECASE)
_RIGHT = re.compile(r"\(?\s*(?<!\w)(?:m\.?\s?d\.|mano derecha)\s*\)?", re.IGNORECASE)
_LEFT = re.compile(r"\(?\s*(?<!\w)(?:m\.?\s?i\.|mano izquierda)\s*\)?", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Reach:
    """Which keys a stop has.

    Attributes
    ----------
    from_key, to_key : str or None
        None: to the end of the division.
    rest : str
        The line without these words.
    why : str
        The reason, if the list does not give the key itself.
    full : bool
        Whether the list says it goes down to the lowest key.
    """

    from_key: str | None
    to_key: str | None
    rest: str
    why: str = ""
    full: bool = False


def bass_half(rest: str) -> Reach:
    """The range of a divided stop's lower half, if only its name shows that."""
    return Reach(None, "B3", rest, "bass half: up to B3, the usual place to divide")


def take_reach(text: str) -> Reach:
    """The keys of a stop, from its line."""
    full = _FULL.search(text)
    if full is not None:
        return Reach(None, None, text[: full.start()] + text[full.end() :], full=True)
    tenor = _TENOR.search(text)
    start = _START.search(text)
    if start is not None:
        named = _start_key(start)
        if named is not None:
            key, why = named
            return Reach(key.name, None, text[: start.start()] + " " + text[start.end() :], why)
    down = _DOWN.search(text)
    if down is not None:
        above = Key.parse("C3") if down[1] else read_key(down[2])
        if above is not None:
            return Reach(above.name, None, text[: down.start()] + " " + text[down.end() :])
    if tenor is not None:
        return Reach("C3", None, text[: tenor.start()] + " " + text[tenor.end() :])
    for pattern, from_key, to_key, why in (
        (_RIGHT, "C#4", None, "right hand: from C♯4, as usual in Iberia"),
        (_LEFT, None, "C4", "left hand: up to C4, as usual in Iberia"),
        (_TREBLE, "C4", None, "treble half: from C4, the usual place to divide"),
        (_BASS, None, "B3", "bass half: up to B3, the usual place to divide"),
    ):
        found = pattern.search(text)
        if found is not None:
            return Reach(from_key, to_key, text[: found.start()] + " " + text[found.end() :], why)
    double = _DOUBLE.search(text)
    if double is not None:  # on a compass from CC, the first such key above it
        above = read_key(double[1])
        rest = text[: double.start()] + text[double.end() :]
        return Reach(None if above is None else above.name, None, rest)
    alone = _ALONE.search(text)
    if alone is not None:
        key_alone = read_key(alone[1])
        if key_alone is not None:
            return Reach(key_alone.name, None, text[: alone.start()] + text[alone.end() :])
    return Reach(None, None, text)


def _start_key(match: re.Match[str]) -> tuple[Key, str] | None:
    which, letter, nth, syllable, note, octave, name = match.groups()
    if which:
        base = {"t": 3, "m": 4}.get(which[0].lower(), 5)
        if which.lower() == "treble":
            base = 5
        return Key(12 * (base + 1) + _NOTES[letter.lower()]), ""
    if nth:
        return (
            Key(12 * (int(nth) + 2) + _SYLLABLES[syllable.lower()]),
            f"the {syllable} number {nth} from the bottom",
        )
    if note:
        return (
            Key(12 * (int(octave) + 2) + _SYLLABLES[note.lower()]),
            f"{note}{octave} counted from the lowest {note} as 1",
        )
    key = read_key(name)
    return None if key is None else (key, "")
