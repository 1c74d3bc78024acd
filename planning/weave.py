"""Threading and lifting: shafts, intersections, floats, repeat. Knows no yarn or loom."""

import re
from collections import Counter
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from typing import Never, TypeVar

import numpy as np
from numpy.typing import NDArray

from mill.refusal import N_, Refusal, Word, in_words

MOST_SHAFTS = 24
MOST_ENDS = 20_000  # a draft as wide as the widest warp; longer is a slip of the pen
MOST_PICKS = 5_000

T = TypeVar("T", int, tuple[int, ...])

_TOKEN = re.compile(
    r"(?P<space>[\s,/]+)|(?P<open>\()|(?P<close>\)\s*[x×]\s*(?P<times>\d+))|(?P<item>\d+(?:[-–+]\d+)*)", re.ASCII
)


@dataclass(frozen=True, slots=True)
class TooMany:
    """What is said where one repeat comes to more than there can be, by a repeat in it or written out."""

    repeated: str
    written: str


def read_threading(text: str) -> tuple[int, ...]:
    """The shaft of each end, as a person wrote it.

    Shafts are counted from 1, from the front of the loom. Ends are parted by spaces or commas; `1-4` runs up, `4-1`
    down; `(1 2 3 4)x3` repeats, and repeats may stand in repeats.

    Raises Refusal, with the place in the text, for what is none of these, for a shaft above 24 and for more ends
    than a warp has.

    >>> read_threading("(1-4)x2 3-1")
    (1, 2, 3, 4, 1, 2, 3, 4, 3, 2, 1)
    >>> read_threading("1 2 x 4")
    Traceback (most recent call last):
    mill.refusal.Refusal: Threading, place 5: "x" can't be read. Write shafts and spaces, such as 1 2 3 4, runs such
    as 1-4, repeats such as (1 2 3 4)x3.
    """

    def ends_of(item: str, place: int) -> list[int]:
        if "+" in item:
            _refuse(
                "Threading",
                place,
                N_("%(item)s puts one end on several shafts. An end has one: write %(one)s."),
                item=item,
                one=re.split(r"\D", item)[0],
            )
        shafts = [_shaft(number, "Threading", place) for number in re.split("[-–]", item)]
        if len(shafts) == 1:
            return shafts
        if len(shafts) > 2:
            _refuse("Threading", place, N_("%(item)s has more than two ends to its run. Write 1-4 4-1."), item=item)
        first, last = shafts
        step = 1 if last >= first else -1
        return list(range(first, last + step, step))

    return _read(
        text,
        ends_of,
        name="Threading",
        most=MOST_ENDS,
        too_many=TooMany(
            N_("%(n)s times %(times)s is more than %(most)s ends. Write one repeat."),
            N_("there are more than %(most)s ends. Write one repeat."),
        ),
        how=N_("Write shafts and spaces, such as 1 2 3 4, runs such as 1-4, repeats such as (1 2 3 4)x3."),
    )


def read_lifting(text: str) -> tuple[tuple[int, ...], ...]:
    """The shafts lifted on each pick, lowest first, as a person wrote it.

    Shafts of one pick are joined by +; picks are parted by spaces, commas or strokes; `0` lifts nothing;
    `(1+2 3+4)x2` repeats, and repeats may stand in repeats.

    Raises Refusal, with the place in the text, for what is none of these, for a shaft named twice in a pick or
    above 24, and for more picks than a repeat has.

    >>> read_lifting("1+2 3+2 / 3+4 1+4")
    ((1, 2), (2, 3), (3, 4), (1, 4))
    >>> read_lifting("1+2 12+34")
    Traceback (most recent call last):
    mill.refusal.Refusal: Lifting, place 5: there is no shaft 34. Shafts run from 1 to 24; join those of one pick by
    +, as in 3+4.
    """

    def pick_of(item: str, place: int) -> list[tuple[int, ...]]:
        if "-" in item or "–" in item:
            _refuse(
                "Lifting", place, N_("%(item)s is a run. Join the shafts of one pick by +, as in 1+2+3."), item=item
            )
        if item == "0":
            return [()]
        shafts = [_shaft(number, "Lifting", place) for number in item.split("+")]
        twice = [shaft for shaft, times in Counter(shafts).items() if times > 1]
        if twice:
            _refuse(
                "Lifting",
                place,
                N_("%(item)s lifts shaft %(shaft)s twice. Name each shaft once."),
                item=item,
                shaft=twice[0],
            )
        return [tuple(sorted(shafts))]

    return _read(
        text,
        pick_of,
        name="Lifting",
        most=MOST_PICKS,
        too_many=TooMany(
            N_("%(n)s times %(times)s is more than %(most)s picks. Write one repeat."),
            N_("there are more than %(most)s picks. Write one repeat."),
        ),
        how=N_("Write the shafts of each pick joined by +, picks parted by spaces: 1+2 2+3 3+4 1+4."),
    )


