"""The share-out: which lots go to which warp when all that wait are decided together. Knows no ledger or date of today.

The best way to serve all needs of a yarn is the one with, in this order, each only among ways equal before it:

1. the least weight of needs that stay short; a need is met whole or not at all
2. of equal weights, the needs short that are wanted last
3. the fewest changes of dye lot inside a weft
4. the fewest grams by which a need stays short of what is left for it, of all that stay short
5. the fewest remainders of little use, over all dye lots of the yarn as they are left
6. the fewest grams in them
7. the fewest lots, counted once for each need that draws from them
8. the oldest yarn: grams taken times the days by which they are younger than the oldest, the least

Always one dye lot a colour in the warp; in the weft the dye lot changes only where a piece ends; within a dye lot the
oldest lot goes first, to the need that is wanted first. All of it common practice, no source.

No yarn takes from another's lots, so that each yarn is decided by itself and the best of each is the best of all. A
warp that is short of one colour keeps its others: it is wound when that one comes.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields, replace
from datetime import date

from inventory.dealing import deal
from inventory.draw import BEGUN, Choice, Lot, begun_said, choose, is_useless, left_over, listed, parts_said
from inventory.ledger import written
from inventory.shelf import Cost, Gift, Shelf, Want, pieces_of
from mill.refusal import N_, in_words

SOON_DAYS, AHEAD_DAYS = 7, 28


def weight_of(days: int, importance: int = 1) -> int:
    """What a need counts as long as it is short: 4 within a week, 2 within four, 1 later, times its importance.

    days          until its yarn is to be drawn; below 0 when it should have been
    importance    of the order, from 1

    >>> [weight_of(days) for days in (-3, 7, 8, 28, 29)], weight_of(8, 3)
    ([4, 4, 2, 2, 1], 6)

    Source: common practice, no source.
    """
    assert importance >= 1
    return importance * (4 if days <= SOON_DAYS else 2 if days <= AHEAD_DAYS else 1)


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a way of serving needs comes to: those short, and 3 to 8 of the list above."""

    short_weight: int = 0
    short: int = 0
    changes: int = 0
    short_g: int = 0
    useless: int = 0
    useless_g: int = 0
    lots: int = 0
    gram_days: int = 0

    def __add__(self, other: "Outcome") -> "Outcome":
        return Outcome(*(getattr(self, f.name) + getattr(other, f.name) for f in fields(self)))


@dataclass(frozen=True, slots=True)
class Rest:
    """What becomes of a dye lot: free before and left after, and the names of those who take from it."""

    dye_lot: str
    received_on: date
    free_g: int
    left_g: int
    is_useless: bool
    takers: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class OfYarn:
    """The needs of one yarn served together.

    wants, choices   beside each other, those wanted first before
    left             its lots with what is left of each, and those that may not be drawn
    is_proven        no other way is better; `is_fewest_short`: no other way has less short
    """

    yarn: int | str
    wants: tuple[Want, ...]
    choices: tuple[Choice, ...]
    rests: tuple[Rest, ...]
    left: tuple[Lot, ...]
    outcome: Outcome
    is_proven: bool
    is_fewest_short: bool

    def place_of(self, name: str) -> int | None:
        """Where the want of this name stands."""
        return next((n for n, want in enumerate(self.wants) if want.name == name), None)


