"""Lots for all warps together: what is proposed for each yarn that is still to be held, and the holding of it.

Proposals are worked out when they are looked at and stand nowhere; only what is held is written. What is held already
stays held: whoever wants to deal it out afresh lets it go first, on its warp's page.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache
from typing import Any

from django.db import transaction
from django.db.models import F, Max, Sum
from django.utils import timezone

from inventory import services as store
from inventory.draw import CHOSEN, HELD, Choice, Lot, Take, check_takes
from inventory.ledger import written
from inventory.models import Yarn, YarnLot
from inventory.share_out import OfYarn, Option, Want, differences, options, serve, weight_of
from mill.models import Mill
from mill.refusal import N_, Refusal, Word
from planning.models import Warp, WarpHold, WarpPart, WarpYarn
from planning.services import warp_yarn
from planning.services.shortages import Shortage, parts_of, shortages

WARP = WarpYarn.WARP
# Chosen instead of a dye lot: nothing is to be held for this need yet.
NOTHING = "-"
# Number of the warp, use, primary key of the yarn.
Key = tuple[int, str, int]


@dataclass(frozen=True)
class Waiting:
    """A yarn of a warp in one use of which something is still to be held.

    dye_lots    of what is held or drawn already, in the order in which it was held
    """

    need: WarpYarn
    left_g: int
    dye_lots: tuple[str, ...]
    wanted_on: date

    @property
    def key(self) -> Key:
        return self.need.warp.number, self.need.use, self.need.yarn_id


@dataclass(frozen=True)
class Line:
    """A need as it would be served beside the others.

    choice      None when nothing is to be held for it yet
    chosen      the dye lot that a person chose for it, or NOTHING; "" for what is proposed
    """

    waiting: Waiting
    parts: tuple[WarpPart, ...]
    choice: Choice | None
    options: tuple[Option, ...]
    chosen: str
    shortage: Shortage | None

    @property
    def key(self) -> str:
        return "-".join(map(str, self.waiting.key))

    @property
    def warp(self) -> Warp:
        return self.waiting.need.warp

    @property
    def order_lines(self) -> list[str]:
        return [str(part.line) for part in self.parts]

    @property
    def is_met(self) -> bool:
        return self.choice is not None and self.choice.is_met


@dataclass(frozen=True)
class YarnShares:
    """All that is still to be held of a yarn, decided together.

    changes     what a person's choices change against the proposal, a sentence each
    """

    yarn: Yarn
    lines: tuple[Line, ...]
    shared: OfYarn
    changes: tuple[str, ...]

    @property
    def left_g(self) -> int:
        """Still to be held."""
        return sum(line.waiting.left_g for line in self.lines)

    @property
    def free_g(self) -> int:
        return sum(rest.free_g for rest in self.shared.rests)

    @property
    def short(self) -> int:
        return sum(not line.is_met for line in self.lines if line.choice)

    @property
    def is_chosen(self) -> bool:
        return any(line.chosen for line in self.lines)


# Looking


def waiting(yarns: Collection[int] | None = None) -> tuple[list[Waiting], list[Warp]]:
    """Everything that is still to be held, those wanted first before; and the warps that are being worked out.

    Of a warp that is being worked out nothing is said before it is. A constant number of queries.
    """
    needs = WarpYarn.objects.filter(warp__in=Warp.objects.open()).select_related("warp__worked", "yarn")
    needs = needs.defer("warp__worked__figures").order_by("warp__number", "use", "yarn__code")
    if yarns is not None:
        needs = needs.filter(yarn__in=yarns)
    stale = list(Warp.objects.open().filter(worked__is_stale=True).order_by("number"))
    held_g, dye_lots = _held(yarns)
    found = []
    rows = [need for need in needs if not need.warp.worked.is_stale and warp_yarn.may_hold(need.warp, need.use)]
    left = {need.pk: need.issue_g - held_g[need.warp_id, need.use, need.yarn_id] for need in rows}
    rows = [need for need in rows if left[need.pk] > 0]
    wanted = warp_yarn.days_wanted({need.warp_id for need in rows})
    for need in rows:
        key = need.warp_id, need.use, need.yarn_id
        found.append(Waiting(need, left[need.pk], tuple(dye_lots[key]), wanted[key]))
    found.sort(key=lambda one: (one.wanted_on, one.need.warp.number))
    return found, stale


def _held(yarns: Collection[int] | None) -> tuple[dict[Key, int], dict[Key, list[str]]]:
    """Grams held and drawn, and the dye lots, by primary key of the warp, use and yarn."""
    holds = WarpHold.objects.filter(warp__in=Warp.objects.open())
    if yarns is not None:
        holds = holds.filter(yarn__in=yarns)
    rows = (
        holds.annotate(remaining_g=Sum("reservation__movements__held_change_g"), dye_lot=F("reservation__lot__dye_lot"))
        .order_by("pk")
        .values_list("warp", "use", "yarn", "drawn_g", "remaining_g", "dye_lot")
    )
    grams: dict[Key, int] = defaultdict(int)
    dye_lots: dict[Key, list[str]] = defaultdict(list)
    for warp, use, yarn, drawn_g, remaining_g, dye_lot in rows:
        # What was let go on the lot's page binds the warp to no dye lot.
        if taken_g := drawn_g + (remaining_g or 0):
            grams[warp, use, yarn] += taken_g
            dye_lots[warp, use, yarn].append(dye_lot)
    return grams, dye_lots


def wants_of(found: Sequence[Waiting]) -> dict[Key, Want]:
    """The needs as the share-out sees them."""
    today = timezone.localdate()
    pieces_g = warp_yarn.pieces_of_many({one.need.warp_id for one in found if one.need.use != WARP})
    parts = WarpPart.objects.filter(warp__in={one.need.warp_id for one in found}).order_by()
    importance = dict(parts.values_list("warp").annotate(most=Max("line__weight")))
    wants = {}
    for one in found:
        need = one.need
        begun = one.dye_lots[0] if need.use == WARP and one.dye_lots else ""
        wants[one.key] = Want(
            need=warp_yarn.asked_for(
                need,
                left_g=one.left_g,
                pieces_g=pieces_g.get(need.warp_id, {}).get(need.yarn.code, ()),
                dye_lots=one.dye_lots,
            ),
            name=warp_yarn.name_of(need),
            wanted_on=one.wanted_on,
            weight=weight_of((one.wanted_on - today).days, max(1, importance.get(need.warp_id, 1))),
            only=begun,
            only_why=HELD,
        )
    return wants


@lru_cache(maxsize=1024)
def _served(yarn: int, wants: tuple[Want, ...], lots: tuple[Lot, ...], useful_g: int) -> OfYarn:
    """Kept, since a page that is worked on asks again for yarns of which nothing has changed. The names of the wants
    are in the language of the page, and so is what is kept."""
    return serve(yarn, wants, lots, useful_g=useful_g)


def propose(*, yarns: Collection[int] | None = None, chosen: Mapping[Key, str] | None = None) -> list[YarnShares]:
    """All that is still to be held, yarn by yarn, each decided for all warps together; the first wanted before.

    yarns     primary keys; None for all
    chosen    a dye lot that a person has chosen for a need, or NOTHING, instead of what is proposed

    A constant number of queries.
    """
    found, _ = waiting(yarns)
    return told(found, chosen)


def beside_others(states: Sequence[warp_yarn.YarnState]) -> dict[str, Choice]:
    """Of a warp's needs those that would have other dye lots were all warps decided together, by the state's key."""
    alone = {(warp_yarn.name_of(state.need), state.need.yarn_id): state for state in states if state.choice}
    found, _ = waiting({state.need.yarn_id for state in alone.values()})
    choices = {}
    for of_yarn in decide(found):
        for want, choice in zip(of_yarn.shared.wants, of_yarn.shared.choices, strict=True):
            state = alone.get((want.name, int(want.need.yarn)))
            if state and state.choice and set(choice.dye_lots) != set(state.choice.dye_lots):
                choices[state.key] = choice
    return choices


@dataclass(frozen=True)
class Decided:
    """What waits of one yarn, decided together: as proposed, and as a person's choices have it."""

    waiting: tuple[Waiting, ...]
    proposed: OfYarn
    shared: OfYarn


