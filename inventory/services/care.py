"""The store's care: inspections, the mill's own triggers, and what lies where for how long."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import date
from typing import Any

from django.db.models import OuterRef, Subquery
from django.utils import timezone

from inventory import store_care
from inventory.models import Inspection, Movement, Place, YarnFibre, YarnLot
from inventory.services.verb import insert, own_key, said_as_a_refusal, verb
from mill.models import Mill
from mill.refusal import Refusal

# Kinds of line that mean that somebody had the lot in hand.
TOUCHES = (Movement.DRAW, Movement.RETURN, Movement.WASTE, Movement.MOVE, Movement.COUNT)


@verb
def write_triggers(*, mill: Mill, changed: Iterable[str]) -> None:
    """The mill's own triggers for the care of the store."""
    columns = [name for name in changed if name.startswith("store_")]
    with said_as_a_refusal():
        mill.full_clean(validate_unique=False)
    if Mill.objects.filter(pk=1).exists():
        Mill.objects.filter(pk=1).update(**{name: getattr(mill, name) for name in columns})
    else:
        mill.save(force_insert=True)


@verb
def inspect(
    *,
    place: Place,
    on: date,
    by: Any,
    key: str = "",
    moths: int = 0,
    larvae: int = 0,
    beetles: int = 0,
    note: str = "",
    is_lure_renewed: bool = False,
) -> Inspection:
    """Somebody looked a place over."""
    key = own_key(key)
    if before := Inspection.objects.filter(key=key).first():
        if (before.place_id, before.on, before.moths, before.larvae, before.beetles) == (
            place.pk,
            on,
            moths,
            larvae,
            beetles,
        ):
            return before
        raise Refusal(
            f"This has been written down already as the inspection of {before.place} on {before.on:%d.%m.%Y}."
            " Load the page again and write it afresh."
        )
    if on > timezone.localdate():
        raise Refusal(
            f"{place.code} can't have been looked over on {on:%d.%m.%Y}, which is after today,"
            f" {timezone.localdate():%d.%m.%Y}. Write the day on which it was.",
            field="on",
        )
    inspection = Inspection(place=place, on=on, moths=moths, larvae=larvae, beetles=beetles, note=note, by=by, key=key)
    insert(inspection)
    if is_lure_renewed:
        Place.objects.filter(pk=place.pk).update(lure_renewed_on=on)
    return inspection


def triggers(mill: Mill) -> store_care.Triggers:
    return store_care.Triggers(
        every_days=mill.store_inspect_days,
        soon_days=mill.store_soon_days,
        unmoved_days=mill.store_unmoved_days,
        catch=mill.store_catch_trigger,
        lure_days=mill.store_lure_days,
    )


def shelves() -> list[store_care.Shelf]:
    """Every place with what lies in it, for `store_care`; a constant number of queries."""
    stored: dict[int, list[store_care.Stored]] = defaultdict(list)
    # A lot's first line may be written long after the lot came; what touched it after that was written as it happened.
    touched = Movement.objects.filter(lot=OuterRef("pk"), kind__in=TOUCHES, seq__gt=1).order_by("-seq")
    lots = (
        YarnLot.objects.filter(place__isnull=False)
        .with_balance()
        .filter(on_hand_g__gt=0)
        .annotate(touched_at=Subquery(touched.values("at")[:1]))
        .order_by("pk")
    )
    is_eaten: dict[int, bool] = {}
    for yarn_id, is_protein in YarnFibre.objects.values_list("yarn_id", "fibre__is_protein"):
        is_eaten[yarn_id] = is_eaten.get(yarn_id, False) or is_protein
    for label, place_id, yarn_id, touched_at, received_on, on_hand_g in lots.values_list(
        "label", "place_id", "yarn_id", "touched_at", "received_on", "on_hand_g"
    ):
        since = timezone.localtime(touched_at).date() if touched_at else received_on
        stored[place_id].append(store_care.Stored(label, is_eaten.get(yarn_id, True), since, on_hand_g))
    last = Inspection.objects.filter(place=OuterRef("pk")).order_by("-on", "-pk")
    places = Place.objects.annotate(
        inspected_on=Subquery(last.values("on")[:1]),
        moths=Subquery(last.values("moths")[:1]),
        larvae=Subquery(last.values("larvae")[:1]),
        beetles=Subquery(last.values("beetles")[:1]),
    )
    return [
        store_care.Shelf(
            code=place.code,
            is_dark=place.is_dark,
            stored=tuple(stored[place.pk]),
            inspected_on=place.inspected_on,
            found=(place.moths or 0) + (place.larvae or 0) + (place.beetles or 0),
            lure_renewed_on=place.lure_renewed_on,
            name=place.name,
            pk=place.pk,
        )
        for place in places.order_by("code")
    ]
