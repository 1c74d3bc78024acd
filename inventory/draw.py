"""The draw: which lots to take for one need. Knows no ledger, warp or date of today.

One dye lot a colour in a warp, always. In the weft the dye lot may change, but only where a piece ends. Common
practice, no source.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cache
from typing import Literal

from inventory.ledger import written
from mill.refusal import N_, Refusal, Word, in_words

# Orders of dye lots are tried among so many, those with most free; the fewest that do are always among them.
SHADES_TRIED = 12
# Ways of giving pieces out singly that are tried before we say that none was found.
WAYS_TRIED = 20_000
PIECES_TRIED = 300
# Sizes of pieces that are counted before one is given out.
TIERS = 6

# Why another dye lot is not asked.
BEGUN = N_("a piece of it is begun of this dye lot")
HELD = N_("what is held for it is of this dye lot")
CHOSEN = N_("it was chosen")


@dataclass(frozen=True, slots=True)
class Lot:
    """What is free of a lot, and whether it may be drawn. `pk` is for whoever made it from a row."""

    label: str
    yarn: int | str
    dye_lot: str
    free_g: int
    received_on: date
    is_quarantined: bool = False
    is_shade_approved: bool = True
    pk: int = 0

    @property
    def why_not(self) -> str:
        """Why it may not be drawn, after "it"; "" when it may."""
        if self.is_quarantined:
            return N_("is in quarantine")
        return "" if self.is_shade_approved else N_("has no approved shade")


@dataclass(frozen=True, slots=True)
class Need:
    """Grams of a yarn for something.

    pieces_g    of a weft: what each piece takes, in the order in which they are woven, together `grams`.
                Empty when the need can't be parted.
    begun       the dye lot in which the first of these pieces was begun: the rest of that piece is woven of it
    """

    yarn: int | str
    grams: int
    use: Literal["warp", "weft"]
    label: str
    pieces_g: tuple[int, ...] = ()
    begun: str = ""

    def __post_init__(self) -> None:
        if self.grams < 1 or any(piece_g < 1 for piece_g in self.pieces_g):
            raise Refusal(
                N_("%(label)s needs %(grams)s g: there is nothing to choose below 1 g."),
                label=self.label,
                grams=self.grams,
            )
        assert not self.pieces_g or sum(self.pieces_g) == self.grams
        assert self.use == "weft" or not self.pieces_g, "a warp is not parted"
        assert self.pieces_g or not self.begun, "only a piece is begun"


@dataclass(frozen=True, slots=True)
class Take:
    """So much of this lot. `pieces` are the pieces it is woven into, from 1; empty when the need has none."""

    lot: Lot
    grams: int
    pieces: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Choice:
    """What to take for a need, and why, in a line; without takes, what is short and what comes nearest.

    nearest     the dye lot with most free of what may be drawn; "" when nothing may be
    """

    need: Need
    takes: tuple[Take, ...]
    why: str
    short_g: int = 0
    nearest: str = ""

    @property
    def is_met(self) -> bool:
        return bool(self.takes)

    @property
    def dye_lots(self) -> tuple[str, ...]:
        """In the order in which they are used."""
        return tuple(dict.fromkeys(take.lot.dye_lot for take in self.takes))


@dataclass(frozen=True, slots=True)
class Shade:
    """The lots of one dye lot that may be drawn, oldest first."""

    dye_lot: str
    lots: tuple[Lot, ...]

    @property
    def free_g(self) -> int:
        return sum(lot.free_g for lot in self.lots)

    @property
    def oldest(self) -> date:
        return self.lots[0].received_on


def in_pieces(grams: int, pieces: int) -> tuple[int, ...]:
    """Whole grams for each of so many equal pieces, together exactly `grams`; the first take the odd ones.

    >>> in_pieces(10, 4)
    (3, 3, 2, 2)
    """
    assert pieces >= 1
    each, odd = divmod(grams, pieces)
    return tuple(each + (piece < odd) for piece in range(pieces))


def choose(need: Need, lots: Iterable[Lot], *, useful_g: int, only_why: str = "") -> Choice:
    """Which lots to take for a need.

    lots        of any yarn; those of another yarn, or that may not be drawn, are left alone
    useful_g    a remainder of a dye lot above 0 and below this is of little use; the mill sets it
    only_why    why there is no choice: `lots` are of the one dye lot that it may take

    Of the dye lots that cover the need, first those that leave nothing or a useful remainder, then the oldest, then
    the smallest remainder; within a dye lot the oldest lots first. A weft that no dye lot covers goes through its
    pieces with as few dye lots as can do it, each for pieces that follow each other; if that can't be done, piece by
    piece.

    >>> monday = date(2026, 11, 23)
    >>> lots = [Lot("A12", 7, "881", 9000, monday), Lot("A14", 7, "904", 15000, monday)]
    >>> choice = choose(Need(7, 10080, "warp", "Warp 118"), lots, useful_g=3000)
    >>> [(take.lot.label, take.grams) for take in choice.takes]
    [('A14', 10080)]
    >>> print(choose(Need(7, 16000, "warp", "Warp 119"), lots, useful_g=3000).why.replace("\\u202f", " "))
    Warp 119 needs 16 000 g of one dye lot; the nearest is dye lot 904 with 15 000 g free: 1000 g short. All its dye
    lots together have 24 000 g, but a warp takes one.

    Source: one dye lot a colour in a warp, oldest first within a dye lot: common practice, no source.
    """
    of_yarn = [lot for lot in lots if lot.yarn == need.yarn and lot.free_g > 0]
    shades = shades_of(lot for lot in of_yarn if not lot.why_not)
    barred = [lot for lot in of_yarn if lot.why_not]
    covering = [shade for shade in shades if shade.free_g >= need.grams and need.begun in ("", shade.dye_lot)]
    if covering:
        shade = min(covering, key=lambda shade: _rank(shade, need.grams, useful_g))
        takes = take_from(shade, need.grams, tuple(range(1, len(need.pieces_g) + 1)))
        only_why = BEGUN if need.begun else only_why
        return Choice(need, takes, _why_one(need, shade, covering, shades, useful_g, only_why))
    if len(need.pieces_g) > 1 and sum(shade.free_g for shade in shades) >= need.grams:
        runs = fewest_runs(need, shades, useful_g) or _piece_by_piece(need, shades)
        if runs:
            return Choice(need, _takes_of(runs, need.pieces_g), _why_runs(need, runs))
    return _short(need, shades, barred)


def check_takes(need: Need, takes: Sequence[Take], *, only: str = "") -> None:
    """Raise Refusal where these takes break a rule of the draw: another sum, another yarn, dye lots mixed.

    only    the dye lot that is in the warp already

    >>> monday = date(2026, 11, 23)
    >>> lots = [Lot("A12", 7, "881", 9000, monday), Lot("A14", 7, "904", 15000, monday)]
    >>> try: check_takes(Need(7, 9000, "warp", "Warp 118"), [Take(lots[0], 4000), Take(lots[1], 5000)])
    ... except Refusal as refusal: print(refusal)
    Warp 118 would be of dye lots 881 and 904. A warp takes one: choose one of them for all of it.
    """
    total_g = sum(take.grams for take in takes)
    if total_g != need.grams or any(take.grams < 1 for take in takes):
        raise Refusal(
            N_("%(label)s takes %(grams)s; %(total)s are given to it. Give it just what it takes."),
            label=need.label,
            grams=written(need.grams),
            total=written(total_g),
        )
    for take in takes:
        if take.lot.yarn != need.yarn:
            raise Refusal(
                N_("Lot %(lot)s is of another yarn than %(label)s takes. Choose a lot of its own."),
                lot=take.lot.label,
                label=need.label,
            )
        if take.lot.why_not:
            raise Refusal(
                N_("Lot %(lot)s %(why_not)s. Choose another lot."), lot=take.lot.label, why_not=Word(take.lot.why_not)
            )
    dye_lots = list(dict.fromkeys(take.lot.dye_lot for take in takes))
    if only and dye_lots != [only]:
        raise Refusal(
            N_(
                "%(label)s has dye lot %(only)s already; %(dye_lots)s would be added. Keep to %(only)s, "
                "or let the yarn go and hold all of it afresh."
            ),
            label=need.label,
            only=only,
            dye_lots=", ".join(dye_lots),
        )
    if not need.pieces_g:
        if len(dye_lots) > 1:
            raise Refusal(
                N_(
                    "%(label)s would be of dye lots %(dye_lots)s. A %(use)s takes one: choose one of them for all of"
                    " it."
                ),
                label=need.label,
                dye_lots=listed(dye_lots, most=len(dye_lots)),
                use=Word(need.use),
            )
        return
    of_piece: dict[int, str] = {}
    given_g: dict[str, int] = defaultdict(int)
    for take in takes:
        given_g[take.lot.dye_lot] += take.grams
        for piece in take.pieces:
            if of_piece.setdefault(piece, take.lot.dye_lot) != take.lot.dye_lot:
                raise Refusal(
                    N_(
                        "%(label)s: piece %(piece)s would be of dye lots %(other)s and %(dye_lot)s. The "
                        "weft changes where a piece ends: give each piece one dye lot."
                    ),
                    label=need.label,
                    piece=piece,
                    other=of_piece[piece],
                    dye_lot=take.lot.dye_lot,
                )
    for dye_lot, grams in given_g.items():
        mine = [piece for piece, of_it in of_piece.items() if of_it == dye_lot]
        pieces_g = sum(need.pieces_g[piece - 1] for piece in mine if 1 <= piece <= len(need.pieces_g))
        if grams != pieces_g:
            raise Refusal(
                N_(
                    "%(label)s: its %(n)s pieces of dye lot %(dye_lot)s take %(pieces)s; %(grams)s are "
                    "given. The weft changes where a piece ends: give each piece all that it takes."
                ),
                label=need.label,
                n=len(mine),
                dye_lot=dye_lot,
                pieces=written(pieces_g),
                grams=written(grams),
            )
    if need.begun not in ("", of_piece.get(1, "")):
        raise Refusal(
            N_("%(label)s: its first piece is begun of dye lot %(begun)s; %(given)s is given. End it of %(begun)s."),
            label=need.label,
            begun=need.begun,
            given=of_piece.get(1) or Word(N_("nothing")),
        )


def shades_of(lots: Iterable[Lot]) -> list[Shade]:
    by_dye_lot: dict[str, list[Lot]] = defaultdict(list)
    for lot in lots:
        by_dye_lot[lot.dye_lot].append(lot)
    return [
        Shade(dye_lot, tuple(sorted(of_it, key=lambda lot: (lot.received_on, lot.label))))
        for dye_lot, of_it in sorted(by_dye_lot.items())
    ]


def is_useless(left_g: int, useful_g: int) -> bool:
    return 0 < left_g < useful_g


def _rank(shade: Shade, grams: int, useful_g: int) -> tuple[bool, date, int, str]:
    left_g = shade.free_g - grams
    return (is_useless(left_g, useful_g), shade.oldest, left_g, shade.dye_lot)


def take_from(shade: Shade, grams: int, pieces: tuple[int, ...]) -> tuple[Take, ...]:
    """So much of a dye lot, its oldest lots first."""
    takes, wanting_g = [], grams
    for lot in shade.lots:
        if wanting_g == 0:
            break
        takes.append(Take(lot, min(lot.free_g, wanting_g), pieces))
        wanting_g -= takes[-1].grams
    assert wanting_g == 0
    return tuple(takes)


# A weft over several dye lots

_Runs = list[tuple[Shade, tuple[int, ...]]]


def fewest_runs(need: Need, shades: list[Shade], useful_g: int) -> _Runs | None:
    """The fewest dye lots, each woven through pieces that follow each other; None when there is no such order.

    A larger dye lot serves wherever a smaller one does, so the fewest are always among the largest, beside the one
    that was begun, which comes first. `reach[mask]` is how many pieces from the first the dye lots of `mask` can
    serve, in their best order: more pieces served are never worse, so the best order of a set is the best of its parts
    with one more behind.
    """
    pieces_g = need.pieces_g
    tried = sorted(shades, key=lambda shade: (shade.dye_lot != need.begun, -shade.free_g, shade.oldest, shade.dye_lot))[
        :SHADES_TRIED
    ]
    first = 0
    if need.begun:
        if not tried or tried[0].dye_lot != need.begun:
            return None
        first = 1
    free_g = [shade.free_g for shade in tried]
    reach, behind = {0: 0}, {0: -1}
    if first:
        reach[1], behind[1] = _extend(pieces_g, 0, free_g[0]), 0
        if not reach[1]:
            return None
    fewest = 0
    done: list[int] = []
    for mask in _masks(len(tried)):
        if done and mask.bit_count() > fewest:
            break
        if mask & first != first or mask == first == 1:
            continue
        best = max(
            (i for i in range(first, len(tried)) if mask >> i & 1),
            key=lambda i: (_extend(pieces_g, reach[mask ^ 1 << i], free_g[i]), i),
        )
        reach[mask], behind[mask] = _extend(pieces_g, reach[mask ^ 1 << best], free_g[best]), best
        if reach[mask] == len(pieces_g):
            fewest = mask.bit_count()
            done.append(mask)
    if not done:
        return None
    ways = [_runs_of(mask, pieces_g, tried, reach, behind) for mask in done]
    return min(ways, key=lambda runs: _rank_runs(runs, pieces_g, useful_g))


@cache
def _masks(n: int) -> list[int]:
    """Every choice among n as bits, the small choices first."""
    return sorted(range(1, 1 << n), key=lambda mask: (mask.bit_count(), mask))


def _extend(pieces_g: Sequence[int], served: int, free_g: int) -> int:
    while served < len(pieces_g) and pieces_g[served] <= free_g:
        free_g -= pieces_g[served]
        served += 1
    return served


def _runs_of(
    mask: int, pieces_g: Sequence[int], tried: list[Shade], reach: dict[int, int], behind: dict[int, int]
) -> _Runs:
    order = []
    while mask:
        order.append(behind[mask])
        mask ^= 1 << behind[mask]
    runs: _Runs = []
    served = 0
    for i in reversed(order):
        until = _extend(pieces_g, served, tried[i].free_g)
        runs.append((tried[i], tuple(range(served + 1, until + 1))))
        served = until
    return runs


def _rank_runs(runs: _Runs, pieces_g: Sequence[int], useful_g: int) -> tuple[int, list[date], list[str]]:
    left_g = [shade.free_g - sum(pieces_g[piece - 1] for piece in pieces) for shade, pieces in runs]
    useless = sum(is_useless(grams, useful_g) for grams in left_g)
    return (useless, sorted(shade.oldest for shade, _ in runs), [shade.dye_lot for shade, _ in runs])


def _piece_by_piece(need: Need, shades: list[Shade]) -> _Runs | None:
    """Any way to give each piece to one dye lot, the largest pieces first; None when none was found."""
    pieces_g = need.pieces_g
    if len(pieces_g) > PIECES_TRIED:
        return None
    order = sorted(range(len(pieces_g)), key=lambda piece: -pieces_g[piece])
    free_g = [shade.free_g for shade in shades]
    tiers = _tiers([pieces_g[piece] for piece in order])
    begun = next((i for i, shade in enumerate(shades) if shade.dye_lot == need.begun), None)
    begun_at = order.index(0)
    given: list[int] = []
    dead_ends: set[tuple[int, int, tuple[int, ...]]] = set()

    def give(at: int) -> bool:
        if at == len(order):
            return True
        # Two dye lots with as much left lead as far, but for the one that the first piece must have.
        own_g = free_g[begun] if begun is not None and at <= begun_at else 0
        here = (at, own_g, tuple(sorted(free_g)))
        if here in dead_ends or len(dead_ends) >= WAYS_TRIED:
            return False
        # Fewer pieces fit in than are left, whatever is given to whom.
        if any(sum(grams // least_g for grams in free_g) < pieces for least_g, pieces in tiers[at]):
            return False
        for i in sorted(range(len(shades)), key=lambda i: (free_g[i], i)):
            if order[at] == 0 and need.begun not in ("", shades[i].dye_lot):
                continue
            if free_g[i] >= pieces_g[order[at]]:
                free_g[i] -= pieces_g[order[at]]
                given.append(i)
                if give(at + 1):
                    return True
                given.pop()
                free_g[i] += pieces_g[order[at]]
        dead_ends.add(here)
        return False

    if not give(0):
        return None
    by_shade: dict[int, list[int]] = defaultdict(list)
    for piece, i in zip(order, given, strict=True):
        by_shade[i].append(piece + 1)
    return sorted(
        ((shades[i], tuple(sorted(pieces))) for i, pieces in by_shade.items()), key=lambda shade_pieces: shade_pieces[1]
    )


def _tiers(pieces_g: Sequence[int]) -> list[list[tuple[int, int]]]:
    """From each piece on, the largest first: a few sizes, each with how many of the pieces are no smaller.

    >>> _tiers([5, 5, 3])
    [[(3, 3), (5, 2)], [(3, 2), (5, 1)], [(3, 1)]]
    """
    found = []
    for at in range(len(pieces_g)):
        sizes = sorted(set(pieces_g[at:]))
        some = sizes[:: -(-len(sizes) // TIERS)]
        found.append([(size, sum(piece_g >= size for piece_g in pieces_g[at:])) for size in some])
    return found


def _takes_of(runs: _Runs, pieces_g: Sequence[int]) -> tuple[Take, ...]:
    return tuple(
        take
        for shade, pieces in runs
        for take in take_from(shade, sum(pieces_g[piece - 1] for piece in pieces), pieces)
    )


# In words


def _why_one(need: Need, shade: Shade, covering: list[Shade], shades: list[Shade], useful_g: int, only_why: str) -> str:
    left_g = shade.free_g - need.grams
    older = [other for other in covering if other.oldest < shade.oldest]
    small = [other for other in shades if other.free_g < need.grams and other.oldest < shade.oldest]
    if only_why:
        why = in_words(only_why)
    elif older:
        other = min(older, key=lambda other: other.oldest)
        why = in_words(
            N_("dye lot %(other)s is older, but would leave %(left)s, less than the %(useful)s that are of use"),
            other=other.dye_lot,
            left=written(other.free_g - need.grams),
            useful=written(useful_g),
        )
    elif small:
        other = min(small, key=lambda other: other.oldest)
        why = in_words(
            N_("dye lot %(other)s is older, but has only %(free)s free"),
            other=other.dye_lot,
            free=written(other.free_g),
        )
    elif len(covering) == 1:
        why = in_words(N_("no other covers it"))
    else:
        why = in_words(N_("it is the oldest that covers it"))
    said = {"dye_lot": shade.dye_lot, "free": written(shade.free_g), "why": why}
    if left_g:
        return in_words(
            N_("Dye lot %(dye_lot)s has %(free)s free, %(left)s stay; %(why)s."), left=written(left_g), **said
        )
    return in_words(N_("Dye lot %(dye_lot)s has %(free)s free, it is used up; %(why)s."), **said)


def _why_runs(need: Need, runs: _Runs) -> str:
    parts = parts_said((shade.dye_lot, pieces) for shade, pieces in runs)
    if need.begun:
        return begun_said(need.begun, runs[0][0].free_g, parts)
    largest = max(runs, key=lambda run: run[0].free_g)[0]
    return in_words(
        N_(
            "No dye lot has %(need)s free, the largest of these %(largest)s; the weft changes where a piece ends:"
            " %(parts)s."
        ),
        need=written(need.grams),
        largest=written(largest.free_g),
        parts=parts,
    )


def begun_said(begun: str, free_g: int, parts: str) -> str:
    """Why a weft is parted whose first piece is begun: another dye lot may cover all of it, but can't have that."""
    return in_words(
        N_(
            "A piece of it is begun of dye lot %(begun)s, which has %(free)s free, too little for all of it; the weft"
            " changes where a piece ends: %(parts)s."
        ),
        begun=begun,
        free=written(free_g),
        parts=parts,
    )