def decide(found: Sequence[Waiting], chosen: Mapping[Key, str] | None = None) -> list[Decided]:
    """What waits, decided yarn by yarn. All that waits of a yarn must be there, since it is decided together."""
    chosen = chosen or {}
    useful_g = Mill.the_one().useful_remainder_g
    wants = wants_of(found)
    stock: dict[int, list[Lot]] = defaultdict(list)
    for lot in store.lots_to_draw({one.need.yarn_id for one in found}):
        stock[int(lot.yarn)].append(lot)
    by_yarn: dict[int, list[Waiting]] = defaultdict(list)
    for one in found:
        by_yarn[one.need.yarn_id].append(one)
    decided = []
    for yarn, ones in by_yarn.items():
        lots, picked = tuple(stock[yarn]), {one.key: chosen.get(one.key, "") for one in ones}
        proposed = _served(yarn, tuple(wants[one.key] for one in ones), lots, useful_g)
        kept = tuple(_picked(wants[key], dye_lot) for key, dye_lot in picked.items() if dye_lot != NOTHING)
        shared = _served(yarn, kept, lots, useful_g) if any(picked.values()) else proposed
        decided.append(Decided(tuple(ones), proposed, shared))
    return decided


def _picked(want: Want, dye_lot: str) -> Want:
    """As a person chose; what is begun stays of its dye lot."""
    return replace(want, only=dye_lot, only_why=CHOSEN) if dye_lot and not want.only else want


