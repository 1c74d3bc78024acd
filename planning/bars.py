"""Bars that say how full each week is, drawn. Knows no loom, only minutes open and minutes taken."""

from collections.abc import Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

ROW_PX, GAP_PX, LABEL_PX = 18, 4, 86
FULL_PX = 300


@dataclass(frozen=True, slots=True)
class Load:
    """taken is divided into parts, each with the class of its ink: weaving, set-up …"""

    label: str
    opened: int
    taken: tuple[tuple[str, int], ...]

    @property
    def share_pct(self) -> int | None:
        """Of the minutes open; None when there are none."""
        return round(100 * sum(minutes for _, minutes in self.taken) / self.opened) if self.opened else None


def bars_svg(loads: Sequence[Load], *, label: str, closed: str = "closed") -> str:
    """A bar a week, to the scale of the fullest: the frame is what is open, the ink what is taken.

    >>> svg = bars_svg([Load("Mon 23 Nov", 600, (("weaving", 300),))], label="Looms")
    >>> 'width="150.0"' in svg and "50 %" in svg
    True
    """
    most = max((max(load.opened, sum(m for _, m in load.taken)) for load in loads), default=0) or 1
    height = len(loads) * (ROW_PX + GAP_PX)
    parts = [
        f'<svg class="loadbars" viewBox="0 0 {LABEL_PX + FULL_PX + 60} {height}" width="{LABEL_PX + FULL_PX + 60}" '
        f'height="{height}" role="img" aria-label="{escape(label)}">'
    ]
    for n, load in enumerate(loads):
        y = n * (ROW_PX + GAP_PX)
        x = float(LABEL_PX)
        parts.append(f'<text x="0" y="{y + 13}">{escape(load.label)}</text>')
        for ink, minutes in load.taken:
            width = FULL_PX * minutes / most
            parts.append(f'<rect class="{ink}" x="{x:.1f}" y="{y + 2}" width="{width:.1f}" height="{ROW_PX - 4}"/>')
            x += width
        frame = FULL_PX * load.opened / most
        parts.append(f'<rect class="open" x="{LABEL_PX}" y="{y + 0.5}" width="{frame:.1f}" height="{ROW_PX - 1}"/>')
        share = closed if load.share_pct is None else f"{load.share_pct} %"
        parts.append(f'<text x="{LABEL_PX + max(frame, x - LABEL_PX) + 6:.1f}" y="{y + 13}">{escape(share)}</text>')
    return "".join([*parts, "</svg>"])
