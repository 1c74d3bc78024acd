"""Candlebeck's store: dye lots as large as what was and will be woven of them, and every line of their ledger.

The ledger is written in the order of its days, a day at a time, each line by the rule of its kind; the triggers of the
database look at each of them again.
"""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from functools import partial
from itertools import count
from random import Random
from typing import Any

from simple_history.utils import bulk_create_with_history

from inventory import ledger, services
from inventory.ledger import Balance, Change
from inventory.models import Delivery, Inspection, Movement, Place, Reservation, Yarn, YarnLot
from mill.candlebeck import names
from mill.candlebeck.past import PastWarp
from mill.candlebeck.story import DAYS_OF_PAST, FLOOR_FROM, Story, clock_at
from planning.models import Warp, WarpHold, WarpYarn

LOTS = 300
# What is expected: so many days from now; less than 0 should have come.
EXPECTED_IN = (-9, -4, -1, 3, 6, 10, 13, 17, 24, 31, 38, 45)
SHORT_YARNS = 5
STOCK_TAKES_AGO = (170, 140, 110, 80, 50, 22)
KG = 1000
# An empty cone, and a bag. Made up.
CONE_G, BAG_G = 65, 350
# Dye lots by use and primary key of the yarn.
DyeLots = dict[tuple[str, int], str]


@dataclass(frozen=True)
class Need:
    """Grams of a yarn that one warp takes."""

    warp: Warp
    use: str
    grams: int


@dataclass
class DyeLot:
    """Yarn of one dye lot, and the lots that it came in.

    needs        of the warps that were woven of it
    meant_for    needs of warps that are still ahead
    """

    yarn: Yarn
    grams: int
    received_on: date
    needs: list[Need] = field(default_factory=list)
    meant_for: list[Need] = field(default_factory=list)
    lots: list[YarnLot] = field(default_factory=list)
    delivery: Delivery | None = None


def build(
    story: Story,
    past: Sequence[tuple[Warp, PastWarp]],
    ahead: Sequence[Warp],
    sure: set[int],
) -> dict[int, DyeLots]:
    """Lots, deliveries and the ledger, up to the day from which the floor is worked.

    Returns the dye lots that each warp ahead is to have, by its primary key.

    ahead    warps that are planned, those that come first in the loom first
    sure     primary keys of those among them that must have their yarn
    """
    store = _Store(story, {row.pk: warp for row, warp in past})
    store.plan_past(past)
    store.plan_ahead(ahead, sure)
    store.write_lots()
    store.expect()
    store.write_ledger()
    _inspect(story)
    return store.meant


def _needs(warps: Iterable[Warp]) -> dict[int, list[Need]]:
    """What the warps take, by yarn, in the order of the warps; warp and weft of one warp together."""
    order = {warp.pk: (n, warp) for n, warp in enumerate(warps)}
    found: dict[int, list[Need]] = defaultdict(list)
    rows = list(WarpYarn.objects.filter(warp__in=list(order)).order_by("use", "pk"))
    for row in sorted(rows, key=lambda row: order[row.warp_id][0]):
        found[row.yarn_id].append(Need(order[row.warp_id][1], row.use, row.issue_g))
    return found


