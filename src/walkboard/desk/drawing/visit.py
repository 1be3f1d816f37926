"""Drawings of the visit's pages: keys heard, what minutes gain, where a key is."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

from markupsafe import Markup

from walkboard.desk.text.preferences import Preferences
from walkboard.organ.model import Division
from walkboard.planning.plan import CurvePoint
from walkboard.scales.keys import Key
from walkboard.survey.plan.walk_plan import Run
from walkboard.work.heard_keys import Enough, KeyHeard

_BLACK = frozenset({1, 3, 6, 8, 10})
_CELL, _STRIP_HEIGHT, _STRIP_LEAST = 10.5, 40.0, 648.5
_LEFT, _TOP, _BELOW, _RIGHT = 40.0, 12.0, 40.0, 22.0  # around the plot of the curve
_WHITE_WIDTH, _WHITE_HEIGHT, _BLACK_HEIGHT = 20.0, 74.0, 46.0


@dataclass(frozen=True, slots=True)
class Plot:
    """Size of a drawing of the curve, so that its letters are never too small."""

    width: float = 720.0
    height: float = 250.0
    steps: tuple[int, ...] = (30, 60, 120, 240, 480)


WIDE, NARROW = Plot(), Plot(340.0, 220.0, (60, 120, 240, 480))


def key_strip(keys: Sequence[KeyHeard], title: str, name: Callable[[Key], str]) -> Markup:
    """A walk's keys in a row: a disc if heard, a lozenge if partly, a cross if not.

    A page shows one for each recording, so the black keys are one shape, and so are the keys that
    were heard; only keys to hold again say their name under the pointer.
    """
    if not keys:
        return Markup("")
    lowest, highest = keys[0].key.semitone, keys[-1].key.semitone
    width = (highest - lowest + 1) * _CELL + 8.0
    parts = [_head(max(width, _STRIP_LEAST), _STRIP_HEIGHT, title, "strip")]

    def middle(semitone: int) -> float:
        return 4.0 + (semitone - lowest + 0.5) * _CELL

    compass = range(lowest, highest + 1)
    black = [middle(semitone) for semitone in compass if semitone % 12 in _BLACK]
    bands = "".join(f"M{x - _CELL / 2:.1f} 0h{_CELL}v22h-{_CELL}z" for x in black)
    parts.append(f'<path class="band" d="{bands}"/>')
    for semitone in compass:
        if semitone % 12 == 0 or semitone == lowest:
            anchor = 'text-anchor="start" dx="-4"' if semitone == lowest else 'text-anchor="middle"'
            words = escape(name(Key(semitone)))
            parts.append(
                f'<text class="words-quiet" x="{middle(semitone):.1f}" y="37" {anchor}>'
                f"{words}</text>"
            )
    heard = "".join(_disc(middle(k.key.semitone), 11.0) for k in keys if k.enough is Enough.YES)
    parts.append(f'<path class="solid" d="{heard}"/>')
    for one in keys:
        if one.enough is not Enough.YES:
            words = escape(name(one.key))
            shape = _to_hold_again(one.enough, middle(one.key.semitone), 11.0)
            parts.append(f"<g><title>{words}</title>{shape}</g>")
    return _drawn(parts)


def _disc(x: float, y: float) -> str:
    return f"M{x - 3.4:.1f} {y:g}a3.4 3.4 0 1 0 6.8 0a3.4 3.4 0 1 0 -6.8 0"


def _to_hold_again(enough: Enough, x: float, y: float) -> str:
    if enough is Enough.PARTLY:
        return (
            f'<path class="hollow" stroke-width="1.5" '
            f'd="M{x:.1f} {y - 4.6:.1f} l4.6 4.6 l-4.6 4.6 l-4.6 -4.6 z"/>'
        )
    return (
        f'<path class="call" stroke-width="2.4" '
        f'd="M{x - 4.2:.1f} {y - 4.2:.1f} l8.4 8.4 M{x - 4.2:.1f} {y + 4.2:.1f} l8.4 -8.4"/>'
    )


def curve_drawing(
    curve: Sequence[CurvePoint],
    plan: CurvePoint,
    before: float,
    *,
    longest: float,
    words: Mapping[str, str],
    plot: Plot = WIDE,
) -> Markup:
    """Remaining badness against minutes, with the plan's point marked.

    Parameters
    ----------
    curve : sequence of CurvePoint
    plan : CurvePoint
        The plan shown.
    before : float
        Badness if nothing is done.
    longest : float
        Where the drawing ends [min].
    words : mapping
        ``title``, and ``minutes`` for the level axis.
    plot : Plot
    """
    whole = before or 1.0
    shown = [p for p in curve if p.minutes <= longest]
    if shown and shown[-1].minutes < longest:  # nothing is left to gain there
        shown.append(CurvePoint(longest, shown[-1].cost))
    right, bottom = plot.width - _RIGHT, plot.height - _BELOW

    def x(at: float) -> float:
        return _LEFT + min(at, longest) / longest * (right - _LEFT)

    def y(left: float) -> float:
        return bottom - left / whole * (bottom - _TOP)

    parts = [_head(plot.width, plot.height, words["title"], "plot")]
    for percent in (0, 25, 50, 75, 100):
        at = y(whole * percent / 100.0)
        parts += [
            f'<path class="ground" d="M{_LEFT} {at:.1f}H{right}"/>',
            _quiet(_LEFT - 6.0, at + 5.0, "end", str(percent)),
        ]
    step = next(s for s in plot.steps if longest / s <= 9.0)
    parts += [
        _quiet(x(tick), bottom + 18.0, "middle", str(tick))
        for tick in range(0, int(longest) + 1, step)
    ]
    parts.append(_quiet(right + _RIGHT - 2.0, plot.height - 4.0, "end", words["minutes"]))
    points = [(x(p.minutes), y(p.cost)) for p in shown]
    if points:
        line = " ".join(f"{px:.1f},{py:.1f}" for px, py in points)
        area = f"{points[0][0]:.1f},{bottom} {line} {points[-1][0]:.1f},{bottom}"
        parts.append(f'<polygon class="band" points="{area}"/>')
        parts.append(f'<polyline class="ink" stroke-width="2" points="{line}"/>')
    px, py = x(plan.minutes), y(plan.cost)
    parts.append(f'<path class="call" stroke-width="2" d="M{px:.1f} {bottom}V{py:.1f}"/>')
    parts.append(f'<circle class="call-solid" cx="{px:.1f}" cy="{py:.1f}" r="7"/>')
    return _drawn(parts)


def keyboard_drawing(division: Division, title: str) -> Markup:
    """A division's keyboard; each key names its semitone, for the script to mark it."""
    lowest, highest = division.lowest.semitone, division.highest.semitone
    there = {key.semitone for key in division.all_keys}
    whites = [s for s in range(lowest, highest + 1) if s % 12 not in _BLACK]
    place = {s: n * _WHITE_WIDTH + 1.0 for n, s in enumerate(whites)}
    parts = [_head(len(whites) * _WHITE_WIDTH + 2.0, _WHITE_HEIGHT + 2.0, title, "keyboard")]
    parts += [
        f'<rect data-key="{s}" class="white" x="{place[s]:.1f}" y="1" '
        f'width="{_WHITE_WIDTH - 1.0}" height="{_WHITE_HEIGHT}"/>'
        for s in whites
        if s in there
    ]
    for semitone in range(lowest, highest + 1):
        if semitone % 12 in _BLACK and semitone in there:
            edge = place.get(semitone - 1, 1.0 - _WHITE_WIDTH) + _WHITE_WIDTH
            parts.append(
                f'<rect data-key="{semitone}" class="black" x="{edge - 6.5:.1f}" y="1" width="12" '
                f'height="{_BLACK_HEIGHT}"/>'
            )
    return _drawn(parts)


def runs_words(runs: Sequence[Run], chosen: Preferences) -> str:
    """``C2–E4; G♯4–B5``, with the names that this browser chose."""
    return "; ".join(run.words(chosen.names) for run in runs)


def _quiet(x: float, y: float, anchor: str, words: str) -> str:
    place = f'x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}"'
    return f'<text class="words-quiet" {place}>{escape(words)}</text>'


def _head(width: float, height: float, title: str, kind: str) -> str:
    return (
        f'<svg class="drawing {kind}" viewBox="0 0 {width:.0f} {height:.0f}" role="img" '
        f'aria-label="{escape(title, {chr(34): "&quot;"})}">'
    )


def _drawn(parts: Sequence[str]) -> Markup:
    return Markup("".join([*parts, "</svg>"]))  # noqa: S704 - made here; every text is escaped
