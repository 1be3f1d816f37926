"""The organ at a glance as SVG: divisions, chests, ranks with compass and family."""

from __future__ import annotations

from markupsafe import Markup, escape

from walkboard.desk.text.catalogue import say
from walkboard.desk.text.preferences import Preferences
from walkboard.organ.model import Organ
from walkboard.organ.picture import Bar, PictureRow, picture
from walkboard.scales.keys import Key

_WIDTH, _LEFT, _RIGHT = 880.0, 230.0, 640.0
_ROW, _HEAD = 18.0, 30.0
_CLASS = {Bar.OWN: "own", Bar.EXTENDED: "extended", Bar.BORROWED: "borrowed"}
_DASHES = {
    Bar.OWN: "",
    Bar.EXTENDED: ' stroke-dasharray="5 2"',
    Bar.BORROWED: ' stroke-dasharray="2 3"',
}


def organ_drawing(organ: Organ, chosen: Preferences) -> Markup:
    """Every rank as a bar from its lowest to its highest key, under its division and chest.

    A bar with long dashes is an extension, with short ones a borrowed rank; the label says so too.
    """
    divisions = picture(organ)
    rows = [row for division in divisions for row in division.rows()]
    low = min(row.low.semitone for row in rows)
    high = max(row.high.semitone for row in rows)
    parts: list[str] = []
    y = 0.0
    for one in divisions:
        y += _HEAD
        box = f", {say('stop_list.in_box')}" if one.division.enclosed else ""
        parts.append(_text(4.0, y - 9.0, f"{one.division.name}{box}", "strong"))
        parts += _octaves(low, high, y, chosen)
        for chest in one.chests:
            if len(one.chests) > 1:
                y += _ROW
                parts.append(_text(12.0, y - 5.0, chest.id, "quiet"))
            for row in chest.rows:
                y += _ROW
                parts.append(_bar(row, low, high, y))
        for row in one.elsewhere:
            y += _ROW
            parts.append(_bar(row, low, high, y))
    return Markup(  # noqa: S704 - numbers, and words escaped
        f'<svg class="drawing organ" viewBox="0 0 {_WIDTH:.0f} {y + 8.0:.0f}" role="img" '
        f'aria-label="{escape(say("stop_list.drawing", name=organ.name))}">{"".join(parts)}</svg>'
    )


def _octaves(low: int, high: int, y: float, chosen: Preferences) -> list[str]:
    return [
        _text(_x(s, low, high), y - 9.0, chosen.key(Key(s)), "quiet")
        for s in range(low, high + 1)
        if s % 12 == 0
    ]


def _bar(row: PictureRow, low: int, high: int, y: float) -> str:
    left, right = _x(row.low.semitone, low, high), _x(row.high.semitone + 1, low, high)
    name = f"{row.name} {row.feet}′" if row.feet else row.name
    words = say("stop_list.pipes", n=row.pipes) if row.bar is Bar.OWN else row.taken_from
    return (
        _text(16.0, y - 5.0, name, "")
        + _front(row, low, high, y)
        + f'<path class="bar {row.family.partition("/")[0]} {_CLASS[row.bar]}" stroke-width="9" '
        f'd="M{left:.1f} {y - 9.0:.1f}H{right:.1f}"{_DASHES[row.bar]}/>'
        + _text(_RIGHT + 6.0, y - 5.0, " · ".join([row.family, words, *_place(row)]), "quiet")
    )


def _front(row: PictureRow, low: int, high: int, y: float) -> str:
    """A line above the bar over pipes in the case front, and a tick at each part."""
    drawn = ""
    if row.layout.front is not None:
        first, last = (key.semitone for key in row.layout.front)
        left, right = _x(first, low, high), _x(last + 1, low, high)
        drawn = f'<path class="front" stroke-width="2" d="M{left:.1f} {y - 15.5:.1f}H{right:.1f}"/>'
    for key, _ in row.parts[1:]:
        at = _x(key.semitone, low, high)
        drawn += f'<path class="part" stroke-width="1" d="M{at:.1f} {y - 15.0:.1f}V{y - 3.0:.1f}"/>'
    return drawn


def _place(row: PictureRow) -> list[str]:
    """Toe board, order along the chest and pipes in the front, in a few words."""
    layout = row.layout
    words = [] if layout.toe_board is None else [say("stop_list.board", n=layout.toe_board)]
    if layout.order is not None:
        words.append(say(f"stop_list.order_{layout.order.name.lower()}"))
    if layout.front is not None:
        words.append(say("stop_list.front"))
    return words


def _x(semitone: int, low: int, high: int) -> float:
    return _LEFT + (semitone - low) / max(1, high + 1 - low) * (_RIGHT - _LEFT)


def _text(x: float, y: float, words: str, kind: str) -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" class="{kind}">{escape(words)}</text>'