def share_out(wants: Iterable[Want], lots: Iterable[Lot], *, useful_g: int) -> list[OfYarn]:
    """Serve all wants together, each yarn by itself, in the order in which the yarns are first named.

    lots        of any yarn, with what is free of each; those that may not be drawn are left alone
    useful_g    a remainder of a dye lot above 0 and below this is of little use

    Exact as long as all ways of a yarn can be looked at (`dealing.STEPS`); beyond that the best that is found, which
    is never worse than serving one need after the other by `draw.choose`.

    >>> from inventory.draw import Need
    >>> lots = [Lot("A12", 7, "881", 10_000, date(2026, 11, 2)), Lot("A14", 7, "904", 6000, date(2026, 11, 16))]
    >>> first = Want(Need(7, 6000, "warp", "Warp 118"), "Warp 118", date(2026, 11, 23))
    >>> other = Want(Need(7, 10_000, "warp", "Warp 119"), "Warp 119", date(2026, 11, 24))
    >>> (shared,) = share_out([first, other], lots, useful_g=3000)
    >>> [choice.dye_lots for choice in shared.choices], shared.outcome.short, shared.is_proven
    ([('904',), ('881',)], 0, True)
    >>> print(shared.choices[0].why.replace("\\u202f", " "))
    Dye lot 904 has 6000 g free and is used up; dye lot 881 is older, but goes to Warp 119.

    One after the other Warp 118 takes the older dye lot 881, of which 4000 g stay, and Warp 119 finds 6000 g in 904.
    """
    by_yarn: dict[int | str, list[Want]] = defaultdict(list)
    for want in wants:
        by_yarn[want.need.yarn].append(want)
    of_yarn: dict[int | str, list[Lot]] = defaultdict(list)
    for lot in lots:
        if lot.yarn in by_yarn:
            of_yarn[lot.yarn].append(lot)
    return [serve(yarn, wanted, of_yarn[yarn], useful_g=useful_g) for yarn, wanted in by_yarn.items()]


def serve(yarn: int | str, wants: Sequence[Want], lots: Sequence[Lot], *, useful_g: int) -> OfYarn:
    """The same for one yarn, whose lots these are; there may be no wants."""
    shelf = Shelf(yarn, wants, [lot for lot in lots if lot.free_g > 0], useful_g)
    gifts, cost, is_proven = deal(shelf)
    free = shelf.left_by(gifts)
    rests = tuple(
        Rest(
            shade.dye_lot,
            shade.oldest,
            shade.free_g,
            left_g,
            is_useless(left_g, shelf.useful_g),
            tuple(want.name for want, gift in zip(shelf.wants, gifts, strict=True) if i in gift),
        )
        for i, (shade, left_g) in enumerate(zip(shelf.shades, free, strict=True))
    )
    words = _Words(shelf, gifts, cost, rests)
    choices, before = [], shelf.free
    for n, (want, gift) in enumerate(zip(shelf.wants, gifts, strict=True)):
        choices.append(Choice(want.need, shelf.takes(n, gift, before), words.why(n)) if gift else words.short(n))
        before = shelf.given(n, before, gift)
    return OfYarn(
        yarn=shelf.yarn,
        wants=tuple(shelf.wants),
        choices=tuple(choices),
        rests=rests,
        left=tuple(shelf.lots_left(free)),
        outcome=Outcome(cost[0], sum(not gift for gift in gifts), *cost[2:]),
        is_proven=is_proven,
        is_fewest_short=is_proven or cost[0] == shelf.short_ahead(0, sum(shelf.free)),
    )


