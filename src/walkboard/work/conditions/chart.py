"""Charts of the logged air as SVG: temperature with visits and events, humidity with its band."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from html import escape

import numpy as np

from walkboard.book.records import KeptEvent, KeptVisit
from walkboard.condition.humidity import HumidityBand
from walkboard.organ.model import Organ
from walkboard.sheets.front_page.news import Language
from walkboard.sheets.front_page.phrases import Phrases
from walkboard.work.conditions.air_ahead import AirAhead, Numbers, Series
from walkboard.work.conditions.words import air_phrases, place_name

_WIDTH, _HEIGHT = 960.0, 330.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 46.0, 950.0, 14.0, 284.0
_COLUMNS = 450
_DASHES = ("", "7 4", "2 3", "10 3 2 3", "1 4", "12 5")  # so that places differ by more than colour


@dataclass(frozen=True, slots=True)
class _Frame:
    """Maps hours and values to places in the drawing."""

    first: float
    last: float
    low: float
    high: float

    def x(self, hour: float) -> float:
        return _LEFT + (hour - self.first) / max(self.last - self.first, 1e-9) * (_RIGHT - _LEFT)

    def y(self, value: float) -> float:
        return _BOTTOM - (value - self.low) / (self.high - self.low) * (_BOTTOM - _TOP)

    @property
    def days(self) -> str:
        return f"{(self.last - self.first) / 24.0:.0f}"

    def path(self, series: Series) -> str:
        return "M" + "L".join(f"{self.x(h):.1f} {self.y(v):.1f}" for h, v in _thinned(series))


def air_chart(
    organ: Organ,
    ahead: AirAhead,
    visits: Sequence[KeptVisit],
    events: Sequence[KeptEvent],
    language: Language = Language.ENGLISH,
) -> str:
    """Temperature of every place against time, with visits and events, as an HTML figure."""
    phrases = air_phrases(language)
    frame = _Frame(
        min(float(hours[0]) for hours, _ in ahead.logs.values()),
        max(float(hours[-1]) for hours, _ in ahead.logs.values()),
        float(np.floor(min(float(c.min()) for _, c in ahead.logs.values()) - 0.5)),
        float(np.ceil(max(float(c.max()) for _, c in ahead.logs.values()) + 0.5)),
    )
    parts = [*_grid(frame), *_times(frame, ahead.since, phrases)]
    names = [place_name(organ, place, phrases) for place in ahead.logs]
    dashes = [_DASHES[n % len(_DASHES)] for n in range(len(names))]
    for series, dash in zip(ahead.logs.values(), dashes, strict=True):
        parts.append(f'<path class="line" stroke-dasharray="{dash}" d="{frame.path(series)}"/>')
    parts += [
        f'<path class="visit" d="M{frame.x(at):.1f} {_TOP}V{_BOTTOM}"/>'
        for at in _within([v.opened_at for v in visits], ahead, frame)
    ]
    parts += [
        f'<path class="event" d="M{frame.x(at):.1f} {_BOTTOM}v-10"/>'
        for at in _within([e.starts_at for e in events if not e.cancelled], ahead, frame)
    ]
    for n, (name, dash) in enumerate(zip(names, dashes, strict=True)):
        left = _LEFT + 150.0 * n
        parts.append(
            f'<path class="line" stroke-dasharray="{dash}" d="M{left} {_BOTTOM + 31}h26"/>'
            f'<text x="{left + 32}" y="{_BOTTOM + 35}">{escape(name)}</text>'
        )
    alt = phrases.say(
        "chart",
        low=_whole(frame.low),
        high=_whole(frame.high),
        days=frame.days,
        places=", ".join(names),
    )
    return _figure(parts, alt, phrases.say("key"))


def humidity_chart(
    organ: Organ,
    place: str,
    band: HumidityBand,
    ahead: AirAhead,
    language: Language = Language.ENGLISH,
) -> str:
    """One place's humidity with its 30-day mean and the building's own band."""
    phrases = air_phrases(language)
    course = band.course
    values = 100.0 * course.humidity
    frame = _Frame(
        float(course.hours[0]),
        float(course.hours[-1]),
        float(np.floor(min(values.min(), 100.0 * course.low.min()) - 1.0)),
        float(np.ceil(max(values.max(), 100.0 * course.high.max()) + 1.0)),
    )
    lower = frame.path((course.hours, 100.0 * course.low))
    upper = frame.path((course.hours[::-1], 100.0 * course.high[::-1]))
    parts = [
        f'<path class="band" d="{lower}L{upper[1:]}Z"/>',
        *_grid(frame),
        *_times(frame, ahead.since, phrases),
        f'<path class="line" d="{frame.path((course.hours, 100.0 * course.mean))}"/>',
        f'<path class="thin" d="{frame.path((course.hours, values))}"/>',
    ]
    alt = phrases.say(
        "humidity_chart",
        place=place_name(organ, place, phrases),
        low=_whole(float(values.min())),
        high=_whole(float(values.max())),
        days=frame.days,
    )
    return _figure(parts, alt, phrases.say("humidity_key"))


def _grid(frame: _Frame) -> list[str]:
    step = max(1.0, float(np.ceil((frame.high - frame.low) / 8.0)))
    parts = []
    for value in np.arange(frame.low, frame.high + 0.1, step):
        y = frame.y(float(value))
        parts.append(f'<path class="grid" d="M{_LEFT} {y:.1f}H{_RIGHT}"/>')
        place = f'x="{_LEFT - 6}" y="{y + 4:.1f}" text-anchor="end"'
        parts.append(f"<text {place}>{_whole(float(value))}</text>")
    return parts


def _times(frame: _Frame, since: datetime, phrases: Phrases) -> list[str]:
    parts = []
    for n in range(5):
        hour = frame.first + (frame.last - frame.first) * n / 4.0
        at = (since + timedelta(hours=hour)).astimezone()
        words = phrases.say("days", day=at.day, month=at.month, hour=at.hour, minute=at.minute)
        anchor = ("start", "middle", "middle", "middle", "end")[n]
        place = f'x="{frame.x(hour):.1f}" y="{_BOTTOM + 18}" text-anchor="{anchor}"'
        parts.append(f"<text {place}>{words}</text>")
    return parts


def _figure(parts: Sequence[str], alt: str, key: str) -> str:
    return (
        f'<figure class="air"><svg viewBox="0 0 {_WIDTH:.0f} {_HEIGHT:.0f}" role="img" '
        f'aria-label="{escape(alt)}">{"".join(parts)}</svg>'
        f"<figcaption>{escape(key)}</figcaption></figure>"
    )


def _whole(value: float) -> str:
    return f"{value:.0f}".replace("-", "−")


def _within(moments: Sequence[datetime], ahead: AirAhead, frame: _Frame) -> list[float]:
    hours = [(moment - ahead.since).total_seconds() / 3600.0 for moment in moments]
    return [hour for hour in hours if frame.first <= hour <= frame.last]


def _thinned(series: Series) -> list[tuple[float, float]]:
    """Lowest and highest value of each column, in order, so that no peak is lost."""
    hours, values = series
    if len(hours) <= 2 * _COLUMNS:
        return _pairs(hours, values)
    kept: set[int] = {0, len(hours) - 1}
    for part in np.array_split(np.arange(len(hours)), _COLUMNS):
        kept.update((int(part[values[part].argmin()]), int(part[values[part].argmax()])))
    chosen = sorted(kept)
    return _pairs(hours[chosen], values[chosen])


def _pairs(hours: Numbers, values: Numbers) -> list[tuple[float, float]]:
    return list(zip(hours.tolist(), values.tolist(), strict=True))
