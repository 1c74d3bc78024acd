"""The cloth: its specification as numbers. Knows no order, loom or stock."""

import hashlib
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from itertools import groupby
from math import ceil, prod
from operator import attrgetter

from mill.refusal import N_, Refusal, Word, in_words

LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
# An order longer than these is a slip of the pen; the limits also keep "((A9)x999)x999" from filling the memory.
STRIPES_MAX = 2_000
THREADS_MAX = 100_000
PI = Decimal("3.14159265358979323846264338")


@dataclass(frozen=True, slots=True)
class YarnUse:
    """A yarn as a cloth sees it.

    colour      "#rrggbb", as it is drawn
    count_tex   grams of 1000 m, unsized, at the regain it is reckoned at; above 0
    spinning    woollen, worsted, cotton, linen, silk or other: which rule it is set by
    """

    code: str
    name: str
    colour: str
    count_tex: Decimal
    spinning: str = "other"

    def __post_init__(self) -> None:
        if not self.code:
            raise Refusal(N_("A yarn of the cloth has no code. Give it the code it has in the store."), field="yarns")
        if not re.fullmatch(r"#[0-9a-fA-F]{6}", self.colour):
            raise Refusal(
                f"The colour of {self.code} is {self.colour!r}; it is drawn from a colour such as #7a5c3e.",
                field="yarns",
            )
        _above_zero(
            self.count_tex, N_("The count of %(name)s is %(value)s tex; it must be above 0."), self.code, field="yarns"
        )


@dataclass(frozen=True, slots=True)
class Stripe:
    """`n` ends, or picks, side by side of the yarn that stands at `letter`."""

    letter: str
    n: int

    def __post_init__(self) -> None:
        if len(self.letter) != 1 or self.letter not in LETTERS:
            raise Refusal(f"{self.letter!r} can't stand for a yarn; the 26 letters from A to Z can.")
        if not 1 <= self.n <= THREADS_MAX:
            raise Refusal(
                N_("A stripe of %(n)s threads can't be made; write 1 to %(most)s."),
                n=self.n,
                most=THREADS_MAX,
            )


# Of an order that is not there, that asks for a letter without a yarn, and the same where no letter has one.
NO_WARP_ORDER = (
    N_("%(name)s has no warp order. Write one, such as A24 B2."),
    N_("%(name)s: the warp order asks for %(letter)s, but no yarn stands there. Put one there, or use %(used)s."),
    N_(
        "%(name)s: the warp order asks for %(letter)s, but no yarn stands there. This colourway has no yarns yet: put"
        " one at each letter."
    ),
)
NO_WEFT_ORDER = (
    N_("%(name)s has no weft order. Write one, such as A24 B2."),
    N_("%(name)s: the weft order asks for %(letter)s, but no yarn stands there. Put one there, or use %(used)s."),
    N_(
        "%(name)s: the weft order asks for %(letter)s, but no yarn stands there. This colourway has no yarns yet: put"
        " one at each letter."
    ),
)


@dataclass(frozen=True, slots=True)
class RouteStep:
    """One step of the finishing route, in the finisher's words.

    Each percentage is a share of what enters the step: of its width, its length, its mass.
    A step that stretches the cloth has a negative shrinkage, one that loads it a negative loss.
    """

    name: str
    width_shrink_pct: Decimal
    length_shrink_pct: Decimal
    mass_loss_pct: Decimal
    note: str = ""

    def __post_init__(self) -> None:
        for what, pct in (
            (N_("width shrinkage"), self.width_shrink_pct),
            (N_("length shrinkage"), self.length_shrink_pct),
            (N_("mass loss"), self.mass_loss_pct),
        ):
            assert isinstance(pct, Decimal), f"{what} of {self.name} is {pct!r}, not a Decimal"
            if pct >= 100:
                raise Refusal(
                    N_(
                        "%(name)s: a %(what)s of %(pct)s %% leaves no cloth. It is a share of what enters "
                        "the step, under 100 %%."
                    ),
                    field="route",
                    name=self.name,
                    what=Word(what),
                    pct=pct,
                )
            if pct < -100:
                raise Refusal(
                    N_("%(name)s: a %(what)s of %(pct)s %% would more than double the cloth. Write -100 %% or more."),
                    field="route",
                    name=self.name,
                    what=Word(what),
                    pct=pct,
                )


