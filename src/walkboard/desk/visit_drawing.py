"""Drawings of the visit's pages: which keys were heard, what minutes buy, where a key lies."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from xml.sax.saxutils import escape

from markupsafe import Markup

from walkboard.desk.preferences import Preferences
from walkboard.organ.model import Division
from walkboard.planning.plan import CurvePoint
from walkboard.scales.keys import Key
from walkboard.survey.walk_plan import Run
from walkboard.work.heard_keys import Enough, KeyHeard

_BLACK = frozenset({1, 3, 6, 8, 10})
_CELL, _STRIP_HEIGHT = 16.0, 44.0
CURVE_WIDTH, CURVE_HEIGHT = 720.0, 230.0
CURVE_LEFT, CURVE_RIGHT, CURVE_TOP, CURVE_BOTTOM = 46.0, 700.0, 14.0, 196.0
_WHITE_WIDTH, _WHITE_HEIGHT, _BLACK_HEIGHT = 20.0, 74.0, 46.0


def key_strip(keys: Sequence[KeyHeard], title: str, name: Callable[[Key], str]) -> Markup:
    """A walk's keys in a row: a disc where heard, a lozenge where partly, a cross where not."""
    if not keys:
        return Markup("")
    lowest, highest = keys[0].key.semitone, keys[-1].key.semitone
    width = (highest - lowest + 1) * _CELL + 8.0
    parts = [_head(max(width, 420.0), _STRIP_HEIGHT, title)]
    for semitone in range(lowest, highest + 1):
        x = 4.0 + (semitone - lowest + 0.5) * _CELL
        if semitone % 12 in _BLACK:
            parts.append(
                f'<rect class="band" x="{x - _CELL / 2:.1f}" y="0" width="{_CELL}" height="28"/>'
            )
        if semitone % 12 == 0 or semitone == lowest:
            anchor = _middle(semitone, lowest)
            words = escape(name(Key(semitone)))
            parts.append(f'<text class="words-quiet" x="{x:.1f}" y="42" {anchor}>{words}</text>')
    for heard in keys:
        x = 4.0 + (heard.key.semitone - lowest + 0.5) * _CELL
        parts.append(
            f"<g><title>{escape(name(heard.key))}</title>{_shape(heard.enough, x, 14.0)}</g>"
        )
    return _drawn(parts)


def _middle(semitone: int, lowest: int) -> str:
    return 'text-anchor="start" dx="-6"' if semitone == lowest else 'text-anchor="middle"'


def _shape(enough: Enough, x: float, y: float) -> str:
    if enough is Enough.YES:
        return f'<circle class="solid" cx="{x:.1f}" cy="{y}" r="4.2"/>'
    if enough is Enough.PARTLY:
        return f'<path class="hollow" stroke-width="1.6" d="M{x:.1f} {y - 6} l6 6 l-6 6 l-6 -6 z"/>'
    return (
        f'<path class="call" stroke-width="2.6" '
        f'd="M{x - 5:.1f} {y - 5} l10 10 M{x - 5:.1f} {y + 5} l10 -10"/>'
    )


