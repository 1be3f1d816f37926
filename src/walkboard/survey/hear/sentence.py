"""The sentence that says what was heard, and the question that follows from it."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import replace

from walkboard.errors import UnknownNameError
from walkboard.organ.model import Organ
from walkboard.physics.air import Air, cents_per_celsius
from walkboard.scales.keys import Key
from walkboard.survey.hear.before import Answer
from walkboard.survey.hear.weigh import Weighed
from walkboard.survey.recognise.limits import LIMITS
from walkboard.survey.recognise.shift import Shifted
from walkboard.survey.recognise.verdict import AlsoSounding, Cipher, Heard

_PITCHES_HZ = (415.0, 430.0, 432.0, 435.0, 440.0, 442.0, 452.5, 466.0)
_NEAR_CENTS = 6.0


def not_a_walk(why: str) -> Heard:
    """The verdict on a recording that is not a walk."""
    return Heard(f"This is not a walk: {why}. Nothing was kept.", is_walk=False, believed=False)


def other_stop(organ: Organ, drawn: Sequence[str], also: AlsoSounding) -> Heard:
    """The verdict if another stop was walked."""
    what = stop_name(organ, also.stop)
    stated = _and([stop_name(organ, stop) for stop in drawn])
    if also.semitones:
        way = "an octave higher" if also.semitones > 0 else "an octave lower"
        sentence = (
            f"This sounds like {what} {way}, not {stated}: was an octave coupler on and the unison"
            " off?"
        )
    else:
        sentence = f"This sounds like {what}{_or(organ, also)}, not {stated}."
    return Heard(
        f"{sentence} No value was kept.",
        also_sounding=(also,),
        not_sounding=tuple(drawn),
        believed=False,
        question=f"{sentence} Listen again with what was really drawn, or discard the recording.",
    )


def several_stops(organ: Organ, drawn: Sequence[str], also: Sequence[AlsoSounding]) -> Heard:
    """The verdict if a lower stop than stated sounds, and others with it."""
    stated = _and([stop_name(organ, stop) for stop in drawn])
    what = _and([f"{stop_name(organ, one.stop)}{_or(organ, one)}" for one in also])
    sentence = f"More sounds than {stated}: also {what}."
    return Heard(
        f"{sentence} No value was kept.",
        also_sounding=tuple(also),
        believed=False,
        question=f"{sentence} Listen again with what was really drawn, or discard the recording.",
    )


_NOTHING_ELSE = "nothing else"


def measured_together(organ: Organ, heard: Heard) -> Heard:
    """The verdict if the stops that also sound were measured together with the stated ones.

    Parameters
    ----------
    heard : Heard
        The verdict with those stops among the stated ones, and what also sounds filled in.
    """
    also = [_also(organ, one) for one in heard.also_sounding]
    together = "; ".join([*also, "all were measured together"])
    question = " ".join(part for part in (_sentences(also), heard.question) if part)
    sentence = heard.sentence.replace(_NOTHING_ELSE, together, 1)
    return replace(heard, sentence=sentence, question=question)


def nothing_of(organ: Organ, heard: Heard, silent: Sequence[str]) -> Heard:
    """What to report if only one of the stated stops was heard, as judged with that one."""
    said = "; ".join(_nothing_of(organ, stop) for stop in silent)
    sentence = heard.sentence.replace(_NOTHING_ELSE, said, 1)
    return replace(heard, sentence=sentence, not_sounding=tuple(silent))


def which_alone(organ: Organ, heard: Heard, stops: Sequence[str]) -> Heard:
    """What to report if stated stops are never heard together, and any of them may be alone."""
    names = _and([stop_name(organ, stop) for stop in stops])
    sentence = f"Only one of {names} is heard at a time: which of them was drawn?"
    return replace(
        heard,
        sentence=f"{sentence} No value was kept.",
        believed=False,
        question=f"{sentence} Listen again with that one.",
    )


def _nothing_of(organ: Organ, stop: str) -> str:
    return (
        f"nothing of {stop_name(organ, stop)} is heard at any key: not drawn, or exactly in tune"
        " with the others"
    )


def with_sentence(
    weighed: Weighed,
    organ: Organ,
    drawn: Sequence[str],
    held: Sequence[Key],
    shifted: Shifted,
) -> Heard:
    """The verdict with its sentence and question.

    Parameters
    ----------
    weighed : Weighed
    held : sequence of Key
        Keys heard, in order of time.
    shifted : Shifted
    """
    heard = weighed.heard
    odd = _what_is_odd(weighed, organ, drawn)
    where = _keys(held)
    what = _and([stop_name(organ, stop) for stop in drawn if stop not in heard.not_sounding])
    pitch = _pitch(organ, heard.shift_cents or 0.0, shifted)
    undecided = _undecided(weighed, organ)
    said = "; ".join([*(odd or [_NOTHING_ELSE]), pitch, *undecided])
    sentence = f"Heard: {what or 'nothing that was stated'}, {where}; {said}."
    shifted_far = abs(heard.shift_cents or 0.0) >= LIMITS.shift_said_cents
    questions = [*odd, pitch] if shifted_far else odd
    asks = shifted_far or not heard.believed or weighed.compared.answer is Answer.UNLIKE
    asked = _sentences(questions) if asks else ""
    return replace(heard, sentence=sentence, question=asked, undecided=tuple(undecided))


def _sentences(parts: Sequence[str]) -> str:
    return " ".join(
        f"{part[0].upper()}{part[1:]}{'' if part.endswith('?') else '.'}" for part in parts
    )


def _what_is_odd(weighed: Weighed, organ: Organ, drawn: Sequence[str]) -> list[str]:
    heard = weighed.heard
    said = []
    if heard.tremulant is not None:
        trem = heard.tremulant
        said.append(
            f"a tremulant is on ({trem.rate_hz:.1f} a second, ±{trem.depth_cents:.1f} cents)"
        )
    if weighed.moved_cents is not None:
        said.append(
            f"pitch moves by {weighed.moved_cents:.1f} cents within the holds: was the microphone"
            " moved?"
        )
    said += [_cipher(organ, cipher) for cipher in heard.cipher]
    if weighed.octave.likely and not heard.believed:
        octave = weighed.octave
        keys = f"{octave.first.name} to {octave.last.name}" if octave.first and octave.last else ""
        said.append(
            f"these may be keys {keys} of {_one_of(organ, octave.likely)}, an octave away: which of"
            " the two was drawn?"
        )
    elif heard.not_sounding and heard.also_sounding and set(heard.not_sounding) >= set(drawn):
        one = heard.also_sounding[0]
        name = stop_name(organ, one.stop)
        said.append(
            f"it sounds as {name} did in an earlier recording: was that drawn?"
            if weighed.compared.answer is Answer.OTHER
            else f"its partials are those of another stop of this pitch: was"
            f" {name}{_or(organ, one)} drawn?"
        )
    elif heard.not_sounding and set(heard.not_sounding) >= set(drawn):
        said.append("its partials are not those of the family stated: which stop was drawn?")
    else:
        said += [_also(organ, one) for one in heard.also_sounding]
        said += [_nothing_of(organ, stop) for stop in heard.not_sounding]
    if weighed.unnamed:
        said.append(
            "more sounds than was stated, and no stop of the organ fits it: what else was drawn?"
        )
    if weighed.compared.answer is Answer.UNLIKE:
        instead = _one_of(organ, weighed.compared.stops) or "another stop"
        said.append(
            f"it does not sound as {stop_name(organ, drawn[0])} did in earlier recordings: was"
            f" {instead} drawn, or the rank changed?"
        )
    return said


def _undecided(weighed: Weighed, organ: Organ) -> list[str]:
    """What the recording cannot show, as ends of a sentence."""
    if weighed.octave.possible and weighed.heard.believed:
        other = _one_of(organ, weighed.octave.possible)
        return [*_unlike_others(weighed, organ), f"keys an octave away of {other} sound the same"]
    return _unlike_others(weighed, organ)


def _unlike_others(weighed: Weighed, organ: Organ) -> list[str]:
    match weighed.compared.answer:
        case Answer.NO_MEMORY:
            why = " without earlier recordings of both"
        case Answer.ALIKE:
            why = ": earlier recordings of both sound alike"
        case Answer.OTHER if weighed.sure:
            other = _one_of(organ, weighed.compared.stops)
            return [f"sounds as {other} did in an earlier recording, kept because you are sure"]
        case _:
            return []
    return [f"cannot be distinguished from {_one_of(organ, weighed.compared.stops)}{why}"]


def _one_of(organ: Organ, stops: Sequence[str]) -> str:
    """Stops by name, at most two of them."""
    names = [stop_name(organ, stop) for stop in stops[:2]]
    more = ["another of this pitch"] if len(stops) > 2 else []
    return " or ".join([*names, *more])


def _also(organ: Organ, one: AlsoSounding) -> str:
    name = stop_name(organ, one.stop)
    at = f"at {one.keys} of {one.of_keys} keys"
    if one.semitones:
        kind = "octave coupler" if one.semitones > 0 else "sub-octave coupler"
        beside = f", or is {stop_name(organ, one.or_stops[0])} drawn" if one.or_stops else ""
        way = "higher" if one.semitones > 0 else "lower"
        return f"{name} also sounds an octave {way} {at}: is the {kind} on{beside}?"
    return f"{name}{_or(organ, one)} also sounds {at}: is it drawn, or a coupler on?"


def _cipher(organ: Organ, cipher: Cipher) -> str:
    if cipher.pipe is None:
        return f"a tone of {cipher.hz:.1f} Hz sounds throughout"
    rank, _, number = cipher.pipe.rpartition(":")
    key = organ.rank(rank).key_of(int(number)).name
    since = "throughout" if cipher.start_s < 3.0 else f"from {cipher.start_s:.0f} s on"
    return f"a cipher sounds {since}: {organ.rank(rank).name} {key}, or another pipe of that pitch"


def _pitch(organ: Organ, cents: float, shifted: Shifted) -> str:
    if abs(cents) < LIMITS.shift_said_cents:
        if shifted.open_ended:
            return (
                "pitch as described, but neither end of the compass was played, so a whole"
                " semitone cannot be excluded"
            )
        return "pitch as described"
    a4_hz = organ.pitch.a4_hz * 2.0 ** (cents / 1200.0)
    way = "below" if cents < 0 else "above"
    near = [hz for hz in _PITCHES_HZ if abs(1200.0 * math.log2(a4_hz / hz)) < _NEAR_CENTS]
    written = f"{near[0]:g}" if near else f"{a4_hz:.1f}"
    said = f"everything sounds {abs(cents):.0f} cents {way} the description"
    if abs(cents) < LIMITS.shift_asked_cents:
        degrees = abs(cents) / cents_per_celsius(Air(organ.pitch.at_celsius))
        kind = "colder" if cents < 0 else "warmer"
        return f"{said}: is the air {degrees:.0f} °C {kind}, or A4 = {written} Hz?"
    return f"{said}: is it A4 = {written} Hz? Then write a4_hz = {written} under [pitch]"


def stop_name(organ: Organ, stop: str) -> str:
    """A stop as a tuner names it, with its division."""
    try:
        found = organ.stop(stop)
    except UnknownNameError:
        return stop
    return f"{found.name} ({organ.division(found.division).name})"


def _or(organ: Organ, one: AlsoSounding) -> str:
    """Other stops that it may be, at most two of them by name."""
    if not one.or_stops:
        return ""
    return f" (or {_one_of(organ, one.or_stops)})"


def _and(names: Sequence[str]) -> str:
    return (
        names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}" if names else ""
    )


def _keys(held: Sequence[Key]) -> str:
    if not held:
        return "no key"
    low, high = min(held), max(held)
    if low == high:
        return f"key {low.name}"
    ups = sum(b > a for a, b in itertools.pairwise(held))
    downs = sum(b < a for a, b in itertools.pairwise(held))
    if ups >= downs:
        return f"keys {low.name} to {high.name} upward"
    return f"keys {high.name} to {low.name} downward"
