"""Graph paper: whatever is drawn lies on the paper, reads as XML, and says its words."""

import re
import xml.etree.ElementTree as ET
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from planning.graph import (
    BARE,
    BOX_PX,
    CROSSED,
    DOTTED,
    FULL,
    HEIGHT,
    INKS,
    LINED,
    WIDTH,
    WORDS_MOST,
    Bar,
    Box,
    boxes_svg,
    columns_svg,
    ink_svg,
    ranked_svg,
    small_svg,
)

words = st.text(st.characters(exclude_categories=["C"]), max_size=40)
values = st.one_of(st.integers(0, 10**7), st.decimals(0, 10**6, places=1))
bars = st.lists(
    st.builds(
        Bar,
        label=words,
        parts=st.lists(st.tuples(st.sampled_from(INKS), values), max_size=4).map(tuple),
        said=words,
        mark=st.none() | values,
    ),
    max_size=30,
)


def rectangles(svg: str) -> list[tuple[float, float, float, float]]:
    """x, y, width and height of all that are drawn, those of the patterns apart."""
    tree = ET.fromstring(svg)
    for defs in tree.findall("defs"):
        tree.remove(defs)
    return [tuple(float(one.get(name)) for name in ("x", "y", "width", "height")) for one in tree.iter("rect")]


@given(bars)
def test_columns_lie_on_the_paper_and_stand_on_each_other(rows):
    svg = columns_svg(rows, name="a", title="T", told="Told.", unit="lines")
    drawn = rectangles(svg)
    assert len(drawn) == sum(value > 0 for row in rows for _, value in row.parts)
    for x, y, width, height in drawn:
        assert x >= 0
        assert x + width <= WIDTH
        assert y >= 0
        assert y + height <= HEIGHT - 40
    assert all(0 <= float(path.get("d").split()[1].split("H")[0]) <= HEIGHT for path in marks(svg))


def marks(svg: str):
    return [path for path in ET.fromstring(svg).iter("path") if path.get("class") == "mark"]


@given(bars)
def test_ranked_bars_lie_on_the_paper(rows):
    svg = ranked_svg(rows, name="a", title="T", told="Told.")
    wide = float(ET.fromstring(svg).get("width"))
    assert all(x + width <= wide and y >= 0 for x, y, width, _ in rectangles(svg))


@given(st.lists(st.lists(st.decimals(0, 300, places=1), min_size=3, max_size=3), max_size=5))
def test_a_box_is_never_filled_beyond_its_edge(grid):
    rows = [(f"Loom {n}", [Box(((FULL, a), (LINED, a)), "x") for a in row]) for n, row in enumerate(grid)]
    svg = boxes_svg(rows, heads=["1", "2", "3"], name="a", title="T", told="Told.")
    drawn = rectangles(svg)
    lefts = {x for x, _, width, _ in drawn if width == BOX_PX}
    assert all(any(left <= x and x + width <= left + BOX_PX + 0.1 for left in lefts) for x, _, width, _ in drawn)
    assert svg.count('class="over"') == sum(2 * a > 100 for row in grid for a in row)


def test_a_level_is_where_its_number_is():
    # 764 of 800 on rules of 200: 210 px high from 26, so 26 + 210 x 36 / 800 = 35.45.
    svg = columns_svg([Bar("a", ((FULL, 631),), mark=764)], name="a", title="T", told="Told.", unit="hours")
    (mark,) = marks(svg)
    assert float(mark.get("d").split()[1].split("H")[0]) == pytest.approx(35.45, abs=0.1)
    assert [text for text in ("0", "200", "400", "600", "800") if f">{text}</text>" in svg] == [
        "0", "200", "400", "600", "800",
    ]  # fmt: skip


def test_so_many_columns_that_their_words_would_touch_keep_some_of_them():
    svg = columns_svg([Bar(f"w{n}", ((FULL, 1),), "s") for n in range(40)], name="a", title="T", told="", unit="x")
    # Every fourth of 40, the first among them.
    assert re.findall(r">w(\d+)</text>", svg) == [str(n) for n in range(0, 40, 4)]
    assert len(range(0, 40, 4)) <= WORDS_MOST
    assert ">s<" not in svg


def test_words_are_escaped_and_every_filling_has_a_pattern_of_its_own():
    svg = ranked_svg([Bar("<script>&", ((FULL, 1),), '"<b>')], name="a", title="<i>", told="&")
    assert "<script>" not in svg
    assert "<b>" not in svg
    dabs = {ink: ink_svg(ink, name="k") for ink in (FULL, LINED, CROSSED, DOTTED, BARE)}
    assert len(set(dabs.values())) == 5


def test_seen_from_afar_a_gap_stays_a_gap():
    svg = small_svg([Decimal(50), None, Decimal(0)], title="T")
    assert len(rectangles(svg)) == 2
    assert small_svg([], title="T").count("<rect") == 0
