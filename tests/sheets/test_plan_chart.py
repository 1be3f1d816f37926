"""The curve of a plan: true to scale, described in words as well."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from tests.sheets.visits import DAY, hall_organ, plan, text, unspaced, work
from walkboard.physics.air import pitch_ratio
from walkboard.planning.plan import CurvePoint
from walkboard.quantities import cents_of_ratio
from walkboard.sheets.plan_chart import HEIGHT_MM, WIDTH_MM, draw_plan_curve
from walkboard.sheets.typesetting import render_pdf
from walkboard.sheets.values import CurvePlace, PlanCurve, VisitFacts
from walkboard.sheets.worklist import plan_curve, worklist_sheet

SVG = "{http://www.w3.org/2000/svg}"
POINTS = ((0.0, 812.4), (60.0, 300.0), (120.0, 96.0), (180.0, 60.0))


def curve(points=POINTS, minutes: float = 120.0) -> PlanCurve:
    cost = dict(points).get(minutes, points[-1][1])
    return PlanCurve("h", "c", tuple(CurvePlace(*p) for p in points), minutes, cost, "this visit")


def numbers(root: ET.Element, anchor: str) -> dict[float, tuple[float, float]]:
    """Printed numbers and their places."""
    return {
        float(t.text or ""): (float(t.get("x", "nan")), float(t.get("y", "nan")))
        for t in root.iter(f"{SVG}text")
        if t.get("text-anchor") == anchor and re.fullmatch(r"[\d.]+", t.text or "")
    }


def test_points_stand_at_their_minutes_and_their_badness() -> None:
    """Read back from the printed numbers alone."""
    root = ET.fromstring(draw_plan_curve(curve()))
    costs, times = numbers(root, "end"), numbers(root, "middle")
    high, later = max(costs), max(times)
    nought_y, nought_x = costs[0.0][1] - 1.2, times[0.0][0]
    cost_mm = (costs[high][1] - costs[0.0][1]) / high
    minute_mm = (times[later][0] - nought_x) / later
    dots = [c for c in root.iter(f"{SVG}circle") if c.get("r") == "0.7"]
    for dot, (minutes, cost) in zip(dots, POINTS, strict=True):
        assert_allclose(float(dot.get("cx", "nan")), nought_x + minutes * minute_mm, atol=0.02)
        assert_allclose(float(dot.get("cy", "nan")), nought_y + cost * cost_mm, atol=0.02)
    (ring,) = [c for c in root.iter(f"{SVG}circle") if c.get("r") == "1.5"]
    assert_allclose(float(ring.get("cx", "nan")), nought_x + 120.0 * minute_mm, atol=0.02)


@given(
    st.lists(
        st.tuples(st.floats(0.0, 2000.0), st.floats(0.0, 1e5)),
        min_size=1,
        max_size=12,
        unique_by=lambda p: p[0],
    )
)
def test_any_curve_is_drawn_on_its_sheet(points) -> None:
    root = ET.fromstring(draw_plan_curve(curve(tuple(points), points[0][0])))
    for circle in root.iter(f"{SVG}circle"):
        assert 0.0 <= float(circle.get("cx", "nan")) <= WIDTH_MM
        assert 0.0 <= float(circle.get("cy", "nan")) <= HEIGHT_MM
    labels = numbers(root, "end")
    assert 2 <= len(labels) <= 10


def test_the_words_say_what_the_curve_shows() -> None:
    organ = hall_organ()
    made = replace(
        plan(organ, ()),
        cost_before=812.4,
        cost_after=96.0,
        curve=tuple(CurvePoint(*p) for p in POINTS),
    )
    shown = plan_curve(made)
    assert shown is not None
    assert "leaves a badness of 812" in shown.caption
    assert "leave 96, 88 % less" in shown.caption
    assert "more would remove 36.0" in shown.caption
    assert plan_curve(replace(made, curve=())) is None


def test_the_sheet_shows_it_and_says_what_could_not_be_had() -> None:
    organ = hall_organ()
    made = work(organ, [("great.octave4:20", 8.0)])
    made = replace(
        made,
        plan=replace(
            made.plan,
            curve=tuple(CurvePoint(*p) for p in POINTS),
            walk_minutes=6.0,
            walk_bound_minutes=6.0,
            notes=("great.trumpet8 within 2 cents: 5 of its 61 pipes were not heard.",),
        ),
    )
    sheet = worklist_sheet(organ, VisitFacts(day=DAY), made)
    shown = unspaced(text(render_pdf(sheet)))
    assert unspaced("What the minutes buy") in shown
    assert unspaced("badness left") in shown
    assert unspaced("no other order of these ranks is better") in shown
    assert unspaced("5 of its 61 pipes were not heard") in shown


@pytest.mark.parametrize(("event", "words"), [(20.0, "sharp"), (14.0, "flat"), (17.0, "")])
def test_reeds_show_both_figures_and_why(event: float, words: str) -> None:
    """17 °C now; about 3 cents a degree (Cramer 1993)."""
    organ = hall_organ()
    reed = next(rank for rank in organ.ranks if not rank.family.is_flue)
    made = work(organ, [(f"{reed.id}:20", 8.0), ("great.octave4:20", 3.0)])
    references = tuple(replace(r, event_celsius=event) for r in made.plan.reference)
    made = replace(made, plan=replace(made.plan, reference=references))
    groups = worklist_sheet(organ, VisitFacts(day=DAY), made).groups
    reeds, flues = groups
    assert flues.event == ""
    if not words:
        assert reeds.event == ""
        return
    above = abs(cents_of_ratio(pitch_ratio(17.0, event)))
    assert 8.5 < above < 9.5
    assert f"{above:.1f} {words} of the flues' present pitch" in reeds.event
    assert f"{event:.1f}" in reeds.event.replace("\N{NO-BREAK SPACE}", " ")
