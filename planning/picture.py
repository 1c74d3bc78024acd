"""The picture: a cloth, its draft and a beam drawn as SVG. Knows no page, loom or stock."""

import re
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from decimal import Decimal
from html import escape
from math import prod

from mill.refusal import N_, Refusal, in_words
from planning.cloth import Cloth, Stripe, cut_order, order_threads, reed_ends_per_cm, sett_after, write_order
from planning.ticket import BeamFacts

# Between threads that are drawn one by one lies the shadow of the next layer, not white.
SHADOW = "#2a2622"
# So few threads that each can be told from its neighbour; more of them are drawn shoulder to shoulder.
NEAR_THREADS = 96
LEAST_THREADS = 24


@dataclass(frozen=True, slots=True)
class Window:
    """The part of a cloth that is drawn, from its first end and pick: how many of each, and their setts finished."""

    ends: int
    picks: int
    ends_per_cm: Decimal
    picks_per_cm: Decimal

    @property
    def width_cm(self) -> Decimal:
        return self.ends / self.ends_per_cm

    @property
    def height_cm(self) -> Decimal:
        return self.picks / self.picks_per_cm


def window_of(cloth: Cloth, *, repeats: int = 2, threads_min: int = LEAST_THREADS, threads_max: int = 240) -> Window:
    """So many repeats of the colours, and of the draft and lifting, as fit.

    Where one way is shorter than the other it is carried on until the patch is square, so that a cloth of one weft
    colour is not drawn as a ribbon; a patch is higher than wide, or wider than high, only where one whole repeat makes
    it so.
    """
    assert repeats >= 1
    assert 1 <= threads_min <= threads_max
    reed = reed_ends_per_cm(reed_dents_per_10cm=cloth.reed_dents_per_10cm, ends_per_dent=cloth.ends_per_dent)
    grey = sett_after(threads_per_cm=reed, shrink_pct=cloth.weaving_contraction_pct)
    ends_per_cm = grey / prod((1 - step.width_shrink_pct / 100 for step in cloth.route), start=Decimal(1))
    picks_per_cm = cloth.loom_picks_per_cm / prod(
        (1 - step.length_shrink_pct / 100 for step in cloth.route), start=Decimal(1)
    )
    one_end, one_pick = (
        min(max(order_threads(order), len(draft)), threads_max)
        for order, draft in ((cloth.warp_order, cloth.threading), (cloth.weft_order, cloth.lifting))
    )
    width_cm = max(one_end * repeats, threads_min) / ends_per_cm
    height_cm = max(one_pick * repeats, threads_min) / picks_per_cm
    side_cm = min(max(width_cm, height_cm), threads_max / ends_per_cm, threads_max / picks_per_cm)
    return Window(
        ends=min(max(one_end, round(side_cm * ends_per_cm)), threads_max),
        picks=min(max(one_pick, round(side_cm * picks_per_cm)), threads_max),
        ends_per_cm=ends_per_cm,
        picks_per_cm=picks_per_cm,
    )


def is_warp_up(cloth: Cloth, *, end: int, pick: int) -> bool:
    """Whether the end lies over the pick, both counted from 0: its shaft is lifted on that pick."""
    return cloth.threading[end % len(cloth.threading)] in cloth.lifting[pick % len(cloth.lifting)]


def weft_runs(cloth: Cloth, *, pick: int, ends: int) -> tuple[tuple[int, int], ...]:
    """Where the pick lies on top: (first end counted from 0, ends it passes over), from left to right.

    >>> from planning.picture import _runs
    >>> _runs([True, False, False, True, False])
    ((1, 2), (4, 1))
    """
    return _runs([is_warp_up(cloth, end=end, pick=pick) for end in range(ends)])


def _runs(warp_up: Sequence[bool]) -> tuple[tuple[int, int], ...]:
    runs: list[tuple[int, int]] = []
    for end, up in enumerate(warp_up):
        if up:
            continue
        if runs and sum(runs[-1]) == end:
            runs[-1] = (runs[-1][0], runs[-1][1] + 1)
        else:
            runs.append((end, 1))
    return tuple(runs)