def _read(
    text: str, items_of: Callable[[str, int], list[T]], *, name: str, most: int, too_many: TooMany, how: str
) -> tuple[T, ...]:
    """The items in order, with repeats unfolded. `items_of` reads one item at its place."""
    open_lists: list[list[T]] = [[]]
    opened_at: list[int] = []
    at = 0
    while at < len(text):
        token = _TOKEN.match(text, at)
        if token is None:
            if text[at] == ")":
                _refuse(name, at + 1, N_("a repeat does not say how often. Write (1 2)x3."))
            _refuse(name, at + 1, N_('"%(sign)s" can\'t be read. %(how)s'), sign=text[at], how=Word(how))
        if token["open"]:
            open_lists.append([])
            opened_at.append(at + 1)
        elif token["close"]:
            if not opened_at:
                _refuse(name, at + 1, N_("a repeat ends that never began. Write ( before its first."))
            opened_at.pop()
            repeated, times = open_lists.pop(), int(token["times"][:9])
            if not repeated or not times:
                _refuse(name, at + 1, N_("a repeat of nothing. Write (1 2)x3, or leave it out."))
            if len(open_lists[-1]) + len(repeated) * times > most:
                _refuse(name, at + 1, too_many.repeated, n=len(repeated), times=times, most=most)
            open_lists[-1].extend(repeated * times)
        elif token["item"]:
            open_lists[-1].extend(items_of(token["item"], at + 1))
            if len(open_lists[-1]) > most:
                _refuse(name, at + 1, too_many.written, most=most)
        at = token.end()
    if opened_at:
        _refuse(name, opened_at[-1], N_("a repeat begins that never ends. Write )x3 after its last."))
    if not open_lists[0]:
        raise Refusal(N_("%(what)s: there is nothing. %(how)s"), field=name.lower(), what=Word(name), how=Word(how))
    return tuple(open_lists[0])


def _shaft(number: str, name: str, place: int) -> int:
    shaft = int(number[:9])
    if not 1 <= shaft <= MOST_SHAFTS:
        joined = "+".join(number) if len(number) == 2 and "0" not in number else "3+4"
        said = {"shaft": number[:9], "most": MOST_SHAFTS}
        if name == "Lifting":
            form = N_(
                "there is no shaft %(shaft)s. Shafts run from 1 to %(most)s; join those of one pick by +, as in"
                " %(joined)s."
            )
            _refuse(name, place, form, joined=joined, **said)
        _refuse(name, place, N_("there is no shaft %(shaft)s. Shafts run from 1 to %(most)s."), **said)
    return shaft


def _refuse(name: str, place: int, why: str, **said: object) -> Never:
    raise Refusal(
        N_("%(what)s, place %(place)s: %(why)s"),
        field=name.lower(),
        what=Word(name),
        place=place,
        why=in_words(why, **said),
    )