class _Store:
    def __init__(self, story: Story, past: dict[int, PastWarp]) -> None:
        self.story, self.past = story, past
        self.dice = story.dice("store")
        self.winding = story.dice("winding")
        self.yarns = {yarn.pk: yarn for yarn in Yarn.objects.select_related("supplier").order_by("pk")}
        self.places = {place.code: place for place in Place.objects.all()}
        self.dye_lots: list[DyeLot] = []
        self.short: list[Yarn] = []
        # What each lot was received with.
        self.grams: dict[str, int] = {}

    # What there was and is to be

    def plan_past(self, past: Sequence[tuple[Warp, PastWarp]]) -> None:
        """Dye lots that the past was woven of: a few warps each, bought some weeks before the first of them."""
        by_draw = sorted((row for row, _ in past), key=lambda row: (self.past[row.pk].drawn_on, row.pk))
        for yarn_id, needs in sorted(_needs(by_draw).items()):
            for group in _grouped(needs, most_g=self.dice.randint(90, 260) * KG):
                drawn_on = self.past[group[0].warp.pk].drawn_on
                self.dye_lots.append(
                    DyeLot(
                        self.yarns[yarn_id],
                        _round_up(sum(need.grams for need in group) * self.dice.uniform(1.03, 1.12)),
                        _workday(drawn_on - timedelta(days=self.dice.randint(14, 60))),
                        group,
                    )
                )

    def plan_ahead(self, ahead: Sequence[Warp], sure: set[int]) -> None:
        """Dye lots that the warps ahead are woven of; of a few yarns they don't suffice."""
        needs = _needs(ahead)
        for of_yarn in needs.values():
            # Those that must have it come before the others, and so into the larger dye lots.
            of_yarn.sort(key=lambda need: need.warp.pk not in sure)
        self.short = self._short_ones(needs, sure)
        for yarn_id in sorted(self.yarns):
            yarn, of_yarn = self.yarns[yarn_id], needs.get(yarn_id, [])
            if yarn in self.short:
                of_yarn = [need for need in of_yarn if need.warp.pk in sure]
            for group in _grouped(of_yarn, most_g=self.dice.randint(180, 320) * KG):
                more = self.dice.uniform(1.04, 1.2) if yarn in self.short else self.dice.uniform(1.08, 1.5)
                self.dye_lots.append(
                    DyeLot(
                        yarn,
                        _round_up(sum(need.grams for need in group) * more),
                        self.story.workday(self.dice.randint(FLOOR_FROM + 3, 75)),
                        meant_for=group,
                    )
                )
            if not of_yarn:
                grams = self.dice.randint(3, 9 if yarn in self.short else 45) * KG
                self.dye_lots.append(DyeLot(yarn, grams, self.story.workday(self.dice.randint(40, 150))))

    def _short_ones(self, needs: dict[int, list[Need]], sure: set[int]) -> list[Yarn]:
        """Yarns that warps which may wait take most of."""
        may_wait = {
            yarn_id: sum(need.grams for need in of_yarn if need.warp.pk not in sure)
            for yarn_id, of_yarn in needs.items()
        }
        most = sorted(may_wait, key=lambda yarn_id: (-may_wait[yarn_id], yarn_id))
        most = [yarn_id for yarn_id in most if may_wait[yarn_id]]
        return [self.yarns[yarn_id] for yarn_id in most[: SHORT_YARNS * min(self.story.size, 3)]]

    @property
    def meant(self) -> dict[int, DyeLots]:
        found: dict[int, DyeLots] = defaultdict(dict)
        for dye_lot in self.dye_lots:
            for need in dye_lot.meant_for:
                found[need.warp.pk][need.use, dye_lot.yarn.pk] = dye_lot.lots[0].dye_lot
        return found

    # Lots and deliveries

    def write_lots(self) -> None:
        self.dye_lots.sort(key=lambda lot: (lot.received_on, lot.yarn.pk))
        deliveries: list[Delivery] = []
        for n, dye_lot in enumerate(self.dye_lots, start=1):
            if self.dice.random() < 0.5:
                expected_on = dye_lot.received_on + timedelta(days=self.dice.choice((-6, -3, -1, 0, 0, 0, 1, 2)))
                dye_lot.delivery = self._delivery(
                    f"D{400 + n}", dye_lot.yarn, _round_up(dye_lot.grams, 5_000), expected_on, is_closed=True
                )
                deliveries.append(dye_lot.delivery)
        bulk_create_with_history(deliveries, Delivery, batch_size=200, default_user=self.story.by)
        numbers = count(1001)
        dyes: dict[str, Iterator[int]] = defaultdict(lambda: count(self.dice.randint(11, 40) * 10))
        rows: list[YarnLot] = []
        for dye_lot, n_lots in zip(self.dye_lots, self._how_many_each(), strict=True):
            kind = dye_lot.yarn.code.partition("-")[0]
            name = f"{kind[0]}{next(dyes[kind])}"
            home = next(one.place for one in names.RANGES if one.code == kind)
            for grams in _in_bags(dye_lot.grams, n_lots, self.dice):
                place = home if self.dice.random() < 0.8 else self.dice.choice(list(self.places))
                lot = YarnLot(
                    label=f"L{next(numbers)}",
                    yarn=dye_lot.yarn,
                    dye_lot=name,
                    place=self.places[place],
                    received_on=dye_lot.received_on,
                    delivery=dye_lot.delivery,
                    packages=-(-grams // KG),
                    weighed_g=grams,
                    gross_g=grams + CONE_G * -(-grams // KG) + BAG_G,
                )
                self.grams[lot.label] = grams
                dye_lot.lots.append(lot)
                rows.append(lot)
        bulk_create_with_history(rows, YarnLot, batch_size=500, default_user=self.story.by)

    def _how_many_each(self) -> list[int]:
        """Lots that each dye lot came in: together just as many as there are to be, the larger the more."""
        wanted = LOTS * self.story.size
        assert wanted >= len(self.dye_lots), f"{len(self.dye_lots)} dye lots in {wanted} lots"
        counts = [1] * len(self.dye_lots)
        for _ in range(wanted - len(counts)):
            largest = max(range(len(counts)), key=lambda n: self.dye_lots[n].grams / counts[n])
            counts[largest] += 1
        return counts

    def expect(self) -> None:
        """Deliveries that are promised; two of them have come in part, three should have come."""
        others = [yarn for yarn in self.yarns.values() if yarn not in self.short]
        self.dice.shuffle(others)
        # Of the short ones two come after they are needed; nobody has ordered the rest.
        yarns = [*self.short[:2], *others]
        days = [EXPECTED_IN[-2], EXPECTED_IN[-1], *EXPECTED_IN[:-2]]
        rows = []
        for turn in range(self.story.size):
            for n, (days_ahead, yarn) in enumerate(zip(days, yarns[turn * 2 :], strict=False)):
                rows.append(
                    self._delivery(
                        f"E{101 + turn * len(days) + n}",
                        yarn,
                        max(yarn.min_order_g, self.dice.randint(2, 9) * 10 * KG),
                        self.story.on + timedelta(days=days_ahead),
                        is_closed=False,
                    )
                )
        bulk_create_with_history(rows, Delivery, batch_size=200, default_user=self.story.by)
        self._come_in_part(rows[4:6])

    def _come_in_part(self, deliveries: Sequence[Delivery]) -> None:
        """The last lot of the yarn that came without a delivery belongs to this one."""
        for delivery in deliveries:
            found = [
                lot
                for dye_lot in self.dye_lots
                if dye_lot.yarn == delivery.yarn and dye_lot.delivery is None
                for lot in dye_lot.lots
            ]
            if not found:
                continue
            lot = max(found, key=lambda lot: (lot.received_on, lot.pk))
            delivery.ordered_g += self.grams[lot.label]
            delivery.save(update_fields=["ordered_g"])
            YarnLot.objects.filter(pk=lot.pk).update(delivery=delivery)

    def _delivery(self, number: str, yarn: Yarn, grams: int, expected_on: date, *, is_closed: bool) -> Delivery:
        lead_days = yarn.supplier.lead_time_days if yarn.supplier else 28
        return Delivery(
            number=number,
            yarn=yarn,
            supplier=yarn.supplier,
            ordered_g=grams,
            ordered_on=expected_on - timedelta(days=lead_days),
            expected_on=expected_on,
            is_closed=is_closed,
        )

    # The ledger

    def write_ledger(self) -> None:
        book = _Book(self.story)
        for dye_lot in self.dye_lots:
            for lot in dye_lot.lots:
                book.plan(dye_lot.received_on, 0, partial(book.receive, lot, self.grams[lot.label]))
            for need in dye_lot.needs:
                self._plan_warp(book, dye_lot, need)
            self._plan_odds(book, dye_lot)
        self._plan_stock_takes(book)
        book.write()

    def _plan_warp(self, book: "_Book", dye_lot: DyeLot, need: Need) -> None:
        """Held two days before it is drawn; the weft drawn when the loom is gaited; part cones come back from both."""
        past = self.past[need.warp.pk]
        drawn_on = past.drawn_on if need.use == WarpYarn.WARP else past.begun_on
        held: list[tuple[YarnLot, Reservation, int]] = []
        book.plan(past.drawn_on - timedelta(days=2), 3, lambda: held.extend(book.hold(dye_lot, need)))
        book.plan(drawn_on, 5, partial(book.draw, held, need))
        if need.use == WarpYarn.WARP and self.winding.random() < 0.7:
            grams = round(need.grams * self.winding.uniform(0.002, 0.012))
            book.plan(_workday(drawn_on + timedelta(days=1)), 6, partial(book.come_back, held, grams))
        if need.use == WarpYarn.WEFT and need.grams > 4 * KG and self.dice.random() < 0.6:
            grams = round(need.grams * self.dice.uniform(0.004, 0.03))
            came_on = min(past.out_on + timedelta(days=1), self.story.ago(FLOOR_FROM + 1))
            book.plan(came_on, 6, partial(book.come_back, held, grams))

    def _plan_odds(self, book: "_Book", dye_lot: DyeLot) -> None:
        """What happens to a lot besides: it is moved, a sample is drawn, a rest is swept up."""
        last = self.story.ago(FLOOR_FROM + 1)
        begun = dye_lot.received_on + timedelta(days=1)
        days = (last - begun).days
        if days < 2:
            return
        for lot in dye_lot.lots:
            if self.dice.random() < 0.22:
                to = self.places[self.dice.choice(list(self.places))]
                book.plan(begun + timedelta(days=self.dice.randint(0, days)), 1, partial(book.move, lot, to))
        lot = dye_lot.lots[-1]
        if self.dice.random() < 0.15:
            grams = self.dice.randint(8, 45) * 10
            day = begun + timedelta(days=self.dice.randint(0, days))
            book.plan(day, 7, partial(book.sample, lot, grams))
        if self.dice.random() < 0.05:
            grams = self.dice.choice((-120, -60, 40, 150))
            day = begun + timedelta(days=self.dice.randint(0, days))
            book.plan(day, 7, partial(book.correct, lot, grams))
        if dye_lot.needs:
            used_up = max(self.past[need.warp.pk].out_on for need in dye_lot.needs) + timedelta(days=4)
            if used_up < last and self.dice.random() < 0.7:
                book.plan(
                    min(used_up + timedelta(days=self.dice.randint(0, 30)), last),
                    8,
                    partial(book.sweep_up, dye_lot.lots),
                )

    def _plan_stock_takes(self, book: "_Book") -> None:
        for days_ago, place in zip(STOCK_TAKES_AGO, sorted(self.places), strict=False):
            day = self.story.workday(days_ago)
            book.plan(day, 9, partial(book.count_place, self.places[place], self.dice))


class _Book:
    """The ledger as it grows: what is to happen on which day, and what each lot has by then."""

    def __init__(self, story: Story) -> None:
        self.story = story
        self.plans: dict[date, list[tuple[int, int, Callable[[], object]]]] = defaultdict(list)
        self.balances: dict[int, Balance] = {}
        self.place_of: dict[int, Place] = {}
        self.lots: dict[int, YarnLot] = {}
        self.numbers = count(1)
        self.cones: Counter[int] = Counter()
        self.lines: list[Movement] = []
        self.holds: list[WarpHold] = []

    def plan(self, day: date, order: int, do: Callable[[], object]) -> None:
        """Whatever is done on the same day is done in this order."""
        self.plans[day].append((order, next(self.numbers), do))

    def write(self) -> None:
        for day in sorted(self.plans):
            with clock_at(day, 15):
                for _, _, do in sorted(self.plans[day], key=lambda plan: plan[:2]):
                    do()
                Movement.objects.bulk_create(self.lines, batch_size=500)
                WarpHold.objects.bulk_create(self.holds, batch_size=500)
            self.lines, self.holds = [], []

    # Each by the rule of its kind

    def _line(self, lot: YarnLot, change: Change, **facts: Any) -> None:
        before = self.balances.get(lot.pk, Balance())
        after = ledger.follow(before, change)
        self.balances[lot.pk] = after
        # Part cones are counted as whole ones, so more may seem to go than there are; with yarn left, one is.
        cones, gone = self.cones[lot.pk], facts.pop("packages_change", 0)
        gone = -cones if after.on_hand_g == 0 else max(gone, 1 - cones)
        self.cones[lot.pk] += gone
        self.lines.append(
            Movement(
                lot=lot,
                seq=after.seq,
                kind=change.kind,
                change_g=change.change_g,
                held_change_g=change.held_change_g,
                on_hand_after_g=after.on_hand_g,
                held_after_g=after.held_g,
                key=f"candlebeck {next(self.numbers)}",
                by=self.story.by,
                packages_change=gone,
                **facts,
            )
        )

    def receive(self, lot: YarnLot, grams: int) -> None:
        assert lot.place is not None
        self.lots[lot.pk], self.place_of[lot.pk] = lot, lot.place
        change = ledger.receive(Balance(), grams, lot=lot.label)
        self._line(
            lot,
            change,
            packages_change=lot.packages,
            place_to=lot.place,
            document=lot.delivery.number if lot.delivery else "",
        )

    def hold(self, dye_lot: DyeLot, need: Need) -> list[tuple[YarnLot, Reservation, int]]:
        held = []
        left_g, for_what = need.grams, f"{need.warp}, {need.use} yarn"
        for lot in dye_lot.lots:
            grams = min(left_g, self.balances[lot.pk].available_g)
            if not grams:
                continue
            left_g -= grams
            reservation = Reservation.objects.create(lot=lot, for_what=for_what, by=self.story.by)
            change = ledger.hold(self.balances[lot.pk], grams, lot=lot.label, for_what=for_what)
            self._line(lot, change, reservation=reservation)
            self.holds.append(
                WarpHold(
                    warp=need.warp,
                    yarn=dye_lot.yarn,
                    use=need.use,
                    reservation=reservation,
                    drawn_g=grams,
                    is_drawn=True,
                )
            )
            held.append((lot, reservation, grams))
        assert left_g == 0, f"{left_g} g of {dye_lot.yarn} are wanting for {need.warp}"
        return held

    def draw(self, held: Sequence[tuple[YarnLot, Reservation, int]], need: Need) -> None:
        for lot, reservation, grams in held:
            change = ledger.draw(
                self.balances[lot.pk], grams, remaining_g=grams, lot=lot.label, for_what=reservation.for_what
            )
            self._line(
                lot, change, reservation=reservation, document=str(need.warp), packages_change=-(-grams // KG) * -1
            )

    def come_back(self, held: Sequence[tuple[YarnLot, Reservation, int]], grams: int) -> None:
        lot, reservation, drawn_g = held[-1]
        grams = min(grams, drawn_g)
        change = ledger.come_back(
            self.balances[lot.pk], grams, at_most_g=drawn_g, lot=lot.label, out_of=reservation.for_what
        )
        self._line(lot, change, reservation=reservation, packages_change=-(-grams // KG), reason="Part cones.")

    def move(self, lot: YarnLot, to: Place) -> None:
        was = self.place_of[lot.pk]
        if was == to or not self.balances[lot.pk].on_hand_g:
            return
        self.place_of[lot.pk] = to
        YarnLot.objects.filter(pk=lot.pk).update(place=to)
        self._line(lot, Change(ledger.MOVE), place_from=was, place_to=to)

    def sample(self, lot: YarnLot, grams: int) -> None:
        balance = self.balances[lot.pk]
        # Little enough that no warp goes short of it.
        if balance.available_g < balance.on_hand_g or balance.available_g < 100 * grams:
            return
        reservation = Reservation.objects.create(lot=lot, for_what="A sample", by=self.story.by)
        self._line(lot, ledger.hold(balance, grams, lot=lot.label, for_what="A sample"), reservation=reservation)
        change = ledger.draw(self.balances[lot.pk], grams, remaining_g=grams, lot=lot.label, for_what="A sample")
        self._line(lot, change, reservation=reservation, document="Sample")

    def correct(self, lot: YarnLot, grams: int) -> None:
        balance = self.balances[lot.pk]
        # As little as a sample, for the same reason.
        if balance.available_g < 100 * abs(grams):
            return
        change = ledger.correct(balance, to_g=balance.on_hand_g + grams, lot=lot.label)
        self._line(lot, change, reason="Cone weights were taken for the wrong cones.")

    def sweep_up(self, lots: Sequence[YarnLot]) -> None:
        """Rests that are of no use leave the book."""
        for lot in lots:
            balance = self.balances[lot.pk]
            if balance.held_g or not 0 < balance.on_hand_g < 1_500:
                continue
            if balance.on_hand_g > 400:
                change = ledger.waste(balance, balance.on_hand_g, lot=lot.label)
                self._line(lot, change, reason="Moth-grazed ends, swept up.")
            else:
                change = ledger.correct(balance, to_g=0, lot=lot.label)
                self._line(lot, change, reason="Nothing is left of it.")

    def count_place(self, place: Place, dice: Random) -> None:
        """A stock-take: the scales find what the book has, or a few grams less."""
        for pk, balance in sorted(self.balances.items()):
            if self.place_of[pk] != place or not balance.on_hand_g:
                continue
            # Less than what each dye lot was bought beyond its needs.
            off_g = dice.choice((0, 0, 0, -20, -40, 30, -90)) if balance.on_hand_g > 20 * KG else 0
            to_g = max(balance.held_g, balance.on_hand_g + off_g)
            change = ledger.correct(balance, to_g=to_g, lot=self.lots[pk].label, kind=ledger.COUNT)
            self._line(self.lots[pk], change, reason=f"Weighed {ledger.written(to_g)}. Stock-take.")


def _grouped(needs: Sequence[Need], *, most_g: int) -> list[list[Need]]:
    """Needs of successive warps together, as far as they come to no more than this; those of a warp never parted."""
    groups: list[list[Need]] = []
    by_warp: dict[int, list[Need]] = {}
    for need in needs:
        by_warp.setdefault(need.warp.pk, []).append(need)
    so_far = 0
    for of_warp in by_warp.values():
        grams = sum(need.grams for need in of_warp)
        if not groups or so_far + grams > most_g:
            groups.append([])
            so_far = 0
        groups[-1] += of_warp
        so_far += grams
    return groups


def _round_up(grams: float, step: int = 500) -> int:
    return -(-round(grams) // step) * step


def _workday(day: date) -> date:
    return day - timedelta(days=max(0, day.weekday() - 4))


def _in_bags(grams: int, n: int, dice: Random) -> list[int]:
    """A dye lot in so many lots, nearly alike, in tens of grams but for the last."""
    shares = [dice.uniform(0.85, 1.15) for _ in range(n)]
    bags = [int(grams * share / sum(shares)) // 10 * 10 for share in shares[:-1]]
    return [*bags, grams - sum(bags)]


def _inspect(story: Story) -> None:
    """Every place is looked over once a month; in the dark ones something is found now and then."""
    dice = story.dice("inspections")
    numbers, rows = count(1), []
    for place in Place.objects.order_by("code"):
        days_ago = dice.randint(2, 26)
        while days_ago < DAYS_OF_PAST:
            moths = dice.choice((0, 0, 1, 2)) if place.is_dark else 0
            rows.append(
                Inspection(
                    place=place,
                    on=story.workday(days_ago),
                    webbing_moths=moths if dice.random() < 0.8 else 0,
                    larvae=1 if moths == 2 and dice.random() < 0.5 else 0,
                    beetles=dice.choice((0, 0, 0, 0, 1)) if place.is_dark else 0,
                    note="Racks drawn out and swept." if dice.random() < 0.3 else "",
                    by=story.by,
                    key=f"candlebeck {next(numbers)}",
                )
            )
            days_ago += dice.randint(24, 33)
    Inspection.objects.bulk_create(rows)


def all_yarns_changed() -> None:
    """Every outlook is worked out from what there is by now."""
    services.yarns_changed(Yarn.objects.values_list("pk", flat=True))
