"""Numbers, dates and names as the sheets write them."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import date
from fractions import Fraction

from walkboard.languages.translation import MONTHS
from walkboard.organ.model import Organ, Rank
from walkboard.scales.harmonics import feet_of_multiple
from walkboard.scales.key_names import Names, name_of
from walkboard.scales.keys import Key
from walkboard.scales.pitch import A4
from walkboard.survey.plan.walk_plan import Doubt, Run

_FRACTIONS = {"1/2": "½", "1/3": "⅓", "2/3": "⅔", "1/5": "⅕", "2/5": "⅖", "3/5": "⅗"}
BOUND = "\N{NO-BREAK SPACE}"
_ROMAN = frozenset("iv")
_LEAST_CENTS = 0.05  # what one decimal shows as zero


def day_words(day: date) -> str:
    """``14 March 2026``."""
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"


_key_names: ContextVar[Names] = ContextVar("key_names", default=Names.SCIENTIFIC)


def key_words(key: Key) -> str:
    """``F♯3``, or as `naming_keys` has it."""
    return name_of(key, _key_names.get())


@contextmanager
def naming_keys(names: Names) -> Iterator[None]:
    """Sheets made within name their keys so."""
    before = _key_names.set(names)
    try:
        yield
    finally:
        _key_names.reset(before)


def pitch_words(organ: Organ) -> str:
    """The organ's pitch: ``A4 = 440 Hz at 18 °C``; the key as `naming_keys` has it."""
    return f"{key_words(A4)} = {organ.pitch.a4_hz:g} Hz at {organ.pitch.at_celsius:g} °C"


def span_words(keys: Run | Doubt) -> str:
    """``C2–F♯3, only C and F♯``, or as `naming_keys` has it."""
    return keys.words(_key_names.get())


def signed(value: float, decimals: int = 1) -> str:
    """``+4.8`` or ``−7.2``; zero carries no sign."""
    text = f"{abs(value):.{decimals}f}"
    if float(text) == 0.0:
        return text
    return f"{'+' if value > 0.0 else '−'}{text}"


def flat_or_sharp(cents: float) -> str:
    """A deviation in words: ``7.2 flat``, ``0.4 sharp``, ``in tune``."""
    if abs(cents) < _LEAST_CENTS:
        return "in tune"
    return f"{abs(cents):.1f} {'sharp' if cents > 0.0 else 'flat'}"


def against(cents: float, what: str) -> str:
    """``4.8 cents sharp of the flues``, or ``at the flues``."""
    if abs(cents) < _LEAST_CENTS:
        return f"at {what}"
    return f"{abs(cents):.1f} cents {'sharp' if cents > 0.0 else 'flat'} of {what}"


def hertz(hz: float) -> str:
    """A frequency to about a tenth of a cent or finer."""
    return f"{hz:.{3 if hz < 100.0 else 2 if hz < 1000.0 else 1}f}"


def celsius(value: float) -> str:
    """``17.2 °C``, kept on one line."""
    return f"{value:.1f}".replace("-", "−") + f"{BOUND}°C"


def minutes(value: float) -> str:
    """``1 min``, ``0.6 min``, ``1 h 58 min``."""
    if value < 10.0:
        return f"{value:.1f}".removesuffix(".0") + f"{BOUND}min"
    whole = round(value)
    hours, rest = divmod(whole, 60)
    if not hours:
        return f"{rest}{BOUND}min"
    return f"{hours}{BOUND}h {rest}{BOUND}min" if rest else f"{hours}{BOUND}h"


def counted(count: int, one: str, many: str = "") -> str:
    """``1 pipe``, ``12 pipes``."""
    return f"{count} {one if count == 1 else many or one + 's'}"


def listed(words: Sequence[str], most: int = 0) -> str:
    """``a, b and c``; with `most`, no more than that and how many remain."""
    shown = list(words[:most] if most else words)
    if len(words) > len(shown):
        shown.append(f"{len(words) - len(shown)} more")
    if len(shown) < 2:
        return "".join(shown)
    return f"{', '.join(shown[:-1])} and {shown[-1]}"


def feet_words(multiple: Fraction) -> str:
    """``8′``, ``2⅔′``."""
    whole, _, rest = feet_of_multiple(multiple).partition(" ")
    if "/" in whole:
        whole, rest = "", whole
    return f"{whole}{_FRACTIONS.get(rest, rest if not whole else f' {rest}')}′".replace(" ′", "′")


def with_feet(name: str, multiple: Fraction) -> str:
    """A name with its feet: ``Nazard`` and ``Nazard 2 2/3`` are both ``Nazard 2⅔′``.

    A name with other figures stays as it is: ``Mixture, row 2``.
    """
    feet = feet_words(multiple)
    if not any(c.isdigit() for c in name):
        return f"{name} {feet}"
    plain = re.escape(feet_of_multiple(multiple))
    return re.sub(rf"(?<=\s){plain}(?=$|,)", feet, name)


def temperament_words(name: str) -> str:
    """A temperament as it is written: ``Werckmeister III``, ``Vallotti on G``, ``Meantone 1/4``."""
    first, *rest = name.split(" ")
    rest = [word.upper() if _ROMAN.issuperset(word) else word for word in rest]
    return " ".join((first.capitalize(), *rest))


def rank_words(organ: Organ, rank: Rank) -> str:
    """``Great · Principal 4′``; mixtures' rows that break carry no feet."""
    name = rank.name
    if not rank.breaks_back:
        name = with_feet(name, rank.multiples[0][1])
    return f"{organ.division(rank.division).name} · {name}"
