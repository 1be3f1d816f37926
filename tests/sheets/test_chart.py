"""The chart of a rank: true to scale, distinguished by shape and text, never by colour alone."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from walkboard.sheets.chart import WIDTH_MM, draw_chart
from walkboard.sheets.values import ChartLine, ChartPoint, Mark, RankChart

SVG = "{http://www.w3.org/2000/svg}"
TARGET = ChartLine(0.0, "organ's pitch", "the organ's pitch", is_target=True)


def chart(*points: ChartPoint, lines: tuple[ChartLine, ...] = (TARGET,)) -> RankChart:
    return RankChart("Great · Principal 4′", "", 36, 96, points, lines, 3.0)


def drawn(given: RankChart) -> ET.Element:
    return ET.fromstring(draw_chart(given))


def scale(root: ET.Element) -> tuple[float, float]:
    """Millimetres down the sheet of zero, and of one cent, from the printed numbers alone."""
    found = {}
    for words in root.iter(f"{SVG}text"):
        label = (words.text or "").replace("−", "-").replace("+", "")
        if words.get("text-anchor") == "end" and re.fullmatch(r"-?\d+", label):
            found[int(label)] = float(words.get("y", "nan")) - 1.2  # text stands on its base line
    top, low = max(found), min(found)
    return found[0], (found[low] - found[top]) / (low - top)


def test_a_pipe_stands_at_its_cents_with_two_sigma_each_way() -> None:
    root = drawn(chart(ChartPoint(60, "C4", 2.0, 1.5)))
    zero, cent = scale(root)
    (dot,) = root.iter(f"{SVG}circle")
    assert_allclose(float(dot.get("cy", "nan")), zero + 2.0 * cent, atol=0.02)
    x = dot.get("cx")
    bars = [
        (float(line.get("y1", "nan")), float(line.get("y2", "nan")))
        for line in root.iter(f"{SVG}line")
        if line.get("x1") == line.get("x2") == x and line.get("stroke-width") == "0.3"
    ]
    ((top, bottom),) = bars
    assert_allclose((top, bottom), (zero + 3.5 * cent, zero + 0.5 * cent), atol=0.02)


def test_every_kind_of_pipe_has_its_own_shape() -> None:
    shapes = {}
    for mark in Mark:
        root = drawn(chart(ChartPoint(60, "C4", 4.0, 0.0, mark)))
        bodies = [*root.iter(f"{SVG}circle"), *root.iter(f"{SVG}polygon")]
        (body,) = bodies
        numbers = [float(n) for n in re.findall(r"-?[\d.]+", body.get("points", ""))]
        middle = sum(numbers[1::2]) / max(len(numbers[1::2]), 1)
        first_is_above = bool(numbers) and numbers[1] < middle
        shapes[mark] = (body.tag, len(numbers), first_is_above, body.get("fill"))
    assert len(set(shapes.values())) == len(Mark)


def test_a_pipe_without_a_value_is_crossed_and_named() -> None:
    root = drawn(chart(ChartPoint(60, "C4", None, word="silent")))
    assert len(list(root.iter(f"{SVG}path"))) == 1
    assert "silent" in [t.text for t in root.iter(f"{SVG}text")]
    assert not list(root.iter(f"{SVG}circle"))


def test_a_pipe_far_beyond_is_drawn_at_the_edge_with_its_number() -> None:
    points = [ChartPoint(36 + n, "", 0.1 * (n % 5), 0.05) for n in range(40)]
    root = drawn(chart(*points, ChartPoint(90, "F♯6", 44.0, 0.1, Mark.SHARP)))
    assert "+44" in [t.text for t in root.iter(f"{SVG}text")]
    assert len(list(root.iter(f"{SVG}polygon"))) == 2


def test_the_lines_are_named_and_distinguished_without_colour() -> None:
    event = ChartLine(11.9, "flues at the event, 21.0 °C", "there", is_target=True)
    today = ChartLine(0.0, "flues today", "here", is_target=False)
    root = drawn(chart(ChartPoint(60, "C4", 1.0, 0.1), lines=(event, today)))
    texts = [t.text for t in root.iter(f"{SVG}text")]
    assert "flues at the event, 21.0 °C +11.9" in texts
    assert "flues today 0.0" in texts
    dashed = {li.get("stroke-dasharray") for li in root.iter(f"{SVG}line")}
    assert dashed == {None, "2.2 1.2"}


def test_everything_is_black_grey_or_white() -> None:
    event = ChartLine(11.9, "flues at the event", "there", is_target=True)
    marks = [ChartPoint(40 + 3 * n, "", 4.0, 1.0, mark, "short") for n, mark in enumerate(Mark)]
    made = draw_chart(chart(*marks, ChartPoint(70, "", None, word="faint"), lines=(event, TARGET)))
    colours = set(re.findall(r'(?:fill|stroke)="([^"]+)"', made)) - {"none"}
    assert colours
    for colour in colours:
        digits = re.fullmatch(r"#(?:([0-9a-f])\1\1|([0-9a-f]{2})\2\2)", colour)
        assert digits is not None, colour


def test_hostile_words_stay_words() -> None:
    words = '</text><script>alert("x")</script>&'
    line = ChartLine(0.0, words, words, is_target=True)
    root = drawn(chart(ChartPoint(60, "C4", None, word=words), lines=(line,)))
    assert not list(root.iter(f"{SVG}script"))
    assert words in [t.text for t in root.iter(f"{SVG}text")]


@pytest.mark.parametrize("highest", [36, 40, 47, 123])
def test_short_and_long_ranks_fit(highest: int) -> None:
    points = tuple(ChartPoint(s, "C2", 1.0, 0.2) for s in range(36, highest + 1))
    root = ET.fromstring(draw_chart(RankChart("", "", 36, highest, points, (TARGET,), 3.0)))
    places = [float(c.get("cx", "nan")) for c in root.iter(f"{SVG}circle")]
    assert len(places) == len(points)
    assert all(0.0 < x < WIDTH_MM for x in places)


@given(
    st.lists(
        st.tuples(
            st.integers(36, 96),
            st.none() | st.floats(-300.0, 300.0),
            st.floats(0.0, 60.0),
            st.none() | st.floats(-300.0, 300.0),
        ),
        max_size=30,
    ),
    st.floats(-60.0, 60.0),
)
def test_no_reading_leaves_the_sheet(
    pipes: list[tuple[int, float | None, float, float | None]], target: float
) -> None:
    points = [ChartPoint(s, "", cents, spread, left_cents=left) for s, cents, spread, left in pipes]
    line = ChartLine(target, "tuned to", "there", is_target=True)
    root = drawn(chart(*points, lines=(line, ChartLine(0.0, "organ's pitch", "", is_target=False))))
    height = float(root.get("height", "").removesuffix("mm"))
    for body in root.iter(f"{SVG}circle"):
        assert 0.0 < float(body.get("cy", "nan")) < height
    for line_drawn in root.iter(f"{SVG}line"):
        assert 0.0 <= float(line_drawn.get("y1", "nan")) <= height