def cloth_picture_svg(
    cloth: Cloth,
    *,
    name: str = "cloth",
    repeats: int = 2,
    threads_min: int = LEAST_THREADS,
    threads_max: int = 240,
    width_px_max: int = 720,
) -> str:
    """The finished cloth as it looks: every crossing in the colour of the thread that lies on top.

    name           in the drawing's inner ids; two drawings on one page need two names
    repeats        of colours and weave, in width and in length
    threads_min    ends, and picks, that are drawn at least, however small the repeat
    threads_max    and at most; a longer repeat is cut off there
    width_px_max   of the drawing, unless a page makes it smaller

    The first end is on the left and the first pick at the bottom, as in the loom. Ends and picks stand as close
    as in the finished cloth.
    """
    assert re.fullmatch(r"[a-z][a-z0-9-]*", name), f"{name!r} is no name for an id"
    window = window_of(cloth, repeats=repeats, threads_min=threads_min, threads_max=threads_max)
    is_near = window.ends <= NEAR_THREADS and window.picks <= NEAR_THREADS
    # Shoulder to shoulder a hair wider than their place, or the ground would shine through between like colours.
    thick = "0.86" if is_near else "1.04"
    across_px = max(1, width_px_max // window.ends) * window.ends
    along_px = int(across_px * window.height_cm / window.width_cm)
    body = "".join(
        [
            f'<rect width="{window.ends}" height="{window.picks}" fill="{SHADOW}"/>',
            *_warp_lines(cloth, window),
            *_weft_lines(cloth, window, name, is_near=is_near),
        ]
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" width="{across_px}" height="{along_px}"'
        f' viewBox="0 0 {window.ends} {window.picks}" preserveAspectRatio="none">'
        f"<title>{escape(_title(cloth))}</title><desc>{escape(_told(cloth, window))}</desc>"
        f'<g fill="none" stroke-width="{thick}">{body}</g></svg>'
    )


def _title(cloth: Cloth) -> str:
    return in_words(N_("%(cloth)s, revision %(n)s, as it looks finished"), cloth=cloth.name, n=cloth.revision)


def _told(cloth: Cloth, window: Window) -> str:
    colours = ", ".join(f"{letter} {yarn.code} {yarn.name}" for letter, yarn in cloth.yarns.items())
    return in_words(
        N_("%(ends)s ends and %(picks)s picks, %(width)s by %(height)s cm. Warp %(warp)s; weft %(weft)s. %(colours)s."),
        ends=window.ends,
        picks=window.picks,
        width=round(window.width_cm, 1),
        height=round(window.height_cm, 1),
        warp=write_order(cloth.warp_order),
        weft=write_order(cloth.weft_order),
        colours=colours,
    )


def _colour(cloth: Cloth, letter: str) -> str:
    """The yarn's colour, looked at once more before it goes between quotation marks."""
    colour = cloth.yarns[letter].colour
    if not re.fullmatch(r"#[0-9a-fA-F]{6}", colour):
        raise Refusal(f"{colour!r} can't be drawn; write a colour such as #7a5c3e.", field="yarns")
    return colour


def _warp_lines(cloth: Cloth, window: Window) -> list[str]:
    """The ends, a path a colour; each as long as the window."""
    return [
        f'<path stroke="{colour}" d="{"".join(f"M{at}.5 0v{window.picks}" for at in places)}"/>'
        for colour, places in _places(cloth, cut_order(cloth.warp_order, start=0, threads=window.ends)).items()
    ]


def _weft_lines(cloth: Cloth, window: Window, name: str, *, is_near: bool) -> list[str]:
    """The picks where they lie on top. Equal lifts are drawn once and laid at every pick that has them."""
    # Seen near, a float stops short of the ends that dive over it, and its shadow parts it from the next pick.
    run = "M{}.07 .5h{}.86" if is_near else "M{} .5h{}"
    drawn: dict[tuple[int, ...], str] = {}
    kept: list[str] = []
    laid: list[str] = []
    for pick, colour in _by_place(cloth, cut_order(cloth.weft_order, start=0, threads=window.picks)):
        lift = cloth.lifting[pick % len(cloth.lifting)]
        if lift not in drawn:
            drawn[lift] = f"{name}-{len(drawn) + 1}"
            runs = "".join(
                run.format(at, n - 1 if is_near else n) for at, n in weft_runs(cloth, pick=pick, ends=window.ends)
            )
            kept.append(f'<path id="{drawn[lift]}" d="{runs}"/>')
        place = f'href="#{drawn[lift]}" y="{window.picks - 1 - pick}"'
        if is_near:
            laid.append(f'<use {place} stroke="{SHADOW}" stroke-width="1"/>')
        laid.append(f'<use {place} stroke="{colour}"/>')
    return [f"<defs>{''.join(kept)}</defs>", *laid]


def _by_place(cloth: Cloth, order: Sequence[Stripe]) -> list[tuple[int, str]]:
    colours = [_colour(cloth, stripe.letter) for stripe in order for _ in range(stripe.n)]
    return list(enumerate(colours))


def _places(cloth: Cloth, order: Sequence[Stripe]) -> dict[str, list[int]]:
    places: dict[str, list[int]] = {}
    for at, colour in _by_place(cloth, order):
        places.setdefault(colour, []).append(at)
    return places


# The draft: design, threading and lifting on squared paper, in black on white.

CELL = 14
MARGIN = 4
# Room for a letter of a heading.
LETTER = 7


@dataclass(slots=True)
class _Sheet:
    """Squared paper: rectangles, rules and figures, gathered as SVG."""

    parts: list[str]

    def grid(self, *, left: int, top: int, columns: int, rows: int) -> None:
        right, bottom = left + columns * CELL, top + rows * CELL
        thin: list[str] = []
        thick: list[str] = []
        for n in range(columns + 1):
            (thick if n % 4 == 0 or n == columns else thin).append(f"M{left + n * CELL} {top}V{bottom}")
        for n in range(rows + 1):
            # Counted from below, as picks and shafts are.
            (thick if n % 4 == 0 or n == rows else thin).append(f"M{left} {bottom - n * CELL}H{right}")
        self.parts.append(f'<path d="{"".join(thin)}" stroke="#999999" stroke-width="0.6"/>')
        self.parts.append(f'<path d="{"".join(thick)}" stroke="#000000" stroke-width="1"/>')

    def blacken(self, cells: Sequence[tuple[int, int]]) -> None:
        squares = "".join(f"M{x + 1} {y + 1}h{CELL - 2}v{CELL - 2}h-{CELL - 2}z" for x, y in cells)
        self.parts.append(f'<path d="{squares}" fill="#000000"/>')

    def write(self, text: str, *, x: int, y: int, anchor: str = "middle", size: int = 9) -> None:
        self.parts.append(
            f'<text x="{x}" y="{y}" text-anchor="{anchor}" font-size="{size}" fill="#000000">{escape(text)}</text>'
        )


def draft_svg(
    threading: Sequence[int],
    lifting: Sequence[Collection[int]],
    *,
    ends_max: int = 64,
    picks_max: int = 64,
    in_words: Callable[[str], str] = str,
) -> str:
    """One repeat of a weave on squared paper: the threading above the design, the lifting beside it.

    threading    the shaft of each end, counted from 1
    lifting      the shafts lifted on each pick
    in_words     an English word of the drawing in the language of the page

    In the threading each end's square holds its shaft's number, shaft 1 in the lowest row. In the design a black
    square is an end over a pick; in the lifting the shafts that go up are written out on the pick's own row. The
    first end is on the left, the first pick at the bottom. A longer repeat is cut off at ends_max and picks_max,
    and the drawing says so.

    Source: the arrangement of point paper, drafts and lifting plans is common practice, no source.
    """
    assert threading
    assert lifting
    shafts, ends, picks = max(threading), min(len(threading), ends_max), min(len(lifting), picks_max)
    side = 4 * CELL
    left, top = side, 2 * CELL
    design_top = top + shafts * CELL + CELL
    lifting_left = left + ends * CELL + CELL
    bottom = design_top + picks * CELL
    sheet = _Sheet([])
    sheet.grid(left=left, top=top, columns=ends, rows=shafts)
    for end, shaft in enumerate(threading[:ends]):
        x, y = left + end * CELL + CELL // 2, top + (shafts - shaft) * CELL
        sheet.write(str(shaft), x=x, y=y + 10, size=10)
    for shaft in range(1, shafts + 1):
        sheet.write(
            in_words(N_("shaft %(n)s")) % {"n": shaft},
            x=left - MARGIN,
            y=top + (shafts - shaft) * CELL + 10,
            anchor="end",
        )
    sheet.grid(left=left, top=design_top, columns=ends, rows=picks)
    sheet.grid(left=lifting_left, top=design_top, columns=shafts, rows=picks)
    over: list[tuple[int, int]] = []
    for pick, lift in enumerate(lifting[:picks]):
        y = bottom - (pick + 1) * CELL
        over += [(left + end * CELL, y) for end, shaft in enumerate(threading[:ends]) if shaft in lift]
        for shaft in sorted(lift):
            sheet.write(str(shaft), x=lifting_left + (shaft - 1) * CELL + CELL // 2, y=y + 10, size=10)
        if pick == 0 or (pick + 1) % 4 == 0 or pick == picks - 1:
            sheet.write(in_words(N_("pick %(n)s")) % {"n": pick + 1}, x=left - MARGIN, y=y + 10, anchor="end")
    sheet.blacken(over)
    for end in range(ends):
        if end == 0 or (end + 1) % 4 == 0:
            sheet.write(str(end + 1), x=left + end * CELL + CELL // 2, y=bottom + 11)
    sheet.write(in_words(N_("Threading")), x=left, y=top - 5, anchor="start", size=11)
    lifting_called = in_words(N_("Lifting"))
    sheet.write(lifting_called, x=lifting_left, y=design_top - 4, anchor="start", size=11)
    sheet.write(in_words(N_("end")), x=left - MARGIN, y=bottom + 11, anchor="end")
    width = lifting_left + max(shafts * CELL, 4 * CELL, LETTER * len(lifting_called)) + MARGIN
    height = bottom + CELL + MARGIN
    cut = ""
    if (ends, picks) != (len(threading), len(lifting)):
        cut = in_words(N_("The first %(ends)s of %(of_ends)s ends and %(picks)s of %(of_picks)s picks.")) % {
            "ends": ends,
            "of_ends": len(threading),
            "picks": picks,
            "of_picks": len(lifting),
        }
        sheet.write(cut, x=left, y=height + 8, anchor="start", size=10)
        height += CELL + MARGIN
    told = in_words(
        N_("Threading %(threading)s. Lifting %(lifting)s. %(over)s of %(crossings)s crossings have the end on top.")
    ) % {
        "threading": " ".join(map(str, threading[:ends])),
        "lifting": " ".join("+".join(map(str, sorted(lift))) or "0" for lift in lifting[:picks]),
        "over": sum(shaft in lift for lift in lifting for shaft in threading),
        "crossings": len(threading) * len(lifting),
    }
    title = in_words(N_("Threading, lifting and weave"))
    return _paper(width, height, title=title, told=f"{told} {cut}", parts=sheet.parts)


def _paper(width: int, height: int, *, title: str, told: str, parts: Sequence[str]) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" width="{width}" height="{height}"'
        f' viewBox="0 0 {width} {height}" font-family="Liberation Sans, Arial, sans-serif">'
        f"<title>{escape(title)}</title><desc>{escape(told.strip())}</desc>"
        f'<rect width="{width}" height="{height}" fill="#ffffff"/>'
        f'<g fill="none">{"".join(parts)}</g></svg>'
    )


# The beam, cut along its axle.


def beam_svg(beam: BeamFacts, *, filled_mm: int, warp_width_cm: Decimal | None = None, width_px: int = 560) -> str:
    """A beam cut along its axle, to scale: barrel, flanges, and the warp wound up to `filled_mm` across.

    filled_mm       diameter of the full warp; over the flange it is drawn as it would stand, and said
    warp_width_cm   that the warp takes on the barrel; from flange to flange when not said
    """
    assert 0 < beam.barrel_mm < beam.flange_mm
    # Beside it stand its measures, in the longest words of any language.
    scale = Decimal(width_px - 225) / (beam.width_cm * 10)
    flange, barrel, filled = (int(mm * scale) for mm in (beam.flange_mm, beam.barrel_mm, filled_mm))
    width = int(beam.width_cm * 10 * scale)
    tall = max(flange, filled)
    height = tall + 60
    middle = 20 + tall // 2
    left, flange_px, axle = 40, 5, max(4, barrel // 5)
    right = left + flange_px + width
    warp = int(min(warp_width_cm or beam.width_cm, beam.width_cm) * 10 * scale)
    warp_left = left + flange_px + (width - warp) // 2
    layer = max(0, filled - barrel) // 2
    parts = [
        _box(left - 24, middle - axle // 2, width + 2 * flange_px + 40, axle, fill="#ffffff"),
        _box(left + flange_px, middle - barrel // 2, width, barrel, fill="#ffffff"),
    ]
    for y in (middle - barrel // 2 - layer, middle - barrel // 2 + barrel):
        if layer:
            parts += [_box(warp_left, y, warp, layer, fill="#d9d2c0"), _turns(warp_left, y, warp, layer)]
    for x in (left, right):
        parts.append(_box(x, middle - flange // 2, flange_px, flange, fill="#000000"))
    room_mm = (beam.flange_mm - filled_mm) // 2
    form = N_("%(room)s mm to the flange's edge") if room_mm >= 0 else N_("%(room)s mm over the flange")
    room = in_words(form, room=abs(room_mm))
    at = right + flange_px + 24
    width_cm = Decimal(_plain(beam.width_cm))
    parts += _measured(at, middle, filled, in_words(N_("warp %(across)s mm"), across=filled_mm))
    parts += [
        _said(at + 12, middle - tall // 2 - 6, in_words(N_("flange %(across)s mm"), across=beam.flange_mm)),
        _said(at + 12, middle + 18, in_words(N_("barrel %(across)s mm"), across=beam.barrel_mm)),
        _said(
            left, 20 + tall + 30, in_words(N_("%(width)s cm between the flanges; %(room)s"), width=width_cm, room=room)
        ),
    ]
    told = in_words(
        N_(
            "Barrel %(barrel)s mm, flange %(flange)s mm, full warp %(filled)s mm across: %(room)s. %(width)s cm between"
            " the flanges."
        ),
        barrel=beam.barrel_mm,
        flange=beam.flange_mm,
        filled=filled_mm,
        room=room,
        width=width_cm,
    )
    title = in_words(N_("Beam %(beam)s, filled"), beam=beam.code)
    return _paper(width_px, height, title=title, told=told, parts=parts)


def _box(x: int, y: int, width: int, height: int, *, fill: str) -> str:
    return f'<rect x="{x}" y="{y}" width="{width}" height="{height}" fill="{fill}" stroke="#000000"/>'


def _turns(x: int, y: int, width: int, height: int) -> str:
    """The wound yarn, as lines along the barrel."""
    lines = "".join(f"M{x} {at}h{width}" for at in range(y + 4, y + height, 4))
    return f'<path d="{lines}" stroke="#000000" stroke-width="0.4"/>'


def _measured(x: int, middle: int, length: int, text: str) -> list[str]:
    top, bottom = middle - length // 2, middle + length // 2
    line = f"M{x} {top}V{bottom}M{x - 4} {top}h8M{x - 4} {bottom}h8"
    return [f'<path d="{line}" stroke="#000000"/>', _said(x + 12, middle, text)]


def _said(x: int, y: int, text: str) -> str:
    return f'<text x="{x}" y="{y}" font-size="13" fill="#000000">{escape(text)}</text>'


def _plain(value: Decimal) -> str:
    return f"{value.normalize():f}"