class YarnBook(Mapping[str, YarnUse]):
    """Which yarn stands at which letter, for one colourway. Never changes, so that a Cloth can be a key."""

    __slots__ = ("_pairs",)

    def __init__(self, yarns: Mapping[str, YarnUse]) -> None:
        self._pairs = tuple(sorted(yarns.items(), key=lambda pair: pair[0]))

    def __getitem__(self, letter: str) -> YarnUse:
        for own, yarn in self._pairs:
            if own == letter:
                return yarn
        raise KeyError(letter)

    def __iter__(self) -> Iterator[str]:
        return (letter for letter, _ in self._pairs)

    def __len__(self) -> int:
        return len(self._pairs)

    def __hash__(self) -> int:
        return hash(self._pairs)

    def __repr__(self) -> str:
        return f"YarnBook({dict(self._pairs)!r})"


@dataclass(frozen=True, slots=True)
class Cloth:
    """A cloth as it is specified, in one colourway.

    finished_width_cm          between the selvedges, after finishing
    reed_dents_per_10cm        the reed
    ends_per_dent              of the ground; selvedges are dented alike
    selvedge_ends              both sides together, outside the finished width; even
    whole_repeats              the ground is made of whole repeats of `warp_order`
    loom_picks_per_cm          in the grey cloth, as it leaves the loom
    warp_crimp_pct             percent of cloth length (ISO 7211-3), not of yarn length
    weaving_contraction_pct    percent of reed width lost between reed and grey cloth
    warp_waste_pct             percent of the yarn issued
    weft_waste_pct             percent of the yarn issued
    size_add_on_pct            percent of the unsized warp; 0 for a warp that is not sized
    route                      finishing, in order; empty for a cloth sold in the grey
    warp_order, weft_order     one repeat of the colours, letters of `yarns`
    yarns                      letter -> yarn, any mapping; kept as a YarnBook
    threading                  the shaft of each end of one draft repeat, shafts counted from 1
    lifting                    the shafts lifted on each pick of one repeat, counted from 1
    selvedge_letter            the yarn of the selvedges; the first letter of the warp when empty

    Raises Refusal, with the field's name, for a cloth that can't be woven.
    """

    name: str
    revision: int
    finished_width_cm: Decimal
    reed_dents_per_10cm: Decimal
    ends_per_dent: int
    selvedge_ends: int
    whole_repeats: bool
    loom_picks_per_cm: Decimal
    warp_crimp_pct: Decimal
    weaving_contraction_pct: Decimal
    warp_waste_pct: Decimal
    weft_waste_pct: Decimal
    size_add_on_pct: Decimal
    route: tuple[RouteStep, ...]
    warp_order: tuple[Stripe, ...]
    weft_order: tuple[Stripe, ...]
    yarns: Mapping[str, YarnUse]
    threading: tuple[int, ...]
    lifting: tuple[tuple[int, ...], ...]
    selvedge_letter: str = ""

    def __post_init__(self) -> None:
        if not isinstance(self.yarns, YarnBook):
            object.__setattr__(self, "yarns", YarnBook(self.yarns))
        self._check_orders()
        if not self.selvedge_letter:
            object.__setattr__(self, "selvedge_letter", self.warp_order[0].letter)
        if self.selvedge_letter not in self.yarns:
            raise Refusal(
                N_(
                    "%(name)s: the selvedges are of %(letter)s, but no yarn stands there. Put one there, or use"
                    " %(used)s."
                )
                if self.yarns
                else N_(
                    "%(name)s: the selvedges are of %(letter)s, but no yarn stands there. This colourway has no yarns"
                    " yet: put one at each letter."
                ),
                field="selvedge_letter",
                name=self.name,
                letter=self.selvedge_letter,
                used=", ".join(self.yarns),
            )
        self._check_percentages()
        self._check_widths()
        self._check_weave()

    def _check_orders(self) -> None:
        for field, order, (missing, unknown, without) in (
            ("warp_order", self.warp_order, NO_WARP_ORDER),
            ("weft_order", self.weft_order, NO_WEFT_ORDER),
        ):
            if not order:
                raise Refusal(missing, field=field, name=self.name)
            for stripe in order:
                if stripe.letter not in self.yarns:
                    raise Refusal(
                        unknown if self.yarns else without,
                        field=field,
                        name=self.name,
                        letter=stripe.letter,
                        used=", ".join(self.yarns),
                    )

    def _check_widths(self) -> None:
        _above_zero(
            self.finished_width_cm,
            N_("%(name)s: the finished width is %(value)s cm; it must be above 0."),
            self.name,
            field="finished_width_cm",
        )
        _above_zero(
            self.reed_dents_per_10cm,
            N_("%(name)s: the reed is %(value)s dents per 10 cm; it must be above 0."),
            self.name,
            field="reed_dents_per_10cm",
        )
        _above_zero(
            self.loom_picks_per_cm,
            N_("%(name)s: the weft is %(value)s picks per cm; it must be above 0."),
            self.name,
            field="loom_picks_per_cm",
        )
        if self.ends_per_dent < 1:
            raise Refusal(
                N_("%(name)s: %(ends_per_dent)s ends in a dent make no cloth. Write 1 or more."),
                field="ends_per_dent",
                name=self.name,
                ends_per_dent=self.ends_per_dent,
            )
        if self.selvedge_ends < 0 or self.selvedge_ends % 2:
            raise Refusal(
                N_(
                    "%(name)s: %(selvedge_ends)s selvedge ends can't be halved between the two sides. "
                    "Write an even number, both sides together."
                ),
                field="selvedge_ends",
                name=self.name,
                selvedge_ends=self.selvedge_ends,
            )
        if wanted_ends(self) > THREADS_MAX:
            raise Refusal(
                N_(
                    "%(name)s: %(finished_width)s cm at %(reed_dents_per_10cm)s dents per 10 cm and "
                    "%(ends_per_dent)s ends a dent come to more than %(most)s ends. Check width, "
                    "reed and denting."
                ),
                field="finished_width_cm",
                name=self.name,
                finished_width=self.finished_width_cm,
                reed_dents_per_10cm=self.reed_dents_per_10cm,
                ends_per_dent=self.ends_per_dent,
                most=THREADS_MAX,
            )

    def _check_percentages(self) -> None:
        for field, what, base in (
            ("warp_crimp_pct", N_("warp crimp"), N_("the cloth's length")),
            ("weaving_contraction_pct", N_("weaving contraction"), N_("the width in the reed")),
            ("warp_waste_pct", N_("warp waste"), N_("the yarn issued")),
            ("weft_waste_pct", N_("weft waste"), N_("the yarn issued")),
            ("size_add_on_pct", N_("size add-on"), N_("the unsized warp")),
        ):
            pct = getattr(self, field)
            assert isinstance(pct, Decimal), f"{field} of {self.name} is {pct!r}, not a Decimal"
            if not 0 <= pct < 100:
                raise Refusal(
                    N_(
                        "%(name)s: a %(what)s of %(pct)s %% can't be. It is a share of %(base)s, from 0 to "
                        "under 100 %%."
                    ),
                    field=field,
                    name=self.name,
                    what=Word(what),
                    pct=pct,
                    base=Word(base),
                )

    def _check_weave(self) -> None:
        if not self.threading:
            raise Refusal(
                N_("%(name)s has no draft. Write the shaft of each end, such as 1 2 3 4."),
                field="threading",
                name=self.name,
            )
        if min(self.threading) < 1:
            raise Refusal(
                N_("%(name)s: the draft names shaft %(shaft)s; shafts are counted from 1."),
                field="threading",
                name=self.name,
                shaft=min(self.threading),
            )
        if not self.lifting:
            raise Refusal(
                N_("%(name)s has no lifting. Write the shafts lifted on each pick."), field="lifting", name=self.name
            )
        shafts = max(self.threading)
        for number, lift in enumerate(self.lifting, start=1):
            for shaft in lift:
                if not 1 <= shaft <= shafts:
                    raise Refusal(
                        N_(
                            "%(name)s: pick %(number)s lifts shaft %(shaft)s, but the draft uses shafts 1 to "
                            "%(shafts)s. Thread that shaft, or take it out of the pick."
                        ),
                        field="lifting",
                        name=self.name,
                        number=number,
                        shaft=shaft,
                        shafts=shafts,
                    )

    @property
    def shafts(self) -> int:
        return max(self.threading)

    @property
    def width_kept(self) -> Fraction:
        """The share of the grey width that is left after the whole route."""
        return prod((1 - Fraction(step.width_shrink_pct) / 100 for step in self.route), start=Fraction(1))