@dataclass(frozen=True)
class _Words:
    """Why each need is served as it is, in a sentence."""

    shelf: Shelf
    gifts: Sequence[Gift]
    cost: Cost
    rests: Sequence[Rest]

    def why(self, n: int) -> str:
        gift = self.gifts[n]
        return self._whole(n, gift[0]) if len(set(gift)) == 1 else self._parted(n)

    def short(self, n: int) -> Choice:
        """What is short, the nearest, and who takes what would have covered it."""
        left = self.shelf.lots_left(self.shelf.left_by(self.gifts), n)
        choice = choose(self.shelf.wants[n].need, left, useful_g=self.shelf.useful_g)
        assert not choice.is_met, "nobody stays short of what is free"
        return replace(choice, why=f"{choice.why}{self._goes_elsewhere(n)}")

    def _goes_elsewhere(self, n: int) -> str:
        want, rests = self.shelf.wants[n], [self.rests[i] for i in self.shelf.open[n]]
        covering = next((rest for rest in rests if rest.free_g >= want.need.grams and rest.takers), None)
        if covering:
            return " " + in_words(
                N_("Dye lot %(dye_lot)s has %(free)s and would cover it, but goes to %(takers)s."),
                dye_lot=covering.dye_lot,
                free=written(covering.free_g),
                takers=listed(covering.takers),
            )
        if want.need.pieces_g and sum(rest.free_g for rest in rests) >= want.need.grams:
            names = dict.fromkeys(name for rest in rests for name in rest.takers)
            return " " + in_words(N_("What was free goes to %(takers)s."), takers=listed(tuple(names))) if names else ""
        return ""

    def _whole(self, n: int, i: int) -> str:
        rest, want = self.rests[i], self.shelf.wants[n]
        others = [name for name in rest.takers if name != want.name]
        said = {"dye_lot": rest.dye_lot, "free": written(rest.free_g), "why": self._because(n, i)}
        left, useful = written(rest.left_g), written(self.shelf.useful_g)
        if others:
            said["others"] = listed(others)
            if rest.is_useless:
                form = N_(
                    "Dye lot %(dye_lot)s has %(free)s free; with %(others)s it leaves %(left)s, less than the"
                    " %(useful)s that are of use; %(why)s."
                )
                return in_words(form, left=left, useful=useful, **said)
            if rest.left_g:
                form = N_("Dye lot %(dye_lot)s has %(free)s free; with %(others)s it leaves %(left)s; %(why)s.")
                return in_words(form, left=left, **said)
            return in_words(
                N_("Dye lot %(dye_lot)s has %(free)s free; with %(others)s it is used up; %(why)s."), **said
            )
        if rest.is_useless:
            form = N_(
                "Dye lot %(dye_lot)s has %(free)s free, %(left)s stay, less than the %(useful)s that are of use;"
                " %(why)s."
            )
            return in_words(form, left=left, useful=useful, **said)
        if rest.left_g:
            return in_words(N_("Dye lot %(dye_lot)s has %(free)s free, %(left)s stay; %(why)s."), left=left, **said)
        return in_words(N_("Dye lot %(dye_lot)s has %(free)s free and is used up; %(why)s."), **said)

    def _because(self, n: int, i: int) -> str:
        shelf, want = self.shelf, self.shelf.wants[n]
        if want.only:
            return in_words(want.only_why)
        if want.need.begun:
            return in_words(BEGUN)
        older = [j for j in shelf.open[n] if shelf.shades[j].oldest < shelf.shades[i].oldest]
        for j in older:
            if shelf.free[j] >= want.need.grams and (said := self._against(n, i, j)):
                return said
        if older and shelf.free[older[0]] < want.need.grams:
            rest = self.rests[older[0]]
            return in_words(
                N_("dye lot %(other)s is older, but has only %(free)s free"),
                other=rest.dye_lot,
                free=written(rest.free_g),
            )
        covering = [j for j in shelf.open[n] if shelf.free[j] >= want.need.grams]
        if covering == [i]:
            return in_words(N_("no other covers it"))
        if covering[0] == i:
            return in_words(N_("it is the oldest that covers it"))
        return in_words(N_("what is drawn of it is the oldest"))

    def _against(self, n: int, i: int, j: int) -> str:
        """What it would mean to take the older dye lot j instead; "" when it would not even be older yarn."""
        shelf, useful = self.shelf, written(self.shelf.useful_g)
        gifts = [*self.gifts[:n], (j,) * len(self.gifts[n]), *self.gifts[n + 1 :]]
        other, free = shelf.cost_of(gifts), shelf.left_by(gifts)
        older = self.rests[j].dye_lot
        if other is None:
            return in_words(
                N_("dye lot %(other)s is older, but goes to %(takers)s"),
                other=older,
                takers=listed(self.rests[j].takers),
            )
        if other[3] > self.cost[3]:
            named = [want.name for want, gift in zip(shelf.wants, self.gifts, strict=True) if not gift]
            return in_words(
                N_("dye lot %(other)s is older, but is left for %(named)s, which would be short by %(short)s more"),
                other=older,
                named=listed(named),
                short=written(other[3] - self.cost[3]),
            )
        if other[4:6] > self.cost[4:6]:
            if is_useless(free[j], shelf.useful_g):
                return in_words(
                    N_(
                        "dye lot %(other)s is older, but would leave %(left)s, less than the %(useful)s that are of use"
                    ),
                    other=older,
                    left=written(free[j]),
                    useful=useful,
                )
            return in_words(
                N_(
                    "dye lot %(other)s is older, but would leave %(left)s of dye lot %(dye_lot)s, less than the"
                    " %(useful)s that are of use"
                ),
                other=older,
                left=written(free[i]),
                dye_lot=self.rests[i].dye_lot,
                useful=useful,
            )
        if other[6] == self.cost[6] + 1:
            return in_words(N_("dye lot %(other)s is older, but would take 1 lot more"), other=older)
        if other[6] > self.cost[6]:
            return in_words(
                N_("dye lot %(other)s is older, but would take %(n)s lots more"),
                other=older,
                n=other[6] - self.cost[6],
            )
        return ""

    def _parted(self, n: int) -> str:
        want, gift = self.shelf.wants[n], self.gifts[n]
        pieces = {i: pieces_of(gift, i) for i in dict.fromkeys(gift)}
        parts = parts_said((self.rests[i].dye_lot, of_it) for i, of_it in pieces.items())
        covering = [
            self.rests[i]
            for i in self.shelf.open[n]
            if self.rests[i].free_g >= want.need.grams and self.shelf.begun[n] in (None, i)
        ]
        if not covering and want.need.begun:
            return begun_said(want.need.begun, self.rests[gift[0]].free_g, parts)
        if covering:
            others = [name for name in covering[0].takers if name != want.name]
            return in_words(
                N_(
                    "Dye lot %(dye_lot)s has %(free)s free, but goes to %(takers)s; the weft changes where a piece"
                    " ends: %(parts)s."
                ),
                dye_lot=covering[0].dye_lot,
                free=written(covering[0].free_g),
                takers=listed(others),
                parts=parts,
            )
        return in_words(
            N_(
                "No dye lot has %(need)s free, the largest of these %(largest)s; the weft changes where a piece ends:"
                " %(parts)s."
            ),
            need=written(want.need.grams),
            largest=written(max(self.rests[i].free_g for i in pieces)),
            parts=parts,
        )