def told(found: Sequence[Waiting], chosen: Mapping[Key, str] | None = None) -> list[YarnShares]:
    """The same with all that a person is told: what another dye lot would mean, and what would end a shortage."""
    chosen, useful_g = chosen or {}, Mill.the_one().useful_remainder_g
    decided = decide(found, chosen)
    short, own = [], {}
    for of_yarn in decided:
        warps = {warp_yarn.name_of(one.need): one.need.warp_id for one in of_yarn.waiting}
        for want, choice in zip(of_yarn.shared.wants, of_yarn.shared.choices, strict=True):
            if not choice.is_met:
                short.append((want, choice))
                own[want] = warps[want.name]
    ends = shortages(short, [lot for of_yarn in decided for lot in of_yarn.shared.left], own=own)
    parts = parts_of(one.need.warp_id for one in found)
    shares = []
    for of_yarn in decided:
        lines = []
        for one in of_yarn.waiting:
            shared, name = of_yarn.shared, warp_yarn.name_of(one.need)
            n = shared.place_of(name)
            # Of a need for which nothing is to be held yet: what could be, were all served as proposed.
            of_it = (shared, n) if n is not None else (of_yarn.proposed, of_yarn.proposed.place_of(name))
            lines.append(
                Line(
                    waiting=one,
                    parts=tuple(parts[one.need.warp_id]),
                    choice=None if n is None else shared.choices[n],
                    options=_open_to(one, *of_it, useful_g=useful_g),
                    chosen=chosen.get(one.key, ""),
                    shortage=None if n is None else ends.get(shared.wants[n]),
                )
            )
        shares.append(
            YarnShares(
                yarn=of_yarn.waiting[0].need.yarn,
                lines=tuple(lines),
                shared=of_yarn.shared,
                changes=tuple(differences(of_yarn.proposed, of_yarn.shared)),
            )
        )
    return shares


def _open_to(one: Waiting, shared: OfYarn, n: int | None, *, useful_g: int) -> tuple[Option, ...]:
    """Dye lots that a person may choose for a need: what is begun has no other."""
    if n is None:
        return ()
    begun = one.dye_lots[0] if one.need.use == WARP and one.dye_lots else shared.wants[n].need.begun
    return tuple(option for option in options(shared, n, useful_g=useful_g) if begun in ("", option.dye_lot))


# Holding


@dataclass(frozen=True)
class Share:
    """What a need is to have: the primary key of each lot, the grams of it, and the pieces it is woven into."""

    key: Key
    takes: tuple[tuple[int, int, tuple[int, ...]], ...]


