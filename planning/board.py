"""The loom board: a plan drawn as a leaf of the day-book, looms down and days across. Knows no plan, only spans.

Places along the time are written in percent, so that the leaf fills whatever width there is and its words keep
their size. Inks and fillings are in the style sheet, by class; what a filling can't do in the sheet is drawn here.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape, quoteattr

from planning.worktime import DAY_MIN, Span

ROW_PX = 46
BAR_TOP_PX, BAR_PX = 9, 26
# Narrower than this part of the leaf, nothing can be read in it.
NAMED_FROM_PCT = 1.6

PATTERNS = (
    '<svg class="inks" width="0" height="0" aria-hidden="true" focusable="false"><defs>'
    '<pattern id="pencil" width="5" height="5" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<rect width="5" height="5" fill="#fffdf8"/><path d="M0 0V5" stroke="#5a4a20" stroke-width="3"/></pattern>'
    '<pattern id="zigzag" width="8" height="6" patternUnits="userSpaceOnUse">'
    '<path d="M0 5L4 1L8 5" fill="none" stroke="#97231c" stroke-width="2"/></pattern>'
    "</defs></svg>"
)


@dataclass(frozen=True, slots=True)
class Bar:
    """A warp in its place, times in minutes of the leaf.

    name        written in it where there is room: the warp's number and cloth
    about       all of it in words, for those who hear the page
    late        that it is late and how much, in a word or two; "" when it is not: underlined in a zigzag
    pin         "" or what the planner said of it: a nail is drawn
    is_frozen   it is to start so soon that it stays: an edge is drawn
    in_loom     it hangs in the loom and does not move
    is_faint    not one of those that were asked for
    """

    warp: str
    turn: int
    setup_starts: int
    setup_stops: int
    starts: int
    stops: int
    name: str
    about: str
    address: str
    late: str = ""
    pin: str = ""
    is_frozen: bool = False
    in_loom: bool = False
    is_faint: bool = False


@dataclass(frozen=True, slots=True)
class Mark:
    """A ruled line at a minute, with what stands above it at the head of the leaf; heavy on a Monday."""

    minute: int
    label: str
    is_heavy: bool


def head_svg(marks: Sequence[Mark], *, minutes: int, now: int | None, now_label: str = "now") -> str:
    """The head of the leaf: the days."""
    words = "".join(
        f'<text class="{"monday" if mark.is_heavy else "weekday"}" x="{_pct(mark.minute, minutes)}" dx="4" y="19">'
        f"{escape(mark.label)}</text>"
        for mark in marks
        if mark.label
    )
    line = ""
    if now is not None and 0 <= now < minutes:
        anchor = "end" if now > 0.9 * minutes else "start"
        line = (
            f'<text class="now" x="{_pct(now, minutes)}" dx="{-4 if anchor == "end" else 4}" y="34" '
            f'text-anchor="{anchor}">{escape(now_label)}</text>'
        )
    return f'<svg class="leafhead" width="100%" height="40" aria-hidden="true">{words}{line}</svg>'


def row_svg(
    bars: Sequence[Bar],
    *,
    label: str,
    closed: Sequence[Span],
    marks: Sequence[Mark],
    minutes: int,
    now: int | None,
) -> str:
    """One loom's line on the leaf. What lies behind the bars is as high as the line, which grows with the loom's words.

    >>> svg = row_svg([], label="Loom 1", closed=[(0, 60)], marks=[], minutes=120, now=30)
    >>> 'aria-label="Loom 1"' in svg and 'd="M0 0h60v46h-60z"' in svg and 'x="25%"' in svg
    True
    """
    shut = "".join(
        f"M{max(a, 0)} 0h{min(b, minutes) - max(a, 0)}v{ROW_PX}h-{min(b, minutes) - max(a, 0)}z"
        for a, b in closed
        if b > 0 and a < minutes
    )
    ruled = "".join(
        f'<line class="{"monday" if mark.is_heavy else "weekday"}" x1="{_pct(mark.minute, minutes)}" '
        f'x2="{_pct(mark.minute, minutes)}" y1="0" y2="100%"/>'
        for mark in marks
    )
    ground = (
        f'<svg viewBox="0 0 {minutes} {ROW_PX}" preserveAspectRatio="none" width="100%" height="100%">'
        f'<path class="shut" d="{shut}"/></svg>'
        if shut
        else ""
    )
    line = ""
    if now is not None and 0 <= now < minutes:
        line = f'<rect class="now" x="{_pct(now, minutes)}" width="2" height="100%"/>'
    drawn = "".join(_bar(bar, minutes) for bar in bars if bar.stops > 0 and bar.setup_starts < minutes)
    return (
        f'<svg class="leafrow" width="100%" height="{ROW_PX}" role="group" aria-label={quoteattr(label)}>'
        f"{ground}{ruled}{drawn}{line}</svg>"
    )


def _bar(bar: Bar, minutes: int) -> str:
    parts = [f'<g class="{_classes(bar)}">']
    if bar.setup_stops > bar.setup_starts and bar.setup_stops > 0:
        x, width = _span(bar.setup_starts, bar.setup_stops, minutes)
        parts.append(f'<rect class="setup" x="{x}%" width="{width}%" y="{BAR_TOP_PX + 6}" height="{BAR_PX - 12}"/>')
    if bar.stops > 0 and bar.starts < minutes:
        x, width = _span(bar.starts, bar.stops, minutes)
        word = f'<text x="6" y="{BAR_TOP_PX + 17}">{escape(_words(bar))}</text>' if width >= NAMED_FROM_PCT else ""
        late = f'<rect class="zigzag" y="{BAR_TOP_PX + BAR_PX + 2}" width="100%" height="6"/>' if bar.late else ""
        edge = f'<rect class="edge" y="{BAR_TOP_PX}" width="4" height="{BAR_PX}"/>' if bar.is_frozen else ""
        nail = f'<path class="nail" d="M3 1h8l-2 4v5h-4v-5z"/><title>{escape(bar.about)}</title>'
        parts.append(
            f'<a href={quoteattr(bar.address)} id="warp-{escape(bar.warp)}" data-warp="{escape(bar.warp)}" '
            f'data-turn="{bar.turn}" aria-label={quoteattr(bar.about)}>'
            f'<svg x="{x}%" width="{width}%" height="{ROW_PX}">'
            f'<rect class="weaving" y="{BAR_TOP_PX}" width="100%" height="{BAR_PX}"/>'
            f"{edge}{word}{late}{nail if bar.pin else f'<title>{escape(bar.about)}</title>'}</svg></a>"
        )
    return "".join([*parts, "</g>"])


def _words(bar: Bar) -> str:
    return f"{bar.name} · {bar.late}" if bar.late else bar.name


def _classes(bar: Bar) -> str:
    said = {"late": bar.late, "inloom": bar.in_loom, "faint": bar.is_faint, "pinned": bar.pin}
    return " ".join(["bar", *(name for name, holds in said.items() if holds)])


def _span(start: int, stop: int, minutes: int) -> tuple[str, float]:
    """Where a span begins, in percent, and how wide it is; never too narrow to be seen."""
    a, b = max(start, 0), min(stop, minutes)
    return f"{100 * a / minutes:.3f}".rstrip("0").rstrip("."), max(round(100 * (b - a) / minutes, 3), 0.08)


def _pct(minute: int, minutes: int) -> str:
    return f"{100 * minute / minutes:.3f}".rstrip("0").rstrip(".") + "%"


def closed_between(opened: Sequence[Span], *, minutes: int, at_least: int) -> list[Span]:
    """The spans between the open ones, no shorter than `at_least`: nights on a quarter's leaf are not drawn.

    >>> closed_between([(360, 1320), (1800, 2760)], minutes=2880, at_least=200)
    [(0, 360), (1320, 1800)]
    """
    closed: list[Span] = []
    at = 0
    for start, stop in [*opened, (minutes, minutes)]:
        if start - at >= at_least:
            closed.append((at, start))
        at = max(at, stop)
    return closed


def turn_at(queue: Sequence[Span], minute: int) -> int:
    """Which turn a warp would have on a loom, put down at a minute: after every warp whose middle has gone by.

    >>> turn_at([(0, 100), (100, 300), (300, 400)], 150), turn_at([(0, 100)], 90), turn_at([], 5)
    (1, 1, 0)
    """
    return sum((start + stop) // 2 < minute for start, stop in queue)


def day_marks(weekdays: Sequence[tuple[str, bool]]) -> list[Mark]:
    """A ruled line for each day of the leaf, from its first: the label, and whether it is a Monday."""
    return [Mark(n * DAY_MIN, label, is_heavy) for n, (label, is_heavy) in enumerate(weekdays)]
