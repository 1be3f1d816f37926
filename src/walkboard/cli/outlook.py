"""``walkboard outlook``, ``first-keys``, ``next-keys`` and ``readiness``."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from walkboard.cli.options import BOOK, ORGAN
from walkboard.cli.printing import number, print_json, print_table
from walkboard.errors import InputError

if TYPE_CHECKING:
    from walkboard.planning.listen.readiness import Readiness
    from walkboard.survey.plan.walk_plan import SurveyWalk

OUTLOOK_EXAMPLE = "Example: walkboard outlook book --on 2031-12-20 --air 20"
FIRST_EXAMPLE = "Example: walkboard first-keys book"
NEXT_EXAMPLE = "Example: walkboard next-keys book --minutes 150"
READINESS_EXAMPLE = "Example: walkboard readiness book"

ON = typer.Option(None, "--on", metavar="DATE", help="Day, as 2031-12-20; default: today.")


def outlook(
    book: Path = BOOK,
    organ: str = ORGAN,
    on: str | None = ON,
    air: float | None = typer.Option(
        None, "--air", help="Air at the organ [°C]; default: that of its pitch."
    ),
    rank: str | None = typer.Option(None, "--rank", help="Every pipe of one rank."),
    chart: Path | None = typer.Option(
        None, "--chart", help="Write a chart of that rank over the visits, as SVG."
    ),
    as_json: bool = typer.Option(False, "--json", help="Print JSON."),
) -> None:
    """Show the expected pitch of every rank, or of every pipe of one, on a given day."""
    import numpy as np

    from walkboard.work import open_book
    from walkboard.work import outlook as outlook_work

    day = _day(on)
    with open_book.opened(book) as opened:
        kept, described = open_book.organ_of(opened, organ)
        seen = outlook_work.followed(opened, kept, described)
    celsius = described.pitch.at_celsius if air is None else air
    there = outlook_work.outlook(seen, day, {d.id: celsius for d in described.divisions})
    parts = there.parts
    low, middle, high = (parts.quantile(q) for q in (0.05, 0.5, 0.95))
    ranks = [pipe.rank for pipe in there.pipes]
    if chart is not None:
        if rank is None:
            raise InputError("Say which rank to draw.", fix="Give --rank.")
        from walkboard.sheets.drift_chart import draw_drift
        from walkboard.work.drift_course import drift_courses
        from walkboard.work.write_files import write_file

        (course,) = drift_courses(seen, [described.rank(rank).id], day, celsius)
        write_file(draw_drift(course).encode(), chart, what="chart")
    if rank is not None:
        described.rank(rank)
        rows = [n for n, r in enumerate(ranks) if r == rank]
        pipes = [
            {
                "pipe": str(there.pipes[n]),
                "cents": float(middle[n]),
                "low_cents": float(low[n]),
                "high_cents": float(high[n]),
            }
            for n in rows
        ]
        if as_json:
            print_json({"format": 1, "on": day.isoformat(), "air_celsius": celsius, "pipes": pipes})
            return
        print_table(
            ["pipe", "expected", "90 %: from", "to"],
            [
                [
                    str(p["pipe"]),
                    *(f"{p[name]:+.1f}" for name in ("cents", "low_cents", "high_cents")),
                ]
                for p in pipes
            ],
            right="lrrr",
        )
        return
    summary: list[dict[str, Any]] = []
    for at, one in enumerate(described.ranks):
        own = np.array([r == one.id for r in ranks])
        follows, sigma = seen.drift.ranks[at].follows()
        summary.append(
            {
                "rank": one.id,
                "cents": float(np.median(middle[own])),
                "spread_cents": float(np.median(high[own] - low[own]) / 2.0),
                "outside_4_cents": float(1.0 - parts.chosen(own).within(-4.0, 4.0).mean()),
                "follows": follows,
                "follows_sigma": sigma,
            }
        )
    if as_json:
        print_json({"format": 1, "on": day.isoformat(), "air_celsius": celsius, "ranks": summary})
        return
    from walkboard.physics.air import Air, cents_per_celsius

    a_degree = cents_per_celsius(Air(described.pitch.at_celsius))
    print_table(
        ["rank", "stands", "90 %: ±", "over 4 cents", "cents a °C beside the flues"],
        [
            [
                str(s["rank"]),
                f"{s['cents']:+.1f}",
                f"{s['spread_cents']:.1f}",
                f"{s['outside_4_cents']:.0%}",
                f"{a_degree * s['follows']:+.2f} ± {a_degree * s['follows_sigma']:.2f}",
            ]
            for s in summary
        ],
        right="lrrrr",
    )


def first_keys(
    book: Path = BOOK,
    organ: str = ORGAN,
    keys: int | None = typer.Option(
        None, "--keys", help="How many keys; default: 20, or 40 for an organ never heard."
    ),
    as_json: bool = typer.Option(False, "--json", help="Print JSON."),
) -> None:
    """Suggest the few keys that say most about the organ's state."""
    from walkboard.work import open_book
    from walkboard.work import outlook as outlook_work

    with open_book.opened(book) as opened:
        kept, described = open_book.organ_of(opened, organ)
        walks = outlook_work.first_keys(opened, kept, described, _day(None), keys)
    if as_json:
        print_json({"format": 1, "walks": _walks_json(walks)})
        return
    _print_walks(walks)