def differences(before: OfYarn, after: OfYarn) -> list[str]:
    """What becomes of the needs and the dye lots when something is chosen otherwise, a sentence each.

    >>> from inventory.draw import Need
    >>> lots = [Lot("A12", 7, "881", 10_000, date(2026, 11, 2)), Lot("A14", 7, "904", 6000, date(2026, 11, 16))]
    >>> first = Want(Need(7, 6000, "warp", "Warp 118"), "Warp 118", date(2026, 11, 23))
    >>> other = Want(Need(7, 10_000, "warp", "Warp 119"), "Warp 119", date(2026, 11, 24))
    >>> (proposed,) = share_out([first, other], lots, useful_g=5000)
    >>> (chosen,) = share_out([replace(first, only="881"), other], lots, useful_g=5000)
    >>> for said in differences(proposed, chosen): print(said.replace("\\u202f", " "))
    Warp 118 takes dye lot 881 instead of 904.
    Warp 119 is 4000 g short.
    Dye lot 881 leaves 4000 g instead of 0 g, less than is of use.
    Dye lot 904 leaves 6000 g instead of 0 g.
    """
    said = []
    was = {want.name: choice for want, choice in zip(before.wants, before.choices, strict=True)}
    for want, choice in zip(after.wants, after.choices, strict=True):
        old, name = was.pop(want.name, None), f"{want.name[:1].upper()}{want.name[1:]}"
        if old is None or (old.is_met, old.dye_lots) == (choice.is_met, choice.dye_lots):
            continue
        if not choice.is_met:
            said.append(in_words(N_("%(name)s is %(short)s short."), name=name, short=written(choice.short_g)))
        elif old.is_met:
            said.append(
                in_words(
                    N_("%(name)s takes dye lot %(dye_lot)s instead of %(before)s."),
                    name=name,
                    dye_lot=listed(choice.dye_lots),
                    before=listed(old.dye_lots),
                )
            )
        else:
            said.append(
                in_words(
                    N_("%(name)s is no longer short: it takes dye lot %(dye_lot)s."),
                    name=name,
                    dye_lot=listed(choice.dye_lots),
                )
            )
    said += [in_words(N_("Nothing is held for %(name)s."), name=name) for name in was]
    left = {rest.dye_lot: rest.left_g for rest in before.rests}
    for rest in after.rests:
        was_g = left.get(rest.dye_lot, rest.left_g)
        if rest.left_g != was_g:
            form = (
                N_("Dye lot %(dye_lot)s leaves %(left)s instead of %(before)s, less than is of use.")
                if rest.is_useless
                else N_("Dye lot %(dye_lot)s leaves %(left)s instead of %(before)s.")
            )
            said.append(in_words(form, dye_lot=rest.dye_lot, left=written(rest.left_g), before=written(was_g)))
    return said