def _above_zero(value: Decimal, form: str, name: str, *, field: str) -> None:
    assert isinstance(value, Decimal), f"{field} of {name} is {value!r}, not a Decimal"
    if not value.is_finite() or value <= 0:
        raise Refusal(form, field=field, name=name, value=value)


# Colour orders. Our own plain notation: A24 B2 (C1 D1)x6 A24.

_WORD = re.compile(
    r"\s*(?:(?P<letter>[A-Za-z])\s*(?P<n>\d+)?|(?P<open>[(\[])|(?P<close>[)\]])(?:\s*[x×]\s*(?P<times>\d+))?)[\s,]*"
)


def read_order(text: str, *, field: str | None = None) -> tuple[Stripe, ...]:
    """The stripes of a warp or weft order as it is written down.

    A letter and a number is a stripe, a letter alone one thread; brackets with x and a number repeat what they
    hold. Small letters are read as capitals, but for the x that follows a bracket. Stripes of one letter that
    come to lie together are one stripe.

    >>> read_order("A24 B2 A4")
    (Stripe(letter='A', n=24), Stripe(letter='B', n=2), Stripe(letter='A', n=4))
    >>> write_order(read_order("(A4 B4)x6 A4"))
    '(A4 B4)x6 A4'
    >>> read_order("A24 B0")
    Traceback (most recent call last):
    mill.refusal.Refusal: "B0", at place 5 of the order: a stripe has 1 thread or more.

    Raises Refusal that names the place.
    """
    text = text.rstrip()
    open_at: list[int] = []
    layers: list[list[Stripe]] = [[]]
    at = 0
    while at < len(text):
        word = _WORD.match(text, at)
        start = at + len(text[at:]) - len(text[at:].lstrip())
        if word is None:
            raise _misread(text[start : start + 12], start, N_("this is no stripe; write A24 B2, or (A4 B4)x6"), field)
        at = word.end()
        if word["open"]:
            open_at.append(start)
            layers.append([])
            continue
        if word["letter"]:
            more, times = [Stripe(word["letter"].upper(), 1)], 1
            n = _number(word["n"])
            if n < 1:
                raise _misread(word[0], start, N_("a stripe has 1 thread or more"), field)
            if n <= THREADS_MAX:
                more = [Stripe(more[0].letter, n)]
        else:
            if not open_at:
                raise _misread(word[0], start, N_("no bracket is open here"), field)
            open_at.pop()
            more, times, n = layers.pop(), _number(word["times"]), 0
            if not more or times < 1:
                raise _misread(word[0], start, N_("there is nothing to repeat here"), field)
        threads = order_threads(layers[-1]) + max(n, times * order_threads(more))
        if threads > THREADS_MAX or len(layers[-1]) + times * len(more) > STRIPES_MAX:
            most = N_("one repeat has at most %(stripes)s stripes and %(threads)s threads")
            raise _misread(word[0], start, most, field, stripes=STRIPES_MAX, threads=THREADS_MAX)
        _lay(layers[-1], more * times)
    if open_at:
        raise _misread(text[open_at[-1]], open_at[-1], N_("this bracket is never closed"), field)
    if not layers[0]:
        raise Refusal(N_("The order is empty. Write letters with numbers, such as A24 B2."), field=field)
    return tuple(layers[0])


