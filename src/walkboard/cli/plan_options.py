"""The options for a plan: shared by ``plan`` and ``visit plan``."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from walkboard.errors import InputError

if TYPE_CHECKING:
    from walkboard.book.records import KeptFault
    from walkboard.organ.model import Organ
    from walkboard.planning.request import PlanRequest
    from walkboard.planning.value.use import EventUse
    from walkboard.work.plan_request import EventNeeds

EVENT_AIR = typer.Option(
    [],
    "--event-air",
    metavar="[DIVISION=]C",
    help="Air at the event [°C], for one division or all; may be repeated.",
)
MUST = typer.Option(
    [], "--must", metavar="NAME", help="Rank, stop or rank:number that must be tuned."
)
MUST_NOT = typer.Option(
    [], "--must-not", metavar="NAME", help="Rank, stop or rank:number to leave alone."
)
OUT_OF_REACH = typer.Option(
    [],
    "--out-of-reach",
    metavar="NAME",
    help="Rank, chest or division that cannot be reached today.",
)
WITHIN = typer.Option(
    [], "--within", metavar="STOP=CENTS", help="A stop that the event needs this close to pitch."
)
TIE = typer.Option(
    0.0, "--tie", metavar="CENTS", help="How far apart divisions may be tuned; 0 for all alike."
)
LEAVE_RISKY = typer.Option(
    False, "--leave-risky", help="Leave risky pipes alone instead of counting the risk."
)
PURPOSE = typer.Option(
    "hymns",
    "--purpose",
    help="What the organ is mostly used for: hymns, recital, accompaniment or lessons.",
)
PURPOSE_OF_BOOK = typer.Option(
    None,
    "--purpose",
    help="What the organ is mostly used for: hymns, recital, accompaniment or lessons; default: "
    "as in its last plan, else hymns.",
)
LEAVE_STRAYS = typer.Option(
    False, "--leave-strays", help="Weigh pipes over 10 cents off like any other."
)
COUPLED = typer.Option(
    [],
    "--coupled",
    metavar="DIVISION,DIVISION[,...]",
    help="Divisions that are played coupled: they are tuned to one pitch.",
)
EXPLAIN = typer.Option(
    [], "--explain", metavar="NAME", help="Explain the cost of a pipe, rank or stop."
)
REGISTRATION = typer.Option(
    [], "--event-stops", metavar="STOP[,STOP...]", help="Stops that the event draws together."
)
MUSIC = typer.Option(
    [],
    "--music",
    metavar="FILE.mid=STOP[,STOP...]",
    help="A Standard MIDI File of the event's music, with the stops drawn for it.",
)
ON = typer.Option(
    [], "--on", metavar="CHANNEL=DIVISION", help="Where a MIDI channel (from 1) is played."
)


def request_from_options(
    organ: Organ,
    minutes: float,
    *,
    event_air: Sequence[str],
    must: Sequence[str],
    must_not: Sequence[str],
    out_of_reach: Sequence[str],
    within: Sequence[str],
    tie: float,
    leave_risky: bool,
    leave_strays: bool,
    purpose: str,
    coupled: Sequence[str] = (),
    registrations: Sequence[str] = (),
    music: Sequence[str] = (),
    on: Sequence[str] = (),
    event: EventNeeds | None = None,
    faults: Sequence[KeptFault] = (),
) -> PlanRequest:
    """The plan request from the options.

    Raises
    ------
    InputError
        If one is not understood.
    """
    from walkboard.work.plan_request import request_of

    return request_of(
        organ,
        minutes,
        event=event,
        event_air_celsius=airs("--event-air", event_air),
        use=use_of(organ, registrations, music, on),
        must=must,
        must_not=must_not,
        out_of_reach=out_of_reach,
        within_cents=dict(pairs("--within", within, "great.principal8=2")),
        tie_cents=tie,
        leave_risky=leave_risky,
        leave_strays=leave_strays,
        purpose=purpose,
        coupled=[name for text in coupled for name in names_of(text)],
        faults=faults,
    )


def use_of(
    organ: Organ, registrations: Sequence[str], music: Sequence[str], on: Sequence[str]
) -> EventUse:
    """How an event uses the organ, from the options.

    Raises
    ------
    InputError
        When one is not understood, or a file cannot be read.
    """
    from walkboard.planning.value.use import EventUse, RegistrationUse
    from walkboard.work.calendar.music import read_music

    uses = [RegistrationUse(names_of(text)) for text in registrations]
    channels = channels_of(on)
    for text in music:
        file, equals, stops = text.rpartition("=")
        if not equals:
            raise InputError(
                f"--music {text!r} is not understood.",
                fix="Write --music hymn.mid=great.principal8,great.octave4.",
            )
        uses.append(read_music(Path(file), organ, names_of(stops), channels))
    return EventUse(tuple(uses))


def names_of(text: str) -> tuple[str, ...]:
    """Ids, separated by commas."""
    return tuple(name.strip() for name in text.split(",") if name.strip())


def channels_of(on: Sequence[str]) -> dict[int, str]:
    """Where MIDI channels are played, as ``1=great``.

    Raises
    ------
    InputError
        If one is not understood.
    """
    found = {}
    for text in on:
        channel, equals, division = text.partition("=")
        if not equals or not channel.isdecimal() or not 1 <= int(channel) <= 16:
            raise InputError(
                f"--on {text!r} is not understood.",
                fix="Write --on 1=great, with a channel from 1 to 16.",
            )
        found[int(channel)] = division.strip()
    return found


def airs(option: str, given: Sequence[str]) -> dict[str, float]:
    """Temperatures by division; the key ``""`` is for all divisions not named.

    Raises
    ------
    InputError
        If one is not a number.
    """
    found = {}
    for text in given:
        division, _, figure = text.rpartition("=")
        found[division.strip()] = _figure(option, text, figure, "great=19.5, or 19.5 for all")
    return found


def pairs(option: str, given: Sequence[str], example: str) -> list[tuple[str, float]]:
    """Names with a figure each, as ``great.principal8=2``.

    Raises
    ------
    InputError
        If one is not understood.
    """
    found = []
    for text in given:
        name, equals, figure = text.rpartition("=")
        if not equals:
            figure = ""
        found.append((name.strip(), _figure(option, text, figure, example)))
    return found


def _figure(option: str, text: str, figure: str, example: str) -> float:
    try:
        return float(figure)
    except ValueError:
        raise InputError(
            f"{option} {text!r} is not understood.", fix=f"Write {option} {example}."
        ) from None