@dataclass(frozen=True)
class Held:
    """Needs for which yarn was held, grams of it, and needs that had been held already."""

    lines: int
    grams: int
    already: int


@transaction.atomic
def hold_shares(shares: Sequence[Share], *, by: Any) -> Held:
    """Hold just these lots, all of them or none. Told twice, it holds once.

    Raises Refusal when a share breaks a rule of the draw, or when warp or lot have changed since it was looked at.
    """
    if not shares:
        raise Refusal(N_("Nothing is ticked: 0 lines. Tick what is to be held."))
    if len({share.key for share in shares}) < len(shares):
        raise Refusal(N_("A need stands twice among what is to be held. Say once what it is to have."))
    warps = _locked(share.key[0] for share in shares)
    yarns = {share.key[2] for share in shares}
    rows = {row.pk: row for row in store.lock_lots(pk for share in shares for pk, _, _ in share.takes)}
    found, _ = waiting(yarns)
    by_key = {one.key: one for one in found}
    to_hold = [share for share in shares if _is_open(share, by_key, warps)]
    free = {lot.pk: lot for lot in store.lots_to_draw(yarns)}
    _check_free(to_hold, rows, free)
    wants = wants_of([by_key[share.key] for share in to_hold])
    grams = 0
    for share in to_hold:
        one, want = by_key[share.key], wants[share.key]
        takes = [Take(free[pk], of_it, pieces) for pk, of_it, pieces in share.takes]
        given_g = sum(take.grams for take in takes)
        if given_g != one.left_g:
            raise Refusal(
                N_("%(label)s takes %(left)s now; %(given)s were to be held. Look at the shares as they are now."),
                label=want.need.label,
                left=written(one.left_g),
                given=written(given_g),
            )
        check_takes(want.need, takes, only=want.only)
        for take in takes:
            warp_yarn.hold_grams(one.need.warp, one.need, rows[take.lot.pk], take.grams, by=by)
        grams += given_g
    return Held(len(to_hold), grams, len(shares) - len(to_hold))


def _locked(numbers: Iterable[int]) -> dict[int, Warp]:
    wanted = set(numbers)
    rows = Warp.objects.select_for_update(of=("self",), no_key=True).filter(number__in=wanted).order_by("pk")
    warps = {warp.number: warp for warp in rows}
    for number in sorted(wanted - set(warps)):
        raise Refusal(
            N_("Warp %(number)s has been taken apart meanwhile. Look at the shares as they are now."), number=number
        )
    for warp in warps.values():
        warp_yarn.check_worked(warp)
    return warps


def _is_open(share: Share, by_key: Mapping[Key, Waiting], warps: Mapping[int, Warp]) -> bool:
    """Whether the need is still to be held; False when it has been held already."""
    if share.key in by_key:
        return True
    number, use, yarn_id = share.key
    need = WarpYarn.objects.filter(warp=warps[number], use=use, yarn=yarn_id).first()
    if need is None:
        raise Refusal(
            N_("%(warp)s takes none of this yarn in the %(use)s any more. Look at the shares as they are now."),
            warp=warps[number],
            use=Word(use),
        )
    if not warp_yarn.may_hold(warps[number], use):
        raise Refusal(
            N_("%(warp)s is %(state)s; %(use)s yarn is not held for it any more."),
            warp=warps[number],
            state=Word(warps[number].state),
            use=Word(use),
        )
    return False


def _check_free(shares: Iterable[Share], rows: Mapping[int, YarnLot], free: Mapping[int, Lot]) -> None:
    asked: dict[int, int] = defaultdict(int)
    for share in shares:
        for pk, grams, _ in share.takes:
            asked[pk] += grams
    for pk, grams in sorted(asked.items()):
        if pk not in rows:
            raise Refusal(
                N_("A lot that was to be held is not in the book any more. Look at the shares as they are now.")
            )
        has_g = free[pk].free_g if pk in free else 0
        if has_g < grams:
            raise Refusal(
                N_(
                    "Lot %(lot)s has %(has)s free now; %(grams)s were to be held of it. Look at the "
                    "shares as they are now."
                ),
                lot=rows[pk],
                has=written(has_g),
                grams=written(grams),
            )
