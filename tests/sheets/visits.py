"""An invented visit to a shipped organ: a plan, readings and ticks with known contents."""

from __future__ import annotations

import io
from collections.abc import Sequence
from datetime import date
from functools import cache

import pypdf

from walkboard.condition.state import Condition, DivisionState
from walkboard.listening.readings import Measured, Withheld
from walkboard.listening.types import ReadingFlag
from walkboard.organ.examples import hall, village
from walkboard.organ.model import Organ, PipeRef, Rank
from walkboard.organ.reading import read_organ
from walkboard.organ.targets import target_hz
from walkboard.planning.plan import Plan, PlanItem, Reference
from walkboard.quantities import ratio_of_cents
from walkboard.sheets.values import VisitFacts, Work
from walkboard.survey.hear.heard_walk import Reading

DAY = date(2026, 3, 14)
AIR_CELSIUS = 17.0


@cache
def village_organ() -> Organ:
    return read_organ(village())


@cache
def hall_organ() -> Organ:
    return read_organ(hall())


def facts(organ: Organ, **more: object) -> VisitFacts:
    given: dict[str, object] = {
        "day": DAY,
        "purpose": "Before the harvest festival",
        "air_celsius": {d.id: AIR_CELSIUS for d in organ.divisions},
        "humidity": 0.55,
        "minutes": 120.0,
    }
    return VisitFacts(**(given | more))  # type: ignore[arg-type]


def item(
    organ: Organ, order: int, pipe: PipeRef, cents: float, shift_cents: float = 0.0
) -> PlanItem:
    return PlanItem(
        order=order,
        pipe=pipe,
        cents=cents,
        target_hz=target_hz(organ, pipe, AIR_CELSIUS) * ratio_of_cents(shift_cents),
        move="flatter" if cents > 0.0 else "sharper",
        minutes=0.9,
        why=f"{abs(cents):.0f} cents {'sharp' if cents > 0.0 else 'flat'} of its chorus",
    )


def plan(organ: Organ, items: Sequence[PlanItem], shift_cents: float = 0.0) -> Plan:
    references = tuple(Reference(d.id, shift_cents, AIR_CELSIUS) for d in organ.divisions)
    used = 0.9 * len(items)
    return Plan(120.0, references, tuple(items), 80.0, 20.0, 20.0, used, ())


def work(organ: Organ, pipes: Sequence[tuple[str, float]], shift_cents: float = 0.0) -> Work:
    """A plan of (pipe, cents), in that order."""
    items = [
        item(organ, order, PipeRef.parse(name), cents, shift_cents)
        for order, (name, cents) in enumerate(pipes, start=1)
    ]
    return Work(plan(organ, items, shift_cents))


def reading(
    pipe: PipeRef, cents: float | None, *flags: ReadingFlag, sigma_cents: float = 0.05
) -> Reading:
    if cents is None:
        return Withheld(pipe=pipe, start_s=1.0, end_s=4.0, flags=flags)
    return Measured(
        pipe=pipe,
        hz=440.0,
        sigma_cents=sigma_cents,
        cents=cents,
        level_db=-20.0,
        start_s=1.0,
        end_s=4.0,
        wander_cents=0.05,
        flags=flags,
    )


def readings_of(rank: Rank, cents: float = 0.0) -> list[Reading]:
    return [reading(PipeRef(rank.id, n), cents) for n in range(1, rank.pipes + 1)]


def condition(organ: Organ, shift_cents: float = 2.0, reeds_cents: float = -4.0) -> Condition:
    return Condition(
        {
            d.id: DivisionState(
                division=d.id,
                shift_cents=shift_cents,
                shift_sigma_cents=0.2,
                stated_celsius=AIR_CELSIUS,
                implied_celsius=AIR_CELSIUS + 0.7,
                implied_sigma_celsius=0.1,
                thermometer_celsius=AIR_CELSIUS,
                agrees=True,
                reed_shift_cents=reeds_cents,
                reed_shift_sigma_cents=0.5,
                flues=100,
                reeds=30,
            )
            for d in organ.divisions
        },
        None,
    )


def pages(pdf: bytes) -> list[str]:
    """Text of each page, every run of blanks as one."""
    return [
        " ".join(page.extract_text().split()) for page in pypdf.PdfReader(io.BytesIO(pdf)).pages
    ]


def text(pdf: bytes) -> str:
    return " ".join(pages(pdf))


def unspaced(words: str) -> str:
    """Without blanks: where a line is broken depends on the letters, not on what is said."""
    return "".join(words.replace("\u200b", "").split())
