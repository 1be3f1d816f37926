"""The logged air as one HTML file that needs nothing else: chart, visits, events, sentences."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from html import escape
from importlib.resources import files
from string import Template

import numpy as np

from walkboard.book.records import KeptEvent, KeptVisit
from walkboard.organ.model import Organ
from walkboard.work.conditions.air_ahead import AirAhead, Series

_WIDTH, _HEIGHT = 960.0, 320.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 46.0, 950.0, 14.0, 284.0
_COLUMNS = 450
_DASHES = ("", "7 4", "2 3", "10 3 2 3", "1 4", "12 5")  # places differ by more than their colour


def air_page(
    organ: Organ,
    ahead: AirAhead,
    visits: Sequence[KeptVisit],
    events: Sequence[KeptEvent],
    words: Sequence[str],
) -> str:
    """The page.

    Parameters
    ----------
    organ : Organ
    ahead : AirAhead
    visits : sequence of KeptVisit
    events : sequence of KeptEvent
    words : sequence of str
        `walkboard.work.conditions.words.air_words`.
    """
    items = "\n".join(f"<li>{escape(sentence)}</li>" for sentence in words)
    chart = air_chart(organ, ahead, visits, events)
    text = files("walkboard.work.conditions").joinpath("air.html").read_text(encoding="utf-8")
    return Template(text).substitute(organ=escape(organ.name), chart=chart, words=items)


def air_chart(
    organ: Organ, ahead: AirAhead, visits: Sequence[KeptVisit], events: Sequence[KeptEvent]
) -> str:
    """Temperature of every place against time as SVG, with visits and events."""
    first = min(float(hours[0]) for hours, _ in ahead.logs.values())
    last = max(float(hours[-1]) for hours, _ in ahead.logs.values())
    low = np.floor(min(float(c.min()) for _, c in ahead.logs.values()) - 0.5)
    high = np.ceil(max(float(c.max()) for _, c in ahead.logs.values()) + 0.5)

    def x(hour: float) -> float:
        return _LEFT + (hour - first) / max(last - first, 1e-9) * (_RIGHT - _LEFT)

    def y(value: float) -> float:
        return float(_BOTTOM - (value - low) / (high - low) * (_BOTTOM - _TOP))

    parts = []
    step = max(1.0, np.ceil((high - low) / 8.0))
    for value in np.arange(low, high + 0.1, step):
        parts.append(f'<path class="grid" d="M{_LEFT} {y(value):.1f}H{_RIGHT}"/>')
        label = f"{value:.0f}".replace("-", "−")
        parts.append(
            f'<text x="{_LEFT - 6}" y="{y(value) + 4:.1f}" text-anchor="end">{label}</text>'
        )
    for n in range(5):
        hour = first + (last - first) * n / 4.0
        day = (ahead.since + timedelta(hours=hour)).astimezone()
        anchor = ("start", "middle", "middle", "middle", "end")[n]
        place_at = f'x="{x(hour):.1f}" y="{_BOTTOM + 18}" text-anchor="{anchor}"'
        parts.append(f"<text {place_at}>{day:%d.%m. %H:%M}</text>")
    names = {d.id: d.name for d in organ.divisions}
    for place, dash in zip(ahead.logs, _DASHES * 9, strict=False):
        d = "M" + "L".join(f"{x(h):.1f} {y(c):.1f}" for h, c in _thinned(ahead.logs[place]))
        parts.append(f'<path class="line" stroke-dasharray="{dash}" d="{d}"/>')
    parts += [
        f'<path class="visit" d="M{x(at):.1f} {_TOP}V{_BOTTOM}"/>'
        for at in _within([v.opened_at for v in visits], ahead, first, last)
    ]
    parts += [
        f'<path class="event" d="M{x(at):.1f} {_BOTTOM}v-10"/>'
        for at in _within([e.starts_at for e in events if not e.cancelled], ahead, first, last)
    ]
    legend = []
    for n, (place, dash) in enumerate(zip(ahead.logs, _DASHES * 9, strict=False)):
        left = _LEFT + 150.0 * n
        legend.append(
            f'<path class="line" stroke-dasharray="{dash}" d="M{left} {_BOTTOM + 31}h26"/>'
            f'<text x="{left + 32}" y="{_BOTTOM + 35}">{escape(names.get(place, place))}</text>'
        )
    alt = (
        f"Chart: air from {low:.0f} to {high:.0f} °C over {(last - first) / 24.0:.0f} days at "
        f"{', '.join(names.get(place, place) for place in ahead.logs)}. Dashed uprights are "
        "visits, short strokes at the foot are events."
    )
    return (
        f'<figure style="margin:0"><svg viewBox="0 0 {_WIDTH:.0f} {_HEIGHT + 10:.0f}" role="img" '
        f'aria-label="{escape(alt)}">{"".join(parts + legend)}</svg>'
        "<figcaption>Degrees Celsius. Dashed uprights are visits, short strokes at the foot are "
        "events.</figcaption></figure>"
    )


def _within(moments: Sequence[datetime], ahead: AirAhead, first: float, last: float) -> list[float]:
    hours = [(moment - ahead.since).total_seconds() / 3600.0 for moment in moments]
    return [hour for hour in hours if first <= hour <= last]


def _thinned(series: Series) -> list[tuple[float, float]]:
    """Lowest and highest of each column, in order of time: no peak is lost."""
    hours, celsius = series
    if len(hours) <= 2 * _COLUMNS:
        return list(zip(hours.tolist(), celsius.tolist(), strict=True))
    kept: set[int] = {0, len(hours) - 1}
    for part in np.array_split(np.arange(len(hours)), _COLUMNS):
        kept.update((int(part[celsius[part].argmin()]), int(part[celsius[part].argmax()])))
    return [(float(hours[n]), float(celsius[n])) for n in sorted(kept)]