def parts_said(parts: Iterable[tuple[str, tuple[int, ...]]]) -> str:
    """Dye lots, each with the pieces that it is woven into.

    >>> parts_said([("881", (1,)), ("904", (2, 3))])
    'dye lot 881 for piece 1, dye lot 904 for pieces 2 to 3'
    """
    return ", ".join(
        in_words(N_("dye lot %(dye_lot)s for %(pieces)s"), dye_lot=dye_lot, pieces=piece_names(pieces))
        for dye_lot, pieces in parts
    )


def left_over(left_g: int, *, useful_g: int, free: str, came: str) -> str:
    """What taking a need out of a dye lot that covers it leaves there.

    free, came    what the dye lot has, and its day, as they are written

    >>> left_over(0, useful_g=3000, free="6000 g", came="16.11.2026")
    '6000 g free, is used up; came 16.11.2026'
    """
    said = {"free": free, "came": came}
    if is_useless(left_g, useful_g):
        form = N_("%(free)s free, leaves %(left)s, less than the %(useful)s that are of use; came %(came)s")
        return in_words(form, left=written(left_g), useful=written(useful_g), **said)
    if left_g:
        return in_words(N_("%(free)s free, leaves %(left)s; came %(came)s"), left=written(left_g), **said)
    return in_words(N_("%(free)s free, is used up; came %(came)s"), **said)


