"""The strip: a loom's coming weeks drawn as one line of paper. Knows no loom, only spans of time."""

from collections.abc import Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape, quoteattr

WIDTH, HEIGHT = 1000, 34
SET_UP, WEAVING, CLOSED = "set-up", "weaving", "closed"


@dataclass(frozen=True, slots=True)
class Bar:
    """A span on the strip, in the strip's own minutes.

    kind    "set-up", "weaving" or "closed"
    label   written in it where it fits, and read aloud
    is_late it ends after its due date: drawn with a thick lower edge as well as in another ink
    """

    kind: str
    starts: int
    stops: int
    label: str = ""
    address: str = ""
    is_late: bool = False


def strip_svg(
    bars: Sequence[Bar],
    *,
    minutes: int,
    marks: Sequence[tuple[int, str]] = (),
    now: int | None = None,
    label: str = "The coming weeks",
) -> str:
    """The strip as SVG, `minutes` wide.

    marks   (minute, label) of ruled lines: Mondays
    now     a line at the present minute
    label   what the whole is, read aloud

    >>> "Warp 7" in strip_svg([Bar(WEAVING, 0, 600, "Warp 7")], minutes=1440)
    True
    """
    assert minutes > 0
    parts = [
        f'<svg class="strip" viewBox="0 0 {WIDTH} {HEIGHT}" preserveAspectRatio="none" role="group" '
        f'aria-label={quoteattr(label)}><rect width="{WIDTH}" height="{HEIGHT}" fill="#fffdf8"/>'
    ]
    for minute, label in marks:
        x = _x(minute, minutes)
        parts.append(f'<path d="M{x} 0V{HEIGHT}" stroke="#b8ae97" stroke-width="1"/><title>{escape(label)}</title>')
    parts += [_bar(bar, minutes) for bar in bars if bar.stops > 0 and bar.starts < minutes]
    if now is not None:
        x = _x(now, minutes)
        parts.append(f'<path d="M{x} 0V{HEIGHT}" stroke="#a4372f" stroke-width="2"/>')
    return "".join([*parts, "</svg>"])


def _x(minute: int, minutes: int) -> str:
    return f"{max(0.0, min(minute / minutes, 1.0)) * WIDTH:.1f}"


def _bar(bar: Bar, minutes: int) -> str:
    x, stop = float(_x(bar.starts, minutes)), float(_x(bar.stops, minutes))
    width = max(stop - x, 1.0)
    at = f'x="{x:.1f}" width="{width:.1f}"'
    title = f"<title>{escape(bar.label)}</title>" if bar.label else ""
    if bar.kind == CLOSED:
        return f'<rect {at} y="0" height="{HEIGHT}" fill="#e9e2d1">{title}</rect>'
    if bar.kind == SET_UP:
        return f'<rect {at} y="13" height="8" fill="#6d5a2c">{title}</rect>'
    fill = "#97231c" if bar.is_late else "#3a6b8c"
    drawn = f'<rect {at} y="6" height="22" fill="{fill}">{title}</rect>'
    if bar.is_late:
        drawn += f'<rect {at} y="28" height="4" fill="#1f2a37"/>'
    if bar.address:
        return f"<a href={quoteattr(bar.address)} aria-label={quoteattr(bar.label)}>{drawn}</a>"
    return drawn
