"""The draw-down of a yarn by dye lot: from what is held for warps, and for the rest from the lots shared out to all."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass

from django.db.models import F, Sum
from django.utils import timezone

from inventory.drawdown import Dated, Drawdown
from inventory.dye_lots import UNNAMED, Draw, draw_down_by_dye_lot
from inventory.models import Delivery, Yarn, YarnDemand, YarnLot
from planning.models import Warp, WarpHold
from planning.services import lot_shares, warp_yarn
from planning.services.working_out import source_of

# Source of the demand and use: "warp:118", "weft".
Key = tuple[str, str]


@dataclass(frozen=True)
class DyeLot:
    """What becomes of a dye lot; `name` is empty for what nobody has named one for."""

    name: str
    on_hand_g: int
    held_g: int
    worked: Drawdown

    @property
    def left_g(self) -> int:
        """At the end of all that is planned."""
        return self.worked.days[-1].balance_g


def of_yarn(yarn: Yarn, *, late_by_days: int = 0) -> list[DyeLot]:
    """The dye lots of a yarn, oldest first. Written nowhere; a constant number of queries."""
    on_hand: dict[str, int] = defaultdict(int)
    held: dict[str, int] = defaultdict(int)
    lots = YarnLot.objects.filter(yarn=yarn).free_to_use().with_balance().filter(on_hand_g__gt=0)
    for dye_lot, on_hand_g, held_g in lots.order_by("received_on", "pk").values_list("dye_lot", "on_hand_g", "held_g"):
        on_hand[dye_lot] += on_hand_g
        held[dye_lot] += held_g
    open_deliveries = Delivery.objects.filter(yarn=yarn).open().order_by("expected_on", "pk")
    worked = draw_down_by_dye_lot(
        on_hand_g=on_hand,
        draws=_draws(yarn),
        deliveries=[
            (dye_lot, (on, grams, number))
            for dye_lot, on, grams, number in open_deliveries.values_list(
                "dye_lot", "expected_on", "outstanding_g", "number"
            )
        ],
        today=timezone.localdate(),
        late_by_days=late_by_days,
    )
    return [DyeLot(name, on_hand[name], held[name], one) for name, one in worked.items()]


def _draws(yarn: Yarn) -> list[Draw]:
    days: dict[Key, list[Dated]] = defaultdict(list)
    rows = YarnDemand.objects.filter(yarn=yarn).order_by("on", "label", "use", "grams", "source")
    for source, use, on, grams, label in rows.values_list("source", "use", "on", "grams", "label"):
        days[source, use].append((on, grams, label))
    of, rest = _held(yarn), _shared_out(yarn)
    return [
        Draw(
            days=tuple(of_need),
            of=(*of.get(key, ()), *rest[key].of) if key in rest else tuple(of.get(key, ())),
            rest=rest[key].rest if key in rest else UNNAMED,
        )
        for key, of_need in days.items()
    ]


def _held(yarn: Yarn) -> Mapping[Key, list[tuple[str, int]]]:
    """What is held of each dye lot for a need, in the order in which it was held."""
    found: dict[Key, list[tuple[str, int]]] = defaultdict(list)
    rows = (
        WarpHold.objects.filter(yarn=yarn, warp__in=Warp.objects.open())
        .annotate(left_g=Sum("reservation__movements__held_change_g"), dye_lot=F("reservation__lot__dye_lot"))
        .filter(left_g__gt=0)
        .select_related("warp")
        .order_by("pk")
    )
    for hold in rows:
        found[source_of(hold.warp), hold.use].append((hold.dye_lot, hold.left_g))
    return found


def _shared_out(yarn: Yarn) -> Mapping[Key, Draw]:
    """The dye lots proposed for what is still to be held; for a need that none can serve whole, the nearest."""
    found: dict[Key, Draw] = {}
    waiting, _ = lot_shares.waiting({yarn.pk})
    for decided in lot_shares.decide(waiting):
        for one in decided.waiting:
            place = decided.shared.place_of(warp_yarn.name_of(one.need))
            assert place is not None
            choice = decided.shared.choices[place]
            of = tuple((take.lot.dye_lot, take.grams) for take in choice.takes)
            found[source_of(one.need.warp), one.need.use] = Draw(days=(), of=of, rest=choice.nearest or UNNAMED)
    return found