def listed(names: Sequence[str], *, most: int = 3) -> str:
    """Names in a row, in the language of the page.

    >>> listed(["Warp 1"]), listed(["Warp 1", "Warp 2"]), listed(["1", "2", "3", "4", "5"])
    ('Warp 1', 'Warp 1 and Warp 2', '1, 2, 3 and 2 more')
    """
    if len(names) > most:
        return in_words(N_("%(words)s and %(n)s more"), words=", ".join(names[:most]), n=len(names) - most)
    if len(names) < 2:
        return "".join(names)
    return in_words(N_("%(words)s and %(last)s"), words=", ".join(names[:-1]), last=names[-1])


def piece_names(pieces: tuple[int, ...]) -> str:
    if len(pieces) == 1:
        return in_words(N_("piece %(n)s"), n=pieces[0])
    if pieces == tuple(range(pieces[0], pieces[-1] + 1)):
        return in_words(N_("pieces %(first)s to %(last)s"), first=pieces[0], last=pieces[-1])
    return in_words(N_("pieces %(pieces)s"), pieces=listed([str(piece) for piece in pieces], most=len(pieces)))


def _short(need: Need, shades: list[Shade], barred: list[Lot]) -> Choice:
    total_g = sum(shade.free_g for shade in shades)
    nearest = max(shades, key=lambda shade: (shade.free_g, shade.dye_lot), default=None)
    begun_g = sum(shade.free_g for shade in shades if shade.dye_lot == need.begun)
    said = {"label": need.label, "need": written(need.grams)}
    if need.begun and begun_g < need.pieces_g[0]:
        short_g = need.pieces_g[0] - begun_g
        why = in_words(
            N_(
                "%(label)s needs %(need)s, and of that %(piece)s for a piece that is begun of dye lot %(begun)s, which"
                " has %(free)s free: %(short)s short."
            ),
            piece=written(need.pieces_g[0]),
            begun=need.begun,
            free=written(begun_g),
            short=written(short_g),
            **said,
        )
    elif nearest is None:
        short_g = need.grams
        if len(need.pieces_g) > 1:
            why = in_words(N_("%(label)s needs %(need)s; 0 g are free: %(need)s short."), **said)
        else:
            why = in_words(N_("%(label)s needs %(need)s of one dye lot; 0 g are free: %(need)s short."), **said)
    elif len(need.pieces_g) < 2:
        short_g = need.grams - nearest.free_g
        why = in_words(
            N_(
                "%(label)s needs %(need)s of one dye lot; the nearest is dye lot %(nearest)s with %(free)s free:"
                " %(short)s short."
            ),
            nearest=nearest.dye_lot,
            free=written(nearest.free_g),
            short=written(short_g),
            **said,
        )
        if total_g > nearest.free_g and need.use == "warp":
            why += " " + in_words(
                N_("All its dye lots together have %(total)s, but a warp takes one."), total=written(total_g)
            )
        elif total_g > nearest.free_g:
            why += " " + in_words(
                N_("All its dye lots together have %(total)s, but it can't be parted."), total=written(total_g)
            )
    elif total_g < need.grams:
        short_g = need.grams - total_g
        why = in_words(
            N_("%(label)s needs %(need)s; all dye lots together have %(total)s free: %(short)s short."),
            total=written(total_g),
            short=written(short_g),
            **said,
        )
    else:
        short_g = need.grams - nearest.free_g
        why = in_words(
            N_(
                "%(label)s needs %(need)s and the dye lots have %(total)s free together, but no way was found to weave"
                " each of its %(n)s pieces of one dye lot. The largest, dye lot %(largest)s, is %(short)s short of"
                " them all."
            ),
            total=written(total_g),
            n=len(need.pieces_g),
            largest=nearest.dye_lot,
            short=written(short_g),
            **said,
        )
    # Of two that have as much the older is named, whatever the order in which they were read.
    for lot in sorted(barred, key=lambda lot: (-lot.free_g, lot.received_on, lot.label))[:1]:
        why += " " + in_words(
            N_("Lot %(lot)s has %(free)s, but it %(why_not)s."),
            lot=lot.label,
            free=written(lot.free_g),
            why_not=Word(lot.why_not),
        )
    return Choice(need, (), why, short_g, nearest.dye_lot if nearest else "")
