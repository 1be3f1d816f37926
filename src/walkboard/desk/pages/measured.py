"""What the live measurement needs in any page that shows it."""

from __future__ import annotations

from typing import Any

from walkboard.desk.text.catalogue import script_words
from walkboard.desk.text.preferences import Preferences
from walkboard.scales.keys import Key

_LOWEST, _HIGHEST = 0, 127  # semitones of keys that may be named


def setup(topic: str, turn: str, chosen: Preferences) -> dict[str, Any]:
    """For the template ``measured/place.html``.

    Parameters
    ----------
    topic : str
        Topic on which the session is sent.
    turn : str
        Where the page says to which pipe the tuner goes; empty where it does not.
    chosen : Preferences
    """
    return {
        "topic": topic,
        "turn": turn,
        "words": script_words("measured"),
        "keys": {n: chosen.key(Key(n)) for n in range(_LOWEST, _HIGHEST + 1)},
    }