def curve_drawing(
    curve: Sequence[CurvePoint],
    plan: CurvePoint,
    before: float,
    longest: float,
    words: dict[str, str],
) -> Markup:
    """What is left of the badness against the minutes, with the plan's own point on it.

    Parameters
    ----------
    curve : sequence of CurvePoint
    plan : CurvePoint
        That is looked at.
    before : float
        Badness if nothing is done.
    longest : float
        Where the drawing ends [min].
    words : dict
        ``title``, ``left`` (of the upright axis), ``minutes`` (of the other).
    """
    whole = before or 1.0
    shown = [p for p in curve if p.minutes <= longest]
    if shown and shown[-1].minutes < longest:  # there nothing is left to gain
        shown.append(CurvePoint(longest, shown[-1].cost))

    def x(at: float) -> float:
        return CURVE_LEFT + min(at, longest) / longest * (CURVE_RIGHT - CURVE_LEFT)

    def y(left: float) -> float:
        return CURVE_BOTTOM - left / whole * (CURVE_BOTTOM - CURVE_TOP)

    parts = [_head(CURVE_WIDTH, CURVE_HEIGHT, words["title"])]
    for percent in (0, 25, 50, 75, 100):
        at = y(whole * percent / 100.0)
        parts.append(f'<path class="ground" d="M{CURVE_LEFT} {at:.1f}H{CURVE_RIGHT}"/>')
        parts.append(
            f'<text class="words-quiet" x="{CURVE_LEFT - 6}" y="{at + 4:.1f}" '
            f'text-anchor="end">{percent}</text>'
        )
    step = next(s for s in (30, 60, 120, 240, 480) if longest / s <= 9.0)
    parts.extend(
        f'<text class="words-quiet" x="{x(tick):.1f}" y="{CURVE_BOTTOM + 16}" '
        f'text-anchor="middle">{tick}</text>'
        for tick in range(0, int(longest) + 1, step)
    )
    parts.append(
        f'<text class="words-quiet" x="{CURVE_RIGHT}" y="{CURVE_HEIGHT - 2}" '
        f'text-anchor="end">{escape(words["minutes"])}</text>'
    )
    points = [(x(p.minutes), y(p.cost)) for p in shown]
    if points:
        line = " ".join(f"{px:.1f},{py:.1f}" for px, py in points)
        area = f"{points[0][0]:.1f},{CURVE_BOTTOM} {line} {points[-1][0]:.1f},{CURVE_BOTTOM}"
        parts.append(f'<polygon class="band" points="{area}"/>')
        parts.append(f'<polyline class="ink" stroke-width="2" points="{line}"/>')
    px, py = x(plan.minutes), y(plan.cost)
    parts.append(f'<path class="call" stroke-width="2" d="M{px:.1f} {CURVE_BOTTOM}V{py:.1f}"/>')
    parts.append(f'<circle class="call-solid" cx="{px:.1f}" cy="{py:.1f}" r="7"/>')
    parts.append(
        f'<text x="{CURVE_LEFT + 10}" y="{CURVE_TOP + 14}" class="words-quiet">'
        f"{escape(words['left'])}</text>"
    )
    return _drawn(parts)


def keyboard_drawing(division: Division, title: str) -> Markup:
    """A division's keyboard; each key names its semitone, for the script to mark."""
    lowest, highest = division.lowest.semitone, division.highest.semitone
    whites = [s for s in range(lowest, highest + 1) if s % 12 not in _BLACK]
    place = {s: n * _WHITE_WIDTH + 1.0 for n, s in enumerate(whites)}
    white_keys = [
        f'<rect data-key="{s}" class="white" x="{place[s]:.1f}" y="1" width="{_WHITE_WIDTH - 1.0}" '
        f'height="{_WHITE_HEIGHT}"/>'
        for s in whites
    ]
    black_keys = []
    for semitone in range(lowest, highest + 1):
        if semitone % 12 in _BLACK:
            edge = place.get(semitone - 1, 1.0 - _WHITE_WIDTH) + _WHITE_WIDTH
            black_keys.append(
                f'<rect data-key="{semitone}" class="black" x="{edge - 6.5:.1f}" y="1" width="12" '
                f'height="{_BLACK_HEIGHT}"/>'
            )
    head = _head(len(whites) * _WHITE_WIDTH + 2.0, _WHITE_HEIGHT + 2.0, title)
    return _drawn(
        [head.replace('class="drawing"', 'class="drawing keyboard"'), *white_keys, *black_keys]
    )


def runs_words(runs: Sequence[Run], chosen: Preferences) -> str:
    """``C2–E4, G♯4–B5``, with the names that this browser chose."""
    found = []
    for run in runs:
        lowest, highest = chosen.key(run.lowest), chosen.key(run.highest)
        _, comma, stride = str(run).partition(", ")
        found.append(f"{lowest}–{highest}{comma}{stride}" if run.lowest != run.highest else lowest)
    return "; ".join(found)


def _head(width: float, height: float, title: str) -> str:
    return (
        f'<svg class="drawing" viewBox="0 0 {width:.0f} {height:.0f}" role="img" '
        f'aria-label="{escape(title, {chr(34): "&quot;"})}">'
    )


def _drawn(parts: Sequence[str]) -> Markup:
    return Markup("".join([*parts, "</svg>"]))  # noqa: S704 - made here; every text is escaped