def _number(digits: str | None) -> int:
    """A number as written, 1 when it is left out. Beyond seven digits any number is too many all the same."""
    return int(digits[:8]) if digits else 1


def _lay(stripes: list[Stripe], more: Iterable[Stripe]) -> None:
    for stripe in more:
        if stripes and stripes[-1].letter == stripe.letter:
            stripes[-1] = Stripe(stripe.letter, stripes[-1].n + stripe.n)
        else:
            stripes.append(stripe)


def _misread(words: str, at: int, why: str, field: str | None, **said: int) -> Refusal:
    return Refusal(
        N_('"%(words)s", at place %(place)s of the order: %(why)s.'),
        field=field,
        words=words.strip(" ,"),
        place=at + 1,
        why=in_words(why, **said),
    )


def write_order(order: Sequence[Stripe]) -> str:
    """A colour order as read_order reads it, with brackets round what repeats.

    >>> write_order([Stripe("A", 24), Stripe("B", 2), Stripe("A", 24), Stripe("B", 2), Stripe("C", 1)])
    '(A24 B2)x2 C1'
    """
    words = [f"{stripe.letter}{stripe.n}" for stripe in order]
    written = []
    at = 0
    while at < len(words):
        period, times = _longest_repeat(words, at)
        group = " ".join(words[at : at + period])
        written.append(f"({group})x{times}" if times > 1 else group)
        at += period * times
    return " ".join(written)


