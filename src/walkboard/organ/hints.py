"""Words that people write where the format has a different one, with the right word.

Common practice, no source; each was typed by someone writing a description.
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from walkboard.errors import UnknownNameError
from walkboard.scales.harmonics import feet_of_multiple
from walkboard.scales.key_names import read_key
from walkboard.scales.keys import Key

NEAR_FEET = 0.02  # relative: 2.67 is 2 2/3; chosen, half the step between neighbouring lengths
_MIXTURE = (
    'Write each of its rows as a rank with family = "open" and breaks, and one stop that plays '
    'them all: see "A mixture" in docs/organ-description.md.'
)
_CELESTE = 'Write family = "open" and beats = 2.0, or celeste = {cents = 12.0}.'

# By field: words separated by |, and what to write.
_WORDS: Mapping[str, Mapping[str, str]] = {
    "tuned_by": {
        "tongue|wire|tuning wire|crook|spring wire|reed|bridle": "spring",
        "sleeve|collar|tuning slide|sliders|ring|tuner": "slide",
        "scroll|slot|key|tongue of metal|expression": "roll",
        "flap|board|lid": "shade",
        "canister|can|hat|sliding cap": "cap",
        "plug|stopple|bung|tompion|tampion|stop": "stopper",
        "beard|ear|flaps|side ears": "ears",
        "coned|cup|coning|cut to length|none": "cone",
    },
    "family": {
        "flue|principal|diapason|string|flute|open wood|wood|labial|harmonic flute": "open",
        "gedackt|gedeckt|bourdon|closed|covered|stopped diapason|stopped flute": "stopped",
        "rohrflote|chimney flute|half-stopped|half stopped|rohrflöte|pierced": "chimney",
        "reeds|trumpet|tongue|lingual|free reed|zunge|chorus reed": "reed",
    },
}
_SENTENCES: Mapping[str, Mapping[str, str]] = {
    "family": {
        "mixture|cornet|sesquialtera|compound|mutation": _MIXTURE,
        "celeste|undulating|celestes": _CELESTE,
    },
}
_FIELDS: Mapping[str, str] = {
    "notes": "keys (of a division) or pipes (of a rank)",
    "compass": "keys = 56 for a division, from for a rank",
    "pitch": "feet",
    "length": "feet",
    "foot": "feet",
    "start": "from",
    "begins": "from",
    "wind": "wind_mm",
    "pressure": "wind_mm",
    "wind_inches": "wind_mm, in millimetres of water: an inch is 25.4",
    "material": "family, and put the material in the name",
    "ranks": "a [[rank]] for each",
    "expressive": "enclosed",
    "swell": "enclosed",
    "manual": "[[division]]",
    "keyboard": "[[division]]",
    "register": "[[stop]]",
    "at_fahrenheit": "at_celsius: subtract 32 and divide by 1.8",
    "a": "a4_hz",
    "hz": "a4_hz",
    "a1": "a4_hz",
}


def word_hint(field: str, word: str) -> str | None:
    """What to write instead of a word that a field does not accept; None if unknown."""
    plain = word.strip().lower()
    for words, sentence in _SENTENCES.get(field, {}).items():
        if plain in words.split("|"):
            return sentence
    for words, meant in _WORDS.get(field, {}).items():
        if plain in words.split("|"):
            return f"Did you mean {meant}?"
    return None


def field_hint(field: str) -> str | None:
    """What to write instead of a field that does not exist; None if unknown."""
    meant = _FIELDS.get(field.lower())
    return None if meant is None else f"Write {meant}."


def feet_hint(value: float) -> str | None:
    """Feet written as a decimal, in the format's form; None if no stop has that length."""
    if not 0.05 <= value <= 80.0:
        return None
    usual = [Fraction(odd * 2**octave, 8) for odd in (1, 3, 5, 7, 9) for octave in range(11)]
    near = min(usual, key=lambda multiple: abs(8.0 / float(multiple) / value - 1.0))
    if abs(8.0 / float(near) / value - 1.0) > NEAR_FEET:
        return None
    return f'Write feet = "{feet_of_multiple(near)}".'


def key_hint(name: str) -> str | None:
    """The scientific name of a key written in a national style; None if it is not a key."""
    key = {"tc": Key(48), "tenor c": Key(48), "middle c": Key(60), "cc": Key(36)}.get(
        name.strip().lower()
    )
    key = key or read_key(name)
    if key is None:
        return None
    try:
        Key.parse(name)
    except UnknownNameError:
        return f'Did you mean "{key.name}", the scientific name of the same key?'
    return None
