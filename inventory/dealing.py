"""Dealing: the search for the best way to deal a shelf's dye lots to those who want of it. Knows no words for it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from math import inf

from inventory.draw import Choice, choose, fewest_runs, is_useless
from inventory.shelf import Cost, Free, Gift, Shelf, changes_of, pieces_of

# Ways that are looked at, for a shelf, before we settle for the best that was found.
STEPS = 6_000
# A shelf with more ways than this is not even begun to be searched whole.
WAYS = 200_000
# States of a shelf that lead on from one need to the next when not all can.
KEPT = 12
# Dye lots that a weft is parted over when not all ways are looked at: those with most free.
RUNS_TRIED = 5

# weight, bits, changes and lots so far; where it came from; with which gift.
_Step = tuple[tuple[int, int, int, int], Free, Gift]
# A gift with its changes, the lots it draws from, and what it leaves.
_Way = tuple[Gift, int, int, Free]


class _TooManyError(Exception):
    """More ways than we look at."""


def deal(shelf: Shelf) -> tuple[list[Gift], Cost, bool]:
    """The best gifts that are found, in the order of the wants, what they cost, and whether no others are better.

    Never worse than serving one need after the other by `draw.choose`.
    """
    gifts = one_by_one(shelf)
    cost = _known(shelf, gifts)
    for search in (Search(shelf, kept=KEPT), Search(shelf, kept=None)):
        if search.kept is None and _ways(shelf, cost) > WAYS:
            break
        try:
            found = search.better_than(cost)
        except _TooManyError:
            break
        gifts, cost = found or (gifts, cost)
        if search.kept is None:
            return gifts, cost, True
    gifts = _filled(shelf, _improved(shelf, gifts, cost))
    return gifts, _known(shelf, gifts), False


def _known(shelf: Shelf, gifts: Sequence[Gift]) -> Cost:
    cost = shelf.cost_of(gifts)
    assert cost is not None, "nothing is dealt that is not there"
    return cost


def _ways(shelf: Shelf, best: Cost) -> float:
    """About how many ways there are: whole dye lots for each need, and where some stay short, short or not."""
    ways = 1.0
    for n, want in enumerate(shelf.wants):
        if not shelf.hopeless[n]:
            covering = sum(shelf.free[i] >= want.need.grams for i in shelf.open[n])
            parted = len(shelf.open[n]) ** min(len(want.need.pieces_g), 3)
            ways *= (covering or parted) + (best[0] > shelf.sure[0][0])
    return ways


def one_by_one(shelf: Shelf) -> list[Gift]:
    """As `draw.choose` serves them, one after the other."""
    gifts: list[Gift] = []
    free = shelf.free
    for n, want in enumerate(shelf.wants):
        choice = choose(want.need, shelf.lots_left(free, n), useful_g=shelf.useful_g)
        gifts.append(_gift_of(shelf, choice))
        free = shelf.given(n, free, gifts[-1])
    return gifts


def _gift_of(shelf: Shelf, choice: Choice) -> Gift:
    if not choice.need.pieces_g:
        return tuple(shelf.number[dye_lot] for dye_lot in choice.dye_lots)
    by_piece = {piece: shelf.number[take.lot.dye_lot] for take in choice.takes for piece in take.pieces}
    return tuple(by_piece[piece] for piece in sorted(by_piece))


def _improved(shelf: Shelf, gifts: list[Gift], cost: Cost) -> list[Gift]:
    """Another whole dye lot for whoever is served better so, until nobody is."""
    is_moving = True
    while is_moving:
        is_moving = False
        free = shelf.left_by(gifts)
        for n, want in enumerate(shelf.wants):
            pieces = len(want.need.pieces_g) or 1
            for i in shelf.open[n]:
                gift = (i,) * pieces
                if gifts[n] == gift or shelf.begun[n] not in (None, i):
                    continue
                own_g = sum(want.need.pieces_g[piece - 1] for piece in pieces_of(gifts[n], i)) if pieces > 1 else 0
                if free[i] + own_g < want.need.grams:
                    continue
                other = [*gifts[:n], gift, *gifts[n + 1 :]]
                found = shelf.cost_of(other)
                if found and found < cost:
                    gifts, cost, free, is_moving = other, found, shelf.left_by(other), True
    return gifts


def _filled(shelf: Shelf, gifts: list[Gift]) -> list[Gift]:
    """Nobody stays short of what is free."""
    for n, want in enumerate(shelf.wants):
        if not gifts[n]:
            left = shelf.lots_left(shelf.left_by(gifts), n)
            gifts = [*gifts[:n], _gift_of(shelf, choose(want.need, left, useful_g=shelf.useful_g)), *gifts[n + 1 :]]
    return gifts


@dataclass
class Search:
    """Need by need, in the order in which they are wanted; to each state of the shelf the one way that costs least.

    kept    so many states lead on from one need to the next, those that promise most, and only the likely ways are
            looked at; None for all of them

    Of two ways to the same state the one that has cost less stays so whatever follows, so that with all kept the best
    is found. Then _TooManyError is raised when there are more ways than we look at.
    """

    shelf: Shelf
    kept: int | None
    steps_max: int = STEPS
    steps: int = field(default=0, init=False)

    def better_than(self, best: Cost) -> tuple[list[Gift], Cost] | None:
        """The best way, when it costs less than this."""
        layers: list[dict[Free, _Step]] = [{self.shelf.free: ((0, 0, 0, 0), self.shelf.free, ())}]
        for n in range(len(self.shelf.wants)):
            layers.append(self._served(n, layers[-1], best))
        costs = {
            free: self.shelf.cost(weight, bits, changes, lots, free)
            for free, ((weight, bits, changes, lots), _, _) in layers[-1].items()
        }
        free = min(costs, key=lambda free: (costs[free], free), default=())
        cost = costs.get(free, best)
        if cost >= best:
            return None
        gifts: list[Gift] = []
        for layer in reversed(layers[1:]):
            _, free, gift = layer[free]
            gifts.append(gift)
        return gifts[::-1], cost

    def _served(self, n: int, layer: dict[Free, _Step], best: Cost) -> dict[Free, _Step]:
        """The states behind the n-th need."""
        shelf, want = self.shelf, self.shelf.wants[n]
        sure_bits = shelf.sure[n + 1][1]
        ahead: dict[Free, _Step] = {}

        def reach(free: Free, step: _Step) -> None:
            if free not in ahead or step[0] < ahead[free][0]:
                ahead[free] = step

        for free, ((weight, bits, changed, lots), _, _) in layer.items():
            free_g = sum(free)
            if not shelf.hopeless[n] and free_g >= want.need.grams:
                least = (weight + shelf.short_ahead(n + 1, free_g - want.need.grams), bits | sure_bits)
                if least <= best[:2]:
                    most = best[2] - changed if least == best[:2] else inf
                    for gift, changes, drawn, after in self._ways(n, free, most):
                        self._count()
                        if changes <= most:
                            reach(after, ((weight, bits, changed + changes, lots + drawn), free, gift))
            least = (
                weight + want.weight + shelf.short_ahead(n + 1, free_g),
                bits | shelf.bits[n] | sure_bits,
            )
            if (*least, changed) <= best[:3]:
                self._count()
                reach(free, ((weight + want.weight, bits | shelf.bits[n], changed, lots), free, ()))
        if self.kept is not None and len(ahead) > self.kept:
            promise = {free: self._promise(n + 1, step, free) for free, step in ahead.items()}
            return {free: ahead[free] for free in sorted(ahead, key=lambda free: (promise[free], free))[: self.kept]}
        return ahead

    def _count(self) -> None:
        self.steps += 1
        if self.kept is None and self.steps > self.steps_max:
            raise _TooManyError

    def _promise(self, n: int, step: _Step, free: Free) -> tuple[int, ...]:
        """Less is better: what is sure to be short, and then how little lies scattered over many dye lots."""
        weight, bits, changes, lots = step[0]
        useless = sum(is_useless(grams, self.shelf.useful_g) for grams in free)
        scattered = -sum(grams * grams for grams in free)
        return weight + self.shelf.short_ahead(n, sum(free)), bits, changes, useless, scattered, lots

    # The ways to serve one need

    def _ways(self, n: int, free: Free, most: float) -> Iterator[_Way]:
        pieces_g = self.shelf.wants[n].need.pieces_g
        if not pieces_g:
            yield from self._whole(n, free, 1)
        elif self.kept is None:
            yield from self._in_pieces(n, free, most)
        else:
            whole = list(self._whole(n, free, len(pieces_g)))
            yield from whole or self._in_runs(n, free)

    def _whole(self, n: int, free: Free, pieces: int) -> Iterator[_Way]:
        """Of one dye lot."""
        shelf, grams, begun = self.shelf, self.shelf.wants[n].need.grams, self.shelf.begun[n]
        for i in shelf.open[n]:
            before_g = free[i]
            after_g = before_g - grams
            if after_g >= 0 and begun in (None, i):
                drawn = shelf.lots_drawn(i, before_g, after_g)
                yield (i,) * pieces, 0, drawn, (*free[:i], after_g, *free[i + 1 :])

    def _in_pieces(self, n: int, free: Free, most: float) -> Iterator[_Way]:
        """Every state that the pieces can leave, each with the fewest changes that lead to it."""
        shelf = self.shelf
        front: dict[tuple[Free, int], tuple[int, Gift]] = {(free, -1): (0, ())}
        for at, piece_g in enumerate(shelf.wants[n].need.pieces_g):
            ahead: dict[tuple[Free, int], tuple[int, Gift]] = {}
            begun = shelf.begun[n] if at == 0 else None
            for (left, last), (changes, gift) in front.items():
                for i in shelf.open[n]:
                    now = changes + (last not in (-1, i))
                    if left[i] < piece_g or now > most or begun not in (None, i):
                        continue
                    self._count()
                    key = ((*left[:i], left[i] - piece_g, *left[i + 1 :]), i)
                    if key not in ahead or now < ahead[key][0]:
                        ahead[key] = (now, (*gift, i))
            front = ahead
        fewest: dict[Free, tuple[int, Gift]] = {}
        for (left, _), (changes, gift) in front.items():
            if left not in fewest or changes < fewest[left][0]:
                fewest[left] = (changes, gift)
        for left, (changes, gift) in fewest.items():
            yield gift, changes, shelf.lots_between(free, left), left

    def _in_runs(self, n: int, free: Free) -> Iterator[_Way]:
        """The fewest dye lots, each through pieces that follow each other."""
        shelf, need, begun = self.shelf, self.shelf.wants[n].need, self.shelf.begun[n]
        likely = sorted((i for i in shelf.open[n] if free[i]), key=lambda i: (i != begun, -free[i], i))[:RUNS_TRIED]
        if sum(free[i] for i in likely) < need.grams:
            return
        runs = fewest_runs(need, [shelf.shade(i, free[i]) for i in likely], shelf.useful_g)
        if runs:
            gift = tuple(shelf.number[shade.dye_lot] for shade, pieces in runs for _ in pieces)
            after = shelf.given(n, free, gift)
            yield gift, changes_of(gift), shelf.lots_between(free, after), after