def _longest_repeat(words: Sequence[str], at: int) -> tuple[int, int]:
    """How many words from `at` make a group, and how often it stands there, so that brackets save most."""
    best = (1, 1)
    # 64: no repeat within a repeat is longer than that in practice, and long orders are still written at once.
    for period in range(1, min(64, (len(words) - at) // 2) + 1):
        group = words[at : at + period]
        times = 1
        while words[at + times * period : at + (times + 1) * period] == group:
            times += 1
        if times > 1 and period * (times - 1) > best[0] * (best[1] - 1):
            best = (period, times)
    return best


def order_threads(order: Iterable[Stripe]) -> int:
    """Ends, or picks, of one repeat."""
    return sum(stripe.n for stripe in order)


def threads_by_letter(order: Sequence[Stripe], threads: int) -> dict[str, int]:
    """How many of `threads` ends or picks are of each letter: whole repeats, then the part repeat.

    >>> threads_by_letter(read_order("A24 B2"), 61)
    {'A': 57, 'B': 4}
    """
    repeats, part = divmod(threads, order_threads(order))
    counts = dict.fromkeys((stripe.letter for stripe in order), 0)
    for stripe in order:
        counts[stripe.letter] += stripe.n * repeats + min(stripe.n, part)
        part = max(0, part - stripe.n)
    assert sum(counts.values()) == threads
    return {letter: n for letter, n in counts.items() if n}


def cut_order(order: Sequence[Stripe], *, start: int, threads: int) -> tuple[Stripe, ...]:
    """The stripes of `threads` ends or picks, when `start` of them lie before in the endless order.

    >>> write_order(cut_order(read_order("A24 B2"), start=20, threads=10))
    'A4 B2 A4'
    """
    assert order, "an order always has a stripe"
    repeat = order_threads(order)
    skip = start % repeat
    before = _part_repeat(order, start=skip, threads=min(threads, repeat - skip))
    repeats, after = divmod(threads - order_threads(before), repeat)
    stripes = (*before, *tuple(order) * repeats, *_part_repeat(order, start=0, threads=after))
    return tuple(_as_one(alike) for _, alike in groupby(stripes, key=attrgetter("letter")))


def _part_repeat(order: Sequence[Stripe], *, start: int, threads: int) -> list[Stripe]:
    """The stripes of so many threads, all within one repeat."""
    stripes, at = [], 0
    for stripe in order:
        n = min(at + stripe.n, start + threads) - max(at, start)
        if n > 0:
            stripes.append(Stripe(stripe.letter, n))
        at += stripe.n
    return stripes


def _as_one(alike: Iterable[Stripe]) -> Stripe:
    """Stripes of one letter that lie together."""
    first, *more = alike
    return Stripe(first.letter, first.n + order_threads(more)) if more else first


# Widths and ends.


def grey_width_cm(*, finished_width_cm: Decimal, width_shrink_pct: Decimal) -> Decimal:
    """Width off the loom that finishes at finished_width_cm; the shrinkage is a share of the grey width.

    >>> grey_width_cm(finished_width_cm=Decimal("10"), width_shrink_pct=Decimal("20"))
    Decimal('12.5')

    Source: a sample of 10 in that finished at 8 in had lost 20 %, and needs 12.5 in, not 12, to finish at 10
    (Conference of Northern California Handweavers, note on shrinkage).
    """
    assert width_shrink_pct < 100
    return finished_width_cm / (1 - width_shrink_pct / 100)


def reed_width_cm(*, grey_width_cm: Decimal, weaving_contraction_pct: Decimal) -> Decimal:
    """Width in the reed that weaves to grey_width_cm; the contraction is a share of the reed width."""
    assert weaving_contraction_pct < 100
    return grey_width_cm / (1 - weaving_contraction_pct / 100)


def width_of_dents_cm(*, dents: int, reed_dents_per_10cm: Decimal) -> Decimal:
    """Width that so many dents of a reed take."""
    return 10 * dents / reed_dents_per_10cm


def dents_for_width(*, reed_width_cm: Decimal, reed_dents_per_10cm: Decimal) -> int:
    """Whole dents that fill a width, so that the cloth is never narrower than asked.

    >>> dents_for_width(reed_width_cm=Decimal("38") * Decimal("2.54"),
    ...                 reed_dents_per_10cm=1100 / (37 * Decimal("0.254")))
    1130

    Source: Brooks, Cotton Manufacturing (1892): an 1100 Scotch reed on 38 in has 1129.7 splits, taken as 1130.
    """
    return whole_up(Fraction(reed_width_cm) * Fraction(reed_dents_per_10cm) / 10)


def whole_up(value: Fraction) -> int:
    """The next whole number, or the same one when a share of 10^-12 is all that is missing or too much.

    A Decimal division ends after 28 digits: 150 / 0.9 / 0.94 x 4.23 is 750 dents, and must not become 751.
    """
    return ceil(value - Fraction(1, 10**12))


@dataclass(frozen=True, slots=True)
class Ends:
    """The ends of a cloth, and what rounding did.

    dents              in use, selvedges included
    ground_dents       without selvedges; the last one may not be full
    wanted             ground ends that the finished width asks for, before whole dents and repeats
    repeats            whole colour repeats in the ground
    part_repeat_ends   ends of the last, part repeat
    """

    ends: int
    ground_ends: int
    selvedge_ends: int
    dents: int
    ground_dents: int
    wanted: Fraction
    repeats: int
    part_repeat_ends: int


def wanted_ends(cloth: Cloth) -> Fraction:
    """Ground ends for exactly the finished width: not yet whole."""
    grey_cm = Fraction(cloth.finished_width_cm) / cloth.width_kept
    reed_cm = grey_cm / (1 - Fraction(cloth.weaving_contraction_pct) / 100)
    return reed_cm * Fraction(cloth.reed_dents_per_10cm) / 10 * cloth.ends_per_dent


def ends_of(cloth: Cloth) -> Ends:
    """Ends in whole dents, and in whole repeats where the cloth asks for them; both upwards.

    Whole dents fill the width; where whole repeats are asked, the ends are made up to the next repeat, and the
    last dent may then hold fewer ends than the others. The selvedges take dents of their own.
    """
    wanted = wanted_ends(cloth)
    ground_dents = whole_up(wanted / cloth.ends_per_dent)
    ground = ground_dents * cloth.ends_per_dent
    repeat = order_threads(cloth.warp_order)
    if cloth.whole_repeats:
        ground = whole_up(wanted / repeat) * repeat
        ground_dents = ceil(Fraction(ground, cloth.ends_per_dent))
    selvedge_dents = 2 * ceil(Fraction(cloth.selvedge_ends // 2, cloth.ends_per_dent))
    return Ends(
        ends=ground + cloth.selvedge_ends,
        ground_ends=ground,
        selvedge_ends=cloth.selvedge_ends,
        dents=ground_dents + selvedge_dents,
        ground_dents=ground_dents,
        wanted=wanted,
        repeats=ground // repeat,
        part_repeat_ends=ground % repeat,
    )


# Setts: the same ends and picks on three widths and lengths.


def reed_ends_per_cm(*, reed_dents_per_10cm: Decimal, ends_per_dent: int) -> Decimal:
    """Ends per cm in the reed."""
    return reed_dents_per_10cm * ends_per_dent / 10


def sett_after(*, threads_per_cm: Decimal, shrink_pct: Decimal) -> Decimal:
    """Ends or picks per cm after the cloth lost shrink_pct of that dimension: none is lost, they move together.

    >>> sett_after(threads_per_cm=Decimal("8.46"), shrink_pct=Decimal("6"))
    Decimal('9')
    """
    assert shrink_pct < 100
    return threads_per_cm / (1 - shrink_pct / 100)


def sett_before(*, threads_per_cm: Decimal, shrink_pct: Decimal) -> Decimal:
    """Ends or picks per cm to begin with, so that there are threads_per_cm after the loss."""
    return threads_per_cm * (1 - shrink_pct / 100)


# Crimp and take-up: one loss, two bases.


def crimp_pct(*, yarn_m: Decimal, cloth_m: Decimal) -> Decimal:
    """Crimp of a yarn drawn from a cloth, percent of cloth length. Source: ISO 7211-3."""
    if cloth_m <= 0 or yarn_m < cloth_m:
        raise Refusal(
            N_("%(yarn)s m of yarn from %(cloth)s m of cloth: a straightened yarn is never shorter than its cloth."),
            yarn=yarn_m,
            cloth=cloth_m,
        )
    return (yarn_m - cloth_m) / cloth_m * 100


def crimp_pct_from_take_up(take_up_pct: Decimal) -> Decimal:
    """Crimp (percent of cloth length) of a take-up measured on the yarn's length: t / (1 - t).

    >>> round(crimp_pct_from_take_up(Decimal("7")), 3)
    Decimal('7.527')
    """
    if not 0 <= take_up_pct < 100:
        raise Refusal(
            N_("A take-up of %(take_up)s %% can't be: it is a share of the yarn, from 0 to under 100 %%."),
            take_up=take_up_pct,
        )
    return take_up_pct / (100 - take_up_pct) * 100


def take_up_pct_from_crimp(crimp_pct: Decimal) -> Decimal:
    """Take-up (percent of yarn length) of a crimp measured on the cloth's length: c / (1 + c)."""
    return crimp_pct / (100 + crimp_pct) * 100


def yarn_length_m(*, cloth_m: Decimal, crimp_pct: Decimal) -> Decimal:
    """Yarn in a length of cloth."""
    return cloth_m * (1 + crimp_pct / 100)


def cloth_length_m(*, yarn_m: Decimal, crimp_pct: Decimal) -> Decimal:
    """Cloth that a length of yarn makes."""
    return yarn_m / (1 + crimp_pct / 100)


def weft_crimp_pct(*, weaving_contraction_pct: Decimal) -> Decimal:
    """Crimp of the weft in the grey cloth: it was laid at reed width, so it is the contraction on the other base."""
    return weaving_contraction_pct / (100 - weaving_contraction_pct) * 100


def yarn_per_crossing_cm(*, threads_per_cm: Decimal, crimp_pct: Decimal) -> Decimal:
    """Yarn from one crossing thread to the next: the modular length of Peirce's geometry."""
    return (1 + crimp_pct / 100) / threads_per_cm


def estimated_crimp_pct(*, intersections_per_in: Decimal, weft_ne: Decimal, fineness: int) -> Decimal:
    """A first figure for the warp contraction of a cotton cloth, until a piece has been measured.

    intersections_per_in   picks per inch x intersections per pick; in plain weave the picks themselves
    fineness               4 for fine cloths, 3 for medium ones

    >>> estimated_crimp_pct(intersections_per_in=Decimal("60"), weft_ne=Decimal("40"), fineness=3)
    Decimal('4.5')

    Source: Taylor, Cotton Weaving and Designing, 6th ed.
    """
    return intersections_per_in * fineness / weft_ne


def jammed_crimp_pct() -> Decimal:
    """Crimp of a plain square cloth that can't be beaten closer, to 0.01 %: more than that is a slip of the pen.

    The yarn lies round its neighbours over 60 degrees: its length is the arc, the cloth's the sine.

    Source: Peirce's geometry of plain cloth, as examined in GATE TF 2009.
    """
    return round((2 * PI / (3 * Decimal(3).sqrt()) - 1) * 100, 2)


# Mass.


def mean_tex(counts: Iterable[tuple[int, Decimal]]) -> Decimal:
    """Mean count of threads side by side: (how many, tex) pairs. Counts in tex add, so the mean is a plain one."""
    pairs = list(counts)
    return sum((n * tex for n, tex in pairs), start=Decimal(0)) / sum(n for n, _ in pairs)


def mass_g_per_m2(
    *,
    ends_per_cm: Decimal,
    warp_tex: Decimal,
    warp_crimp_pct: Decimal,
    picks_per_cm: Decimal,
    weft_tex: Decimal,
    weft_crimp_pct: Decimal,
) -> Decimal:
    """Mass of a cloth from its two yarn sets, both measured on the same state of the cloth.

    >>> mass_g_per_m2(ends_per_cm=Decimal(40), warp_tex=Decimal(30), warp_crimp_pct=Decimal(10),
    ...               picks_per_cm=Decimal(30), weft_tex=Decimal(20), weft_crimp_pct=Decimal(10))
    Decimal('198.0')

    Source: GATE TF 2009, question 37.
    """
    warp = ends_per_cm * warp_tex * (1 + warp_crimp_pct / 100)
    weft = picks_per_cm * weft_tex * (1 + weft_crimp_pct / 100)
    return (warp + weft) / 10


def finished_g_per_m2(
    *, loom_g_per_m2: Decimal, mass_loss_pct: Decimal, width_shrink_pct: Decimal, length_shrink_pct: Decimal
) -> Decimal:
    """Mass per area after finishing: what is left of the mass, on what is left of the area."""
    left = 1 - mass_loss_pct / 100
    area = (1 - width_shrink_pct / 100) * (1 - length_shrink_pct / 100)
    assert area > 0
    return loom_g_per_m2 * left / area


def mass_g_per_m(*, g_per_m2: Decimal, width_cm: Decimal) -> Decimal:
    """Mass of a running metre."""
    return g_per_m2 * width_cm / 100


def square_sett_per_cm(*, g_per_m2: Decimal, count_tex: Decimal, crimp_pct: Decimal) -> Decimal:
    """Threads per cm, the same in warp and weft, for a wanted mass."""
    return g_per_m2 * 10 / (2 * count_tex * (1 + crimp_pct / 100))


# Which warps are alike.


def warp_key(cloth: Cloth) -> str:
    """Equal for two cloths that can be woven on one warp, however differently they are wefted or finished.

    Alike are: ends and selvedges, reed and denting, draft, the yarn of every end by its code, size, and crimp
    (a warp is wound for one crimp). Letters don't count: A and B exchanged is the same warp.
    """
    return _key(*(value for _, value in _warp_facts(cloth)), yarn_of_ends(cloth))


def warp_difference(one: Cloth, other: Cloth) -> str:
    """The first thing that keeps two cloths off one warp, with both values, in the language of the page; else empty."""
    for (form, ours), (_, theirs) in zip(_warp_facts(one), _warp_facts(other), strict=True):
        if ours != theirs:
            return in_words(form, one=_said(ours), other=_said(theirs))
    end = 1
    for (our_code, ours_n), (their_code, theirs_n) in zip(yarn_of_ends(one), yarn_of_ends(other), strict=False):
        if our_code != their_code:
            return in_words(N_("end %(n)s %(one)s and %(other)s"), n=end, one=our_code, other=their_code)
        if ours_n != theirs_n:
            return in_words(
                N_("from end %(n)s, ends of %(yarn)s: %(one)s and %(other)s"),
                n=end,
                yarn=our_code,
                one=ours_n,
                other=theirs_n,
            )
        end += ours_n
    return ""


def family_key(cloth: Cloth) -> str:
    """Equal for two cloths when the warp of one can be tied in behind the other at the loom.

    Alike are: ground ends (side ends may differ), draft and shafts, reed and denting. Colours may change freely.
    Common practice, no source.
    """
    return _key(
        ends_of(cloth).ground_ends,
        _plain(cloth.reed_dents_per_10cm),
        cloth.ends_per_dent,
        shortest_repeat(cloth.threading),
    )


def yarn_of_ends(cloth: Cloth) -> tuple[tuple[str, int], ...]:
    """The whole warp from left to right, selvedges too: (yarn code, ends lying together)."""
    own = ends_of(cloth)
    side = [(cloth.selvedge_letter, own.selvedge_ends // 2)]
    ground = [(stripe.letter, stripe.n) for stripe in cut_order(cloth.warp_order, start=0, threads=own.ground_ends)]
    runs: list[tuple[str, int]] = []
    for letter, n in side + ground + side:
        code = cloth.yarns[letter].code
        if n and runs and runs[-1][0] == code:
            runs[-1] = (code, runs[-1][1] + n)
        elif n:
            runs.append((code, n))
    return tuple(runs)


def shortest_repeat(threading: Sequence[int]) -> tuple[int, ...]:
    """One repeat of a draft that may have been written out several times.

    >>> shortest_repeat((1, 2, 3, 1, 2, 3))
    (1, 2, 3)
    """
    for length in range(1, len(threading)):
        if len(threading) % length == 0 and threading[length:] == threading[:-length]:
            return tuple(threading[:length])
    return tuple(threading)


def _warp_facts(cloth: Cloth) -> tuple[tuple[str, object], ...]:
    own = ends_of(cloth)
    return (
        (N_("ends %(one)s and %(other)s"), own.ends),
        (N_("selvedge ends %(one)s and %(other)s"), own.selvedge_ends),
        (N_("reed, dents per 10 cm, %(one)s and %(other)s"), _plain(cloth.reed_dents_per_10cm)),
        (N_("ends per dent %(one)s and %(other)s"), cloth.ends_per_dent),
        (N_("draft %(one)s and %(other)s"), shortest_repeat(cloth.threading)),
        (N_("warp crimp, %%, %(one)s and %(other)s"), _plain(cloth.warp_crimp_pct)),
        (N_("size add-on, %%, %(one)s and %(other)s"), _plain(cloth.size_add_on_pct)),
    )


def _said(value: object) -> str:
    return " ".join(str(shaft) for shaft in value) if isinstance(value, tuple) else str(value)


def _plain(value: Decimal) -> str:
    """12 for 12, 12.0 and 1.2E+1, so that how a number was typed makes no new warp."""
    return f"{value.normalize():f}"


def _key(*facts: object) -> str:
    return hashlib.sha256(repr(facts).encode()).hexdigest()[:16]
