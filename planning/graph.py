"""Graph paper: columns, ranked bars and filled boxes, drawn. Knows no loom, yarn or customer, only words and numbers.

Each filling has a pattern of its own, so that a print in black on white, and who doesn't tell colours apart, read the
same. Every picture stands beside a table with its numbers.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from math import ceil
from xml.sax.saxutils import escape

from mill.signs import NARROW_SPACE, written_now

Value = Decimal | int

# Fillings, as the day-book's ink would make them: full, lined, crossed, dotted, and paper left bare.
FULL, LINED, CROSSED, DOTTED, BARE = "full", "lined", "crossed", "dotted", "bare"
INKS = (FULL, LINED, CROSSED, DOTTED, BARE)
EDGE = "#1f2a37"
_PATTERNS = {
    LINED: ("#ffffff", '<path d="M-1 7L7 -1M3 9L9 3" stroke="#97231c" stroke-width="2.2"/>'),
    CROSSED: ("#fdf0d2", '<path d="M0 0L8 8M8 0L0 8" stroke="#5a4a20" stroke-width="1.1"/>'),
    DOTTED: ("#ffffff", '<circle cx="2" cy="2" r="1.2" fill="#1f2a37"/><circle cx="6" cy="6" r="1.2" fill="#1f2a37"/>'),
}
_SOLID = {FULL: "#24405c", BARE: "#ffffff"}

WIDTH, HEIGHT = 720, 280
LEFT, RIGHT, TOP, BOTTOM = 56, 16, 26, 44
WORDS_MOST = 13


@dataclass(frozen=True, slots=True)
class Bar:
    """One column or bar: its parts from the ground up, each with its ink, and what is written beside it.

    label   below a column, before a bar
    said    at its end; left away where columns stand too close
    mark    a line across it: what was meant
    """

    label: str
    parts: tuple[tuple[str, Value], ...]
    said: str = ""
    mark: Value | None = None

    @property
    def total(self) -> Value:
        return sum((max(value, 0) for _, value in self.parts), start=0)


@dataclass(frozen=True, slots=True)
class Box:
    """A box of a grid, filled from the left: parts in percent of the box; said is written under it.

    is_shut     crossed out: there is nothing that could be filled
    is_absent   no box at all: nothing is known
    is_over     more than the box holds: drawn with a thick edge
    """

    parts: tuple[tuple[str, Value], ...] = ()
    said: str = ""
    is_shut: bool = False
    is_absent: bool = False

    @property
    def is_over(self) -> bool:
        return sum((value for _, value in self.parts), start=Decimal(0)) > 100


def columns_svg(bars: Sequence[Bar], *, name: str, title: str, told: str, unit: str) -> str:
    """Columns side by side in the order given, on ruled paper.

    name    in the drawing's inner ids; two drawings on one page need two names
    told    what the picture says, for who can't see it
    unit    of the numbers at the left

    >>> bar = Bar("Nov", ((FULL, 3), (LINED, 1)), "75 %")
    >>> svg = columns_svg([bar], name="a", title="T", told="Told.", unit="lines")
    >>> svg.count("<rect"), "75 %" in svg, "<title>T</title><desc>Told.</desc>" in svg
    (3, True, True)
    """
    most = max((max(bar.total, bar.mark or 0) for bar in bars), default=0)
    step = rung(most)
    # Not with //, which cuts a Decimal off towards nought.
    top = step * max(1, ceil(most / step))
    high, wide = HEIGHT - TOP - BOTTOM, WIDTH - LEFT - RIGHT

    def y(value: Value) -> float:
        return round(TOP + high * float(1 - value / top), 1)

    parts = [f'<text class="word" x="{LEFT - 8}" y="12" text-anchor="end">{escape(unit)}</text>']
    for n in range(int(top / step) + 1):
        level = step * n
        parts.append(f'<path class="ruled" d="M{LEFT} {y(level)}H{WIDTH - RIGHT}"/>')
        parts.append(f'<text class="word" x="{LEFT - 8}" y="{y(level) + 4}" text-anchor="end">{plain(level)}</text>')
    each = wide / max(len(bars), 1)
    thick = min(46.0, each * 0.66)
    every = -(-len(bars) // WORDS_MOST) if bars else 1
    for n, bar in enumerate(bars):
        middle = LEFT + each * (n + 0.5)
        x, level = middle - thick / 2, Decimal(0)
        drawn = []
        for ink, value in bar.parts:
            if value > 0:
                height = y(level) - y(level + value)
                drawn.append(
                    f'<rect x="{x:.1f}" y="{y(level + value)}" width="{thick:.1f}" height="{height:.1f}"'
                    f' fill="{_fill(ink, name)}" stroke="{EDGE}"/>'
                )
                level += value
        if bar.mark is not None:
            drawn.append(_mark(f"M{x - 5:.1f} {y(bar.mark)}H{x + thick + 5:.1f}"))
        if bar.said and len(bars) <= WORDS_MOST:
            at = y(max(level, bar.mark or 0)) - 5
            drawn.append(
                f'<text class="said" x="{middle:.1f}" y="{at:.1f}" text-anchor="middle">{escape(bar.said)}</text>'
            )
        if n % every == 0:
            drawn.append(
                f'<text class="word" x="{middle:.1f}" y="{HEIGHT - BOTTOM + 18}" text-anchor="middle">'
                f"{escape(bar.label)}</text>"
            )
        parts.append(f"<g><title>{escape(_hint(bar))}</title>{''.join(drawn)}</g>")
    parts.append(f'<path class="ground" d="M{LEFT} {y(0)}H{WIDTH - RIGHT}"/>')
    return _paper(WIDTH, HEIGHT, name=name, title=title, told=told, parts=parts)


LABEL_PX, BAR_PX, SAID_PX, ROW_PX = 190, 360, 190, 28
LABEL_LETTERS = 26


def ranked_svg(bars: Sequence[Bar], *, name: str, title: str, told: str) -> str:
    """Bars that lie below each other in the order given, each with its words at its end.

    >>> "Grey" in ranked_svg([Bar("Grey", ((FULL, 9),), "9 days")], name="a", title="T", told="Told.")
    True
    """
    most = max((max(bar.total, bar.mark or 0) for bar in bars), default=0) or 1
    parts: list[str] = []
    for n, bar in enumerate(bars):
        y, x = 6 + n * ROW_PX, float(LABEL_PX)
        drawn = [f'<text class="said" x="0" y="{y + 15}">{escape(_short(bar.label))}</text>']
        for ink, value in bar.parts:
            if value > 0:
                width = BAR_PX * float(value / most)
                drawn.append(
                    f'<rect x="{x:.1f}" y="{y}" width="{width:.1f}" height="{ROW_PX - 8}" fill="{_fill(ink, name)}"'
                    f' stroke="{EDGE}"/>'
                )
                x += width
        if bar.mark is not None:
            at = LABEL_PX + BAR_PX * float(bar.mark / most)
            drawn.append(_mark(f"M{at:.1f} {y - 3}V{y + ROW_PX - 5}"))
            x = max(x, at)
        drawn.append(f'<text class="said" x="{x + 7:.1f}" y="{y + 15}">{escape(bar.said)}</text>')
        parts.append(f"<g><title>{escape(_hint(bar))}</title>{''.join(drawn)}</g>")
    height = 12 + len(bars) * ROW_PX
    parts.append(f'<path class="ground" d="M{LABEL_PX} 0V{height}"/>')
    return _paper(LABEL_PX + BAR_PX + SAID_PX, height, name=name, title=title, told=told, parts=parts)


ROW_LABEL_PX, BOX_PX, BOX_HIGH, GRID_ROW_PX, HEAD_PX = 74, 50, 14, 40, 26


def boxes_svg(
    rows: Sequence[tuple[str, Sequence[Box]]], *, heads: Sequence[str], name: str, title: str, told: str
) -> str:
    """A grid of boxes, each filled from the left as its percent are, with its words below it; shut ones are crossed.

    >>> grid = [("7", [Box(((FULL, 50), (LINED, 25)), "75 %"), Box(is_shut=True)])]
    >>> svg = boxes_svg(grid, heads=["23 Nov", "30 Nov"], name="a", title="T", told="Told.")
    >>> "75 %" in svg, svg.count('class="box')
    (True, 2)
    """
    assert all(len(boxes) == len(heads) for _, boxes in rows)
    width = ROW_LABEL_PX + len(heads) * (BOX_PX + 4)
    parts = [
        f'<text class="word" x="{ROW_LABEL_PX + n * (BOX_PX + 4)}" y="14">{escape(head)}</text>'
        for n, head in enumerate(heads)
    ]
    for r, (label, boxes) in enumerate(rows):
        y = HEAD_PX + r * GRID_ROW_PX
        parts.append(f'<text class="said" x="0" y="{y + 12}">{escape(label[:9])}</text>')
        for n, box in enumerate(boxes):
            x = ROW_LABEL_PX + n * (BOX_PX + 4)
            drawn = []
            if not box.is_absent:
                drawn.append(f'<rect class="box" x="{x}" y="{y}" width="{BOX_PX}" height="{BOX_HIGH}"/>')
            if box.is_shut:
                drawn.append(
                    f'<path class="shut-box" d="M{x} {y}l{BOX_PX} {BOX_HIGH}m0 -{BOX_HIGH}l-{BOX_PX} {BOX_HIGH}"/>'
                )
            left = float(x)
            for ink, value in box.parts:
                wide = min(BOX_PX * float(value) / 100, x + BOX_PX - left)
                if wide > 0:
                    drawn.append(
                        f'<rect x="{left:.1f}" y="{y}" width="{wide:.1f}" height="{BOX_HIGH}" fill="{_fill(ink, name)}"'
                        f' stroke="{EDGE}" stroke-width=".6"/>'
                    )
                    left += wide
            if box.is_over:
                drawn.append(f'<path class="over" d="M{x + BOX_PX} {y - 3}v{BOX_HIGH + 6}"/>')
            drawn.append(f'<text class="word" x="{x}" y="{y + BOX_HIGH + 13}">{escape(box.said)}</text>')
            parts.append(f"<g><title>{escape(f'{label}, {heads[n]}: {box.said}')}</title>{''.join(drawn)}</g>")
    height = HEAD_PX + len(rows) * GRID_ROW_PX
    return _paper(width, height, name=name, title=title, told=told, parts=parts)


SMALL_WIDE, SMALL_HIGH, SMALL_MOST = 240, 64, 26


def small_svg(values: Sequence[Value | None], *, title: str) -> str:
    """The same seen from afar: columns without a word; a gap where there is no number. The last so many.

    >>> small_svg([50, None, 100], title="T").count("<rect")
    2
    """
    shown = values[-SMALL_MOST:]
    most = max((value for value in shown if value is not None), default=0) or 1
    each = SMALL_WIDE / max(len(shown), 1)
    parts = []
    for n, value in enumerate(shown):
        if value is not None:
            height = max(1.5, (SMALL_HIGH - 6) * float(max(value, 0) / most))
            parts.append(
                f'<rect x="{each * (n + 0.15):.1f}" y="{SMALL_HIGH - 2 - height:.1f}" width="{each * 0.7:.1f}"'
                f' height="{height:.1f}" fill="{_SOLID[FULL]}"/>'
            )
    return (
        f'<svg class="graph small" viewBox="0 0 {SMALL_WIDE} {SMALL_HIGH}" preserveAspectRatio="none"'
        f' role="img"><title>{escape(title)}</title>'
        f'{"".join(parts)}<path class="ground" d="M0 {SMALL_HIGH - 2}H{SMALL_WIDE}"/></svg>'
    )


def ink_svg(ink: str, *, name: str) -> str:
    """A dab of a filling, for the key beside a picture."""
    return (
        f'<svg class="ink" viewBox="0 0 26 14" width="26" height="14" aria-hidden="true">{_defs(name, [ink])}'
        f'<rect x=".5" y=".5" width="25" height="13" fill="{_fill(ink, name)}" stroke="{EDGE}"/></svg>'
    )


def rung(most: Value) -> Decimal:
    """A round number between the rules: 1, 2 or 5 with noughts, so that five of them at most lie below `most`.

    >>> rung(0), rung(4), rung(23), rung(100), rung(Decimal("0.3"))
    (Decimal('1'), Decimal('1'), Decimal('5'), Decimal('20'), Decimal('0.1'))
    """
    if most <= 0:
        return Decimal(1)
    # What is counted has no tenths.
    step = Decimal(1) if isinstance(most, int) or most >= 4 else Decimal("0.1")
    while True:
        for times in (1, 2, 5):
            if most <= 5 * step * times:
                return step * times
        step *= 10


def plain(value: Value) -> str:
    """1200 as 1 200 and 0.50 as 0.5, in German 0,5."""
    return f"{Decimal(value).normalize():,f}".replace(",", NARROW_SPACE).replace(".", written_now().decimal)


def _mark(path: str) -> str:
    """A dashed line that stands out from a dark filling as well as from paper."""
    return f'<path class="under-mark" d="{path}"/><path class="mark" d="{path}"/>'


def _hint(bar: Bar) -> str:
    numbers = ", ".join(plain(value) for _, value in bar.parts)
    return f"{bar.label}: {bar.said or numbers}"


def _short(label: str) -> str:
    return label if len(label) <= LABEL_LETTERS else f"{label[: LABEL_LETTERS - 1]}…"


def _fill(ink: str, name: str) -> str:
    assert ink in INKS
    return _SOLID.get(ink) or f"url(#{name}-{ink})"


def _defs(name: str, inks: Sequence[str]) -> str:
    assert re.fullmatch(r"[a-z][a-z0-9-]*", name), f"{name!r} is no name for an id"
    patterns = "".join(
        f'<pattern id="{name}-{ink}" width="8" height="8" patternUnits="userSpaceOnUse">'
        f'<rect width="8" height="8" fill="{_PATTERNS[ink][0]}"/>{_PATTERNS[ink][1]}</pattern>'
        for ink in inks
        if ink in _PATTERNS
    )
    return f"<defs>{patterns}</defs>" if patterns else ""


def _paper(width: int, height: int, *, name: str, title: str, told: str, parts: Sequence[str]) -> str:
    body = "".join(parts)
    used = [ink for ink in _PATTERNS if f"url(#{name}-{ink})" in body]
    return (
        f'<svg class="graph" viewBox="0 0 {width} {height}" width="{width}" height="{height}" role="img">'
        f"<title>{escape(title)}</title><desc>{escape(told)}</desc>{_defs(name, used)}{body}</svg>"
    )