def threading_text(threading: Sequence[int]) -> str:
    """A threading as `read_threading` reads it back, its repeats and runs drawn together.

    >>> threading_text((1, 2, 3, 4) * 6)
    '(1-4)x6'
    >>> threading_text((1, 2, 3, 4, 3, 2))
    '1-4 3 2'
    >>> threading_text((1, 2, 3, 4) * 6 + (1, 2))
    '(1-4)x6 1 2'
    """
    repeat = threading[: smallest_repeat(threading)]
    items = []
    at = 0
    while at < len(repeat):
        last = at
        step = repeat[at + 1] - repeat[at] if at + 1 < len(repeat) else 0
        while abs(step) == 1 and last + 1 < len(repeat) and repeat[last + 1] - repeat[last] == step:
            last += 1
        if last - at >= 2:
            items.append(f"{repeat[at]}-{repeat[last]}")
            at = last + 1
        else:
            items.append(str(repeat[at]))
            at += 1
    return _repeated(_drawn_together(items), len(threading) // len(repeat))


def lifting_text(lifting: Sequence[Collection[int]]) -> str:
    """A lifting as `read_lifting` reads it back, its repeats drawn together.

    >>> lifting_text(read_lifting("2+1 0 1+2 0"))
    '(1+2 0)x2'
    """
    picks = ["+".join(map(str, sorted(pick))) or "0" for pick in lifting]
    repeat = picks[: smallest_repeat(picks)]
    return _repeated(_drawn_together(repeat), len(picks) // len(repeat))


def _drawn_together(words: Sequence[str]) -> str:
    """The words in order, groups that follow themselves written once: (1-4)x8 1 2."""
    parts = []
    at = 0
    while at < len(words):
        part, taken = words[at], 1
        saved = 0
        for length in range(1, min(MOST_SHAFTS * 2, (len(words) - at) // 2) + 1):
            group = words[at : at + length]
            times = 1
            while words[at + times * length : at + (times + 1) * length] == group:
                times += 1
            if times > 1:
                short = _repeated(" ".join(group), times)
                saving = len(" ".join(words[at : at + times * length])) - len(short)
                if saving > saved:
                    part, taken, saved = short, times * length, saving
        parts.append(part)
        at += taken
    return " ".join(parts)


def _repeated(text: str, times: int) -> str:
    return text if times == 1 else f"({text})x{times}"


def smallest_repeat(items: Sequence[object]) -> int:
    """How many items the smallest whole repeat of them has.

    >>> smallest_repeat((1, 2, 3, 4, 1, 2, 3, 4)), smallest_repeat((1, 2, 3, 4, 1, 2))
    (4, 6)
    """
    # Borders as in string matching, so that a thousand ends cost a thousand steps.
    border = [0] * len(items)
    for at in range(1, len(items)):
        length = border[at - 1]
        while length and items[at] != items[length]:
            length = border[length - 1]
        border[at] = length + (items[at] == items[length])
    period = len(items) - border[-1]
    return period if len(items) % period == 0 else len(items)


@dataclass(frozen=True)
class Weave:
    """How ends and picks cross.

    threading    the shaft of each end, from the left selvedge, counted from 1
    lifting      the shafts that go up for each pick

    Both are one repeat or whole repeats. Raises Refusal for none of either, a shaft that is not there, a lift of a
    shaft that carries no end.
    """

    threading: tuple[int, ...]
    lifting: tuple[frozenset[int], ...]

    def __post_init__(self) -> None:
        if not self.threading or not self.lifting:
            raise Refusal(N_("A weave needs a threading and a lifting: one end and one pick at least."))
        for name, shafts in (("threading", self.threading), ("lifting", frozenset().union(*self.lifting))):
            for shaft in shafts:
                if not 1 <= shaft <= MOST_SHAFTS:
                    raise Refusal(
                        N_("There is no shaft %(shaft)s. Shafts run from 1 to %(most)s."),
                        field=name,
                        shaft=shaft,
                        most=MOST_SHAFTS,
                    )
        threaded = frozenset(self.threading)
        for number, pick in enumerate(self.lifting, start=1):
            if empty := sorted(pick - threaded):
                raise Refusal(
                    N_(
                        "Pick %(number)s lifts shaft %(shaft)s, which carries no end: the threading uses "
                        "%(used)s. Thread it or leave it down."
                    ),
                    field="lifting",
                    number=number,
                    shaft=empty[0],
                    used=", ".join(map(str, sorted(threaded))),
                )

    @classmethod
    def read(cls, *, threading: str, lifting: str) -> "Weave":
        """A weave from what a person wrote; see `read_threading` and `read_lifting`.

        >>> Weave.read(threading="1-4", lifting="1+2 2+3 3+4 1+4").shafts
        4
        """
        return cls.of(read_threading(threading), read_lifting(lifting))

    @classmethod
    def of(cls, threading: Sequence[int], lifting: Sequence[Collection[int]]) -> "Weave":
        """A weave from numbers, as a cloth's specification holds them.

        >>> Weave.of((1, 2), ((1,), (2,))) == plain()
        True
        """
        return cls(tuple(threading), tuple(frozenset(pick) for pick in lifting))

    @property
    def shafts(self) -> int:
        """Shafts that the loom must have: the number of the last one threaded."""
        return max(self.threading)

    @cached_property
    def repeat_ends(self) -> int:
        """Ends of the smallest whole repeat of the threading."""
        return smallest_repeat(self.threading)

    @cached_property
    def repeat_picks(self) -> int:
        """Picks of the smallest whole repeat of the lifting."""
        return smallest_repeat(self.lifting)

    def interlacing(self) -> NDArray[np.bool_]:
        """One repeat of the weave: shape (repeat_picks, repeat_ends), true where the end lies over the pick.

        >>> plain().interlacing().astype(int).tolist()
        [[1, 0], [0, 1]]
        """
        lifts = np.zeros((self.repeat_picks, MOST_SHAFTS + 1), dtype=np.bool_)
        for number, pick in enumerate(self.lifting[: self.repeat_picks]):
            lifts[number, list(pick)] = True
        crossings: NDArray[np.bool_] = lifts[:, self.threading[: self.repeat_ends]]
        return crossings

    @cached_property
    def weft_intersections(self) -> Decimal:
        """Times a pick passes between face and back across one repeat of ends, mean over the picks.

        With `repeat_ends` it gives the greatest sett of ends: 2 over 2 in plain weave, 2 over 4 in 2/2 twill.
        """
        return _mean_changes(self.interlacing())

    @cached_property
    def warp_intersections(self) -> Decimal:
        """Times an end passes between face and back along one repeat of picks, mean over the ends.

        With `repeat_picks` it gives the greatest sett of picks.
        """
        return _mean_changes(self.interlacing().T)

    @cached_property
    def longest_warp_float(self) -> int:
        """Most picks in a row that an end passes over, or under. An end that never interlaces: the whole repeat.

        >>> twill(3, 1).longest_warp_float, plain().longest_warp_float
        (3, 1)
        """
        return _longest_run(self.interlacing().T)

    @cached_property
    def longest_weft_float(self) -> int:
        """Most ends in a row that a pick passes over, or under. A pick that never interlaces: the whole repeat."""
        return _longest_run(self.interlacing())

    @cached_property
    def warp_face_pct(self) -> Decimal:
        """Share of the crossings where the warp is on the face, in percent.

        >>> twill(3, 1).warp_face_pct
        Decimal('75')
        """
        crossings = self.interlacing()
        return 100 * Decimal(int(crossings.sum())) / crossings.size

    @property
    def is_balanced(self) -> bool:
        """As much warp as weft on the face.

        >>> twill(2, 2).is_balanced, twill(2, 1).is_balanced
        (True, False)
        """
        return self.warp_face_pct == 50

    def healds_per_shaft(self, ends: int) -> tuple[int, ...]:
        """Healds that each shaft needs for a warp of so many ends, shaft 1 first.

        ends    drawn in from the start of the threading, repeat after repeat; 0 or more

        >>> herringbone(2, 2, ends_each_way=8).healds_per_shaft(1000)
        (250, 250, 250, 250)
        >>> plain().healds_per_shaft(5)
        (3, 2)
        """
        if ends < 0:
            raise Refusal(N_("A warp of %(ends)s ends can't be drawn in: write 0 or more."), field="ends", ends=ends)
        whole, part = divmod(ends, len(self.threading))
        once, rest = Counter(self.threading), Counter(self.threading[:part])
        return tuple(once[shaft] * whole + rest[shaft] for shaft in range(1, self.shafts + 1))

    @property
    def ends_per_shaft(self) -> tuple[int, ...]:
        """Ends of one repeat on each shaft, shaft 1 first; 0 for a shaft left empty."""
        return self.healds_per_shaft(self.repeat_ends)

    @cached_property
    def warnings(self) -> tuple[str, ...]:
        """Sentences about ends and picks that never interlace, and so hang loose.

        >>> Weave.read(threading="1 2 3", lifting="1+3 2+3").warnings
        ('End 3 never interlaces: it lies over every pick of the repeat.',)
        """
        crossings = self.interlacing()
        return (
            *_loose(ENDS, crossings.T),
            # True is the end above, so a pick with true all along lies under.
            *_loose(PICKS, crossings),
        )


def _mean_changes(crossings: NDArray[np.bool_]) -> Decimal:
    changes = int((crossings != np.roll(crossings, 1, axis=1)).sum())
    return Decimal(changes) / len(crossings)


def _longest_run(crossings: NDArray[np.bool_]) -> int:
    """Longest run of equals in any row, the row closed to a ring."""
    longest = 0
    for row in crossings:
        breaks = np.flatnonzero(row != np.roll(row, 1))
        if not len(breaks):
            return int(crossings.shape[1])
        gaps = np.diff(np.append(breaks, breaks[0] + len(row)))
        longest = max(longest, int(gaps.max()))
    return longest


# Sentences about threads that never interlace: of one that lies over all, under all, and of more than four.
ENDS = (
    N_("End %(n)s never interlaces: it lies over every pick of the repeat."),
    N_("End %(n)s never interlaces: it lies under every pick of the repeat."),
    N_("%(n)s ends never interlace: %(numbers)s and more."),
)
PICKS = (
    N_("Pick %(n)s never interlaces: it lies under every end of the repeat."),
    N_("Pick %(n)s never interlaces: it lies over every end of the repeat."),
    N_("%(n)s picks never interlace: %(numbers)s and more."),
)


def _loose(forms: tuple[str, str, str], crossings: NDArray[np.bool_]) -> list[str]:
    loose = np.flatnonzero((crossings == crossings[:, :1]).all(axis=1))
    if len(loose) > 4:
        numbers = ", ".join(str(number + 1) for number in loose[:4])
        return [forms[2] % {"n": len(loose), "numbers": numbers}]
    return [forms[0 if crossings[number, 0] else 1] % {"n": number + 1} for number in loose]


def plain() -> Weave:
    """Plain weave on two shafts.

    >>> plain().weft_intersections, plain().repeat_ends
    (Decimal('2'), 2)
    """
    return Weave.of((1, 2), ((1,), (2,)))


def twill(*ups_and_downs: int) -> Weave:
    """A twill that goes over and under so many, in turn: `twill(2, 2)`, `twill(3, 1, 1, 1)`. Warp up first.

    >>> lifting_text(twill(2, 2).lifting)
    '1+2 2+3 3+4 1+4'

    Raises Refusal for an odd number of steps, a step below 1, more than 24 shafts.
    """
    if len(ups_and_downs) < 2 or len(ups_and_downs) % 2 or min(ups_and_downs) < 1:
        raise Refusal(
            N_("A twill goes over and under in turn, 1 or more each: 2, 2. These are %(ups_and_downs)s."),
            ups_and_downs=ups_and_downs,
        )
    shafts = _shafts_of(sum(ups_and_downs), f"A twill of {'/'.join(map(str, ups_and_downs))}")
    raised: list[int] = []
    at = 0
    for number, step in enumerate(ups_and_downs):
        if number % 2 == 0:
            raised += range(at, at + step)
        at += step
    return Weave.of(range(1, shafts + 1), [[(shaft + pick) % shafts + 1 for shaft in raised] for pick in range(shafts)])


def herringbone(up: int, down: int, *, ends_each_way: int) -> Weave:
    """An even twill that turns after `ends_each_way` ends, with a clean cut where it turns.

    up, down         equal, so that at the cut each end faces its opposite
    ends_each_way    a multiple of up + down

    >>> threading_text(herringbone(2, 2, ends_each_way=8).threading)
    '1-4 1-4 2 1 4-1 4 3'

    Raises Refusal otherwise.
    Source: common practice, no source.
    """
    straight = twill(up, down)
    shafts = straight.shafts
    if up != down:
        raise Refusal(
            N_("A herringbone is made of an even twill, 2/2 or 3/3; this is %(up)s/%(down)s."), up=up, down=down
        )
    if ends_each_way < shafts or ends_each_way % shafts:
        raise Refusal(
            N_("A herringbone of %(up)s/%(down)s turns after whole repeats of %(shafts)s ends, not %(ends_each_way)s."),
            up=up,
            down=down,
            shafts=shafts,
            ends_each_way=ends_each_way,
        )
    there = [end % shafts + 1 for end in range(ends_each_way)]
    back = [(shafts // 2 - 1 - end) % shafts + 1 for end in range(ends_each_way)]
    return Weave(tuple(there + back), straight.lifting)


def hopsack(threads: int) -> Weave:
    """Plain weave of so many ends and picks together.

    >>> hopsack(2).weft_intersections, hopsack(2).repeat_ends
    (Decimal('2'), 4)

    Raises Refusal for fewer than one thread.
    """
    if not 1 <= threads <= MOST_PICKS:
        raise Refusal(N_("A hopsack needs 1 or more threads together, not %(threads)s."), threads=threads)
    return Weave.of((1,) * threads + (2,) * threads, ((1,),) * threads + ((2,),) * threads)


def satin(shafts: int, *, step: int) -> Weave:
    """A weft-faced satin (sateen): one end up on each pick, `step` ends further each time.

    shafts    5 or more
    step      2 or more, below shafts - 1, without a common divisor with shafts: 2 or 3 for 5, 3 or 5 for 8

    >>> lifting_text(satin(8, step=3).lifting)
    '1 4 7 2 5 8 3 6'

    Raises Refusal for a step that leaves ends unbound or makes a twill.
    Source: common practice, no source.
    """
    _shafts_of(shafts, f"A satin of {shafts} ends")
    if not 2 <= step <= shafts - 2 or np.gcd(shafts, step) != 1:
        steps = [one for one in range(2, shafts - 1) if np.gcd(shafts, one) == 1]
        ways = f"Take {' or '.join(map(str, steps))}." if steps else "There is no satin of so many: take 5, 7 or 8."
        raise Refusal(
            N_("A satin of %(shafts)s ends can't step by %(step)s. %(ways)s"), shafts=shafts, step=step, ways=ways
        )
    return Weave.of(range(1, shafts + 1), [[pick * step % shafts + 1] for pick in range(shafts)])


def _shafts_of(shafts: int, name: str) -> int:
    if shafts > MOST_SHAFTS:
        raise Refusal(
            N_("%(name)s needs %(shafts)s shafts; there are at most %(most)s."),
            name=name,
            shafts=shafts,
            most=MOST_SHAFTS,
        )
    return shafts


# A beginning for a new cloth: the mill's usual weaves by the name they go by.
PRESETS: dict[str, Weave] = {
    N_("plain"): plain(),
    N_("2/1 twill"): twill(2, 1),
    N_("1/2 twill"): twill(1, 2),
    N_("2/2 twill"): twill(2, 2),
    N_("3/1 twill"): twill(3, 1),
    N_("3/3 twill"): twill(3, 3),
    N_("2/2 herringbone, 8 and 8"): herringbone(2, 2, ends_each_way=8),
    N_("2/2 hopsack"): hopsack(2),
    N_("5-end satin"): satin(5, step=2),
    N_("8-end satin"): satin(8, step=3),
}