def next_keys(
    book: Path = BOOK,
    organ: str = ORGAN,
    minutes: float = typer.Option(..., "--minutes", help="Minutes left, listening and tuning."),
    listening: float | None = typer.Option(
        None, "--listening", help="The most to spend on listening; default: chosen for you."
    ),
    as_json: bool = typer.Option(False, "--json", help="Print JSON."),
) -> None:
    """Suggest which keys to hold next at the open visit, for the most useful plan."""
    from walkboard.work import open_book
    from walkboard.work import outlook as outlook_work

    with open_book.opened(book) as opened:
        kept, described = open_book.organ_of(opened, organ)
        visit = open_book.visit_at_work(opened, kept)
        chosen = outlook_work.listening_for(
            opened, kept, described, visit, minutes=minutes, listening_minutes=listening
        )
    if as_json:
        print_json(
            {
                "format": 1,
                "minutes": chosen.minutes,
                "worth": chosen.worth,
                "price": chosen.price,
                "walks": _walks_json(chosen.walks),
            }
        )
        return
    _print_walks(chosen.walks)
    typer.echo(
        f"\n{chosen.minutes:.0f} minutes of listening, {len(chosen.pipes)} pipes; expected to save "
        f"badness {chosen.worth:.2f}, where a minute of tuning brings {chosen.price:.2f}."
    )


def readiness(
    book: Path = BOOK,
    organ: str = ORGAN,
    minutes: float | None = typer.Option(
        None, "--minutes", help="Minutes of a visit; default: those of the last."
    ),
    chart: Path | None = typer.Option(
        None, "--chart", help="Write a chart along the calendar, as SVG."
    ),
    as_json: bool = typer.Option(False, "--json", help="Print JSON."),
) -> None:
    """Show whether the organ will be ready for each coming event, with and without a visit."""
    from walkboard.work import open_book
    from walkboard.work import outlook as outlook_work

    with open_book.opened(book) as opened:
        kept, described = open_book.organ_of(opened, organ)
        found = outlook_work.readiness(opened, kept, described, _day(None), minutes)
    if chart is not None:
        from walkboard.sheets.outlook import calendar_chart
        from walkboard.sheets.readiness_chart import draw_readiness
        from walkboard.work.write_files import write_file

        drawn = draw_readiness(calendar_chart(_day(None), found))
        write_file(drawn.encode(), chart, what="chart")
    if as_json:
        print_json({"format": 1, "events": [_readiness_json(one) for one in found]})
        return
    if not found:
        typer.echo("No event is coming.")
        return
    print_table(
        [
            "event",
            "on",
            "badness",
            "visited",
            "stops ready",
            "visited",
            "stays until",
            "visit from",
        ],
        [
            [
                one.occasion.title,
                one.occasion.at.isoformat(),
                number(one.as_it_is.badness, ".1f"),
                number(one.visited.badness, ".1f"),
                _count(one.as_it_is.stops),
                _count(one.visited.stops),
                "not now" if one.ready_until is None else one.ready_until.isoformat(),
                "–" if one.visit_from is None else one.visit_from.isoformat(),
            ]
            for one in found
        ],
        right="llrrrrll",
    )
    typer.echo(
        "\n'visited': after a visit before it, tuned by the forecast alone; who listens first does "
        "better."
    )


def _count(stops: Sequence[Any]) -> str:
    from walkboard.planning.listen.readiness import READY_CHANCE

    return f"{sum(s.chance >= READY_CHANCE for s in stops)} of {len(stops)}"


def _readiness_json(one: Readiness) -> dict[str, Any]:
    def stops(found: Sequence[Any]) -> list[dict[str, Any]]:
        return [{"stop": s.stop, "within": s.within, "chance": s.chance} for s in found]

    return {
        "title": one.occasion.title,
        "on": one.occasion.at.isoformat(),
        "badness": one.as_it_is.badness,
        "badness_visited": one.visited.badness,
        "stops": stops(one.as_it_is.stops),
        "stops_visited": stops(one.visited.stops),
        "ready_until": None if one.ready_until is None else one.ready_until.isoformat(),
        "visit_from": None if one.visit_from is None else one.visit_from.isoformat(),
        "visit_by": one.visit_by.isoformat(),
    }


def _walks_json(walks: Sequence[SurveyWalk]) -> list[dict[str, Any]]:
    return [
        {
            "division": walk.division,
            "drawn": list(walk.drawn),
            "keys": [key.name for key in walk.keys],
            "pipes": [str(pipe) for pipe in walk.reads],
        }
        for walk in walks
    ]


def _print_walks(walks: Sequence[SurveyWalk]) -> None:
    print_table(
        ["keyboard", "draw", "hold"],
        [
            [walk.division, " + ".join(walk.drawn), " ".join(key.name for key in walk.keys)]
            for walk in walks
        ],
    )


def _day(on: str | None) -> date:
    from walkboard.work.open_book import now

    if on is None:
        return now().date()
    try:
        return date.fromisoformat(on)
    except ValueError:
        raise InputError(f"{on!r} is not a day.", fix="Write it as 2031-12-20.") from None