@dataclass(frozen=True, slots=True)
class Option:
    """A dye lot that a need might take beside all others as they are served, and what that would mean."""

    dye_lot: str
    is_taken: bool
    covers: bool
    consequence: str


def options(shared: OfYarn, n: int, *, useful_g: int) -> tuple[Option, ...]:
    """Every dye lot for the n-th need: first what it takes, then what covers it, the oldest first.

    >>> from inventory.draw import Need
    >>> lots = [Lot("A12", 7, "881", 10_000, date(2026, 11, 2)), Lot("A14", 7, "904", 6000, date(2026, 11, 16))]
    >>> first = Want(Need(7, 6000, "warp", "Warp 118"), "Warp 118", date(2026, 11, 23))
    >>> other = Want(Need(7, 10_000, "warp", "Warp 119"), "Warp 119", date(2026, 11, 24))
    >>> (shared,) = share_out([first, other], lots, useful_g=3000)
    >>> for option in options(shared, 0, useful_g=3000):
    ...     print(option.dye_lot, option.consequence.replace("\\u202f", " "))
    904 6000 g free, is used up; came 16.11.2026
    881 10 000 g free, but Warp 119 has it: 6000 g would be wanting there; came 02.11.2026
    """
    want, choice = shared.wants[n], shared.choices[n]
    found = []
    for rest in shared.rests:
        if rest.free_g == 0:
            continue
        own_g = sum(take.grams for take in choice.takes if take.lot.dye_lot == rest.dye_lot)
        left_g = rest.left_g + own_g - want.need.grams
        others = [name for name in rest.takers if name != want.name]
        said = {"free": written(rest.free_g), "came": f"{rest.received_on:%d.%m.%Y}"}
        if rest.free_g < want.need.grams:
            form = (
                N_("%(free)s free, %(short)s too little for all of it; came %(came)s")
                if want.need.pieces_g
                else N_("%(free)s free, %(short)s short; came %(came)s")
            )
            means = in_words(form, short=written(want.need.grams - rest.free_g), **said)
        elif left_g < 0:
            form = (
                N_("%(free)s free, but %(others)s has it: %(short)s would be wanting there; came %(came)s")
                if len(others) == 1
                else N_("%(free)s free, but %(others)s have it: %(short)s would be wanting there; came %(came)s")
            )
            means = in_words(form, others=listed(others), short=written(-left_g), **said)
        else:
            means = left_over(left_g, useful_g=useful_g, **said)
        found.append(Option(rest.dye_lot, bool(own_g), rest.free_g >= want.need.grams, means))
    return tuple(sorted(found, key=lambda option: (not option.is_taken, not option.covers)))
