"""The store's care: inspections, treatments, the mill's own triggers, and what lies where for how long."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from typing import Any
from uuid import NAMESPACE_OID, uuid5

from django.db.models import Count, F, OuterRef, Prefetch, Subquery, Sum
from django.db.models.functions import TruncMonth
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory import store_care, treatment
from inventory.models import Inspection, Movement, Place, Trap, Treatment, YarnFibre, YarnLot
from inventory.services.lots import lock_lots, note_of_lot, quarantine, release_from_quarantine
from inventory.services.verb import WRITTEN_BEFORE, insert, own_key, said_as_a_refusal, verb
from mill import changes, meanwhile
from mill.models import Mill
from mill.refusal import N_, Refusal

# Kinds of line that mean that somebody had the lot in hand.
TOUCHES = (Movement.DRAW, Movement.RETURN, Movement.WASTE, Movement.MOVE, Movement.COUNT)


@verb
def write_triggers(*, mill: Mill, changed: Iterable[str], by: Any, seen: str | None = None) -> None:
    """The mill's own triggers for the care of the store.

    seen    the version of the mill's values that was changed; refused when another stands
    """
    meanwhile.unmoved(mill, seen)
    columns = [name for name in changed if name.startswith("store_")]
    with said_as_a_refusal():
        mill.full_clean(validate_unique=False)
    if Mill.objects.filter(pk=1).exists():
        changes.update(Mill.objects.filter(pk=1), by=by, **{name: getattr(mill, name) for name in columns})
    else:
        changes.written_by(mill, by)
        mill.save(force_insert=True)


@verb
def inspect(
    *,
    place: Place,
    on: date,
    by: Any,
    key: str = "",
    found: Mapping[str, int] | None = None,
    note: str = "",
    renewed: Collection[Trap] = (),
) -> Inspection:
    """Somebody looked a place over.

    found      counts by the columns of `store_care.SPECIES`; what is left out is none
    renewed    traps of the place whose lures were renewed
    """
    key, counts = own_key(key), {name: (found or {}).get(name, 0) for name, *_ in store_care.SPECIES}
    assert not set(found or {}) - set(counts)
    if before := Inspection.objects.filter(key=key).first():
        was = {name: getattr(before, name) for name in counts}
        if (before.place_id, before.on, was) == (place.pk, on, counts):
            return before
        raise Refusal(
            N_(
                "This has been written down already as the inspection of %(place)s on %(on)s. Load the page again and"
                " write it afresh."
            ),
            place=before.place,
            on=f"{before.on:%d.%m.%Y}",
        )
    _not_to_come(
        on,
        N_(
            "%(place)s can't have been looked over on %(on)s, which is after today, %(today)s. Write the day on which"
            " it was."
        ),
        field="on",
        place=place.code,
    )
    for trap in renewed:
        if trap.place_id != place.pk:
            raise Refusal(
                N_("Trap %(trap)s hangs in %(there)s, not in %(here)s. Renew it there."),
                trap=trap,
                there=trap.place.code,
                here=place.code,
            )
    inspection = Inspection(place=place, on=on, note=note, by=by, key=key, **counts)
    insert(inspection, by=by)
    # A lure that was renewed later, and written down first, stays as it is.
    late = Trap.objects.filter(pk__in=[trap.pk for trap in renewed], lure_renewed_on__lt=on)
    changes.update(late, by=by, lure_renewed_on=on)
    return inspection


def _not_to_come(on: date, no: str, *, field: str, **said: Any) -> None:
    today = timezone.localdate()
    if on > today:
        raise Refusal(no, on=f"{on:%d.%m.%Y}", today=f"{today:%d.%m.%Y}", field=field, **said)


# Treatments


@verb
def begin_treatment(
    *,
    way: str,
    began_on: date,
    by: Any,
    key: str = "",
    lots: Collection[YarnLot] = (),
    place: Place | None = None,
    target_core_c: Decimal | None = None,
    target_h: Decimal | None = None,
    done_by: str = "",
    note: str = "",
) -> Treatment:
    """Lots go into the freezer, or are heated; what of them was not in quarantine is so from now on.

    lots, place   either lots by name, or a place with all that lies in it
    """
    key = own_key(key)
    treatment.check_target(way, core_c=target_core_c, held_h=target_h)
    if treatment.WAYS[way].core_c is None:
        target_core_c = target_h = None
    facts = {
        "way": way,
        "began_on": began_on,
        "place_id": place.pk if place else None,
        "target_core_c": target_core_c,
        "target_h": target_h,
    }
    if before := Treatment.objects.filter(key=key).first():
        is_same_lots = place is not None or {lot.pk for lot in before.lots.all()} == {lot.pk for lot in lots}
        if is_same_lots and all(getattr(before, name) == value for name, value in facts.items()):
            return before
        raise Refusal(WRITTEN_BEFORE, before=before)
    _not_to_come(
        began_on,
        N_("It can't have begun on %(on)s, which is after today, %(today)s. Write the day on which it was."),
        field="began_on",
    )
    if place is not None:
        lots = list(place.lots.with_balance().filter(on_hand_g__gt=0))
    if not lots:
        if place is None:
            raise Refusal(
                N_("No lot is named: 0 lots would be treated. Choose the lots, or a place that holds some."),
                field="lots",
            )
        raise Refusal(
            N_("No yarn lies in %(place)s: 0 lots would be treated. Choose the lots, or a place that holds some."),
            place=place,
            field="lots",
        )
    row = Treatment(done_by=done_by, note=note, by=by, key=key, **facts)
    insert(row, by=by)
    row.lots.set(lots)
    core = "" if target_core_c is None else treatment.signed(target_core_c)
    held = "" if target_h is None else f"{target_h.normalize():f}"
    reason = treatment.WHY_BARRED[way] % {"number": row.pk, "core": core, "held": held}
    for lot in lock_lots(lot.pk for lot in lots):
        key_of_lot = uuid5(NAMESPACE_OID, f"{key}.{lot.pk}").hex
        if lot.is_quarantined:
            note_of_lot(lot, reason.replace(":", " began:", 1), by=by, key=key_of_lot)
        else:
            quarantine(lot=lot, reason=reason, by=by, key=key_of_lot)
    return row


@verb
def end_treatment(
    *,
    treatment: Treatment,
    ended_on: date,
    by: Any,
    core_c: Decimal | None = None,
    held_h: Decimal | None = None,
    measured_how: str = "",
    note: str = "",
) -> Treatment:
    """What the probe read. Each lot's life says whether that meets the figure in print; the lots stay in quarantine.

    core_c    the worst that the core had all the while: the warmest of a freezing, the coldest of a heating
    held_h    hours that it stayed so
    """
    row = Treatment.objects.select_for_update(of=("self",)).get(pk=treatment.pk)
    if row.ended_on:
        if (row.ended_on, row.core_c, row.held_h) == (ended_on, core_c, held_h):
            return row
        raise Refusal(
            N_("%(treatment)s was written down as over on %(on)s. Treat the lots again, if they need it."),
            treatment=row,
            on=f"{row.ended_on:%d.%m.%Y}",
        )
    _not_to_come(
        ended_on,
        N_("It can't have ended on %(on)s, which is after today, %(today)s. Write the day on which it was."),
        field="ended_on",
    )
    if ended_on < row.began_on:
        raise Refusal(
            N_("%(treatment)s began on %(began)s; it can't have ended on %(ended)s. Write a later day."),
            treatment=row,
            began=f"{row.began_on:%d.%m.%Y}",
            ended=f"{ended_on:%d.%m.%Y}",
            field="ended_on",
        )
    _not_longer_than_it_was(row, ended_on, held_h)
    row.ended_on, row.core_c, row.held_h, row.measured_how = ended_on, core_c, held_h, measured_how.strip()
    row.note = note.strip() or row.note
    with said_as_a_refusal():
        row.full_clean(exclude=["by", "key"], validate_unique=False)
    changes.written_by(row, by)
    row.save(update_fields=["ended_on", "core_c", "held_h", "measured_how", "note"])
    assert row.verdict is not None
    for lot in lock_lots(row.lots.values_list("pk", flat=True)):
        said = f"{row} over, {row.get_way_display()}: {row.verdict.said}"
        note_of_lot(lot, said, by=by, key=uuid5(NAMESPACE_OID, f"{row.key}.over.{lot.pk}").hex)
    return row


def _not_longer_than_it_was(row: Treatment, ended_on: date, held_h: Decimal | None) -> None:
    """Hours beyond both its days are a slip of the pen, and would meet a figure that nothing met."""
    starts, stops = (
        timezone.make_aware(datetime.combine(day, time())).astimezone(UTC)
        for day in (row.began_on, ended_on + timedelta(days=1))
    )
    most_h = (stops - starts) // timedelta(hours=1)
    if held_h is not None and held_h > most_h:
        raise Refusal(
            N_(
                "%(treatment)s was from %(began)s to %(ended)s, which is %(most)s h at most: its core can't have held"
                " for %(held)s h. Look at the hours, or at the day on which it was over."
            ),
            treatment=row,
            began=f"{row.began_on:%d.%m.%Y}",
            ended=f"{ended_on:%d.%m.%Y}",
            most=most_h,
            held=held_h.normalize(),
            field="held_h",
        )


@verb
def release_treated(*, treatment: Treatment, reason: str, by: Any, key: str) -> int:
    """All lots of a treatment that are in quarantine still may be used again; how many they were.

    One that was treated again since is let out by the later treatment.
    """
    lots = [lot for lot in lock_lots(treatment.barred_lots().values_list("pk", flat=True)) if lot.is_quarantined]
    for lot in lots:
        release_from_quarantine(
            lot=lot, reason=reason, treatment=treatment, by=by, key=uuid5(NAMESPACE_OID, f"{key}.{lot.pk}").hex
        )
    return len(lots)


def courses() -> list[store_care.Course]:
    """Treatments that ask for something, for `store_care`."""
    return [
        store_care.Course(
            label=row.called,
            what=_("%(way)s of %(lots)s") % {"way": _(row.get_way_display()), "lots": what_is_treated(row)},
            read_on=row.began_on + timedelta(treatment.days_to_read(row.target_h)),
            done_on=row.ended_on,
            pk=row.pk,
        )
        for row in Treatment.objects.open().select_related("place").prefetch_related("lots").order_by("pk")
    ]


def what_is_treated(row: Treatment) -> str:
    """In words: all of BAY-2, or lots L1 and L2. `row` has its lots and its place at hand."""
    if row.place:
        return _("all of %(place)s") % {"place": row.place.code}
    labels = [lot.label for lot in row.lots.all()]
    said = {"lots": ", ".join(labels[:3]), "n": len(labels) - 3}
    if len(labels) > 3:
        return _("lots %(lots)s and %(n)s more") % said
    return ngettext("lot %(lots)s", "lots %(lots)s", len(labels)) % said


def due_in_the_store(mill: Mill) -> list[store_care.Due]:
    """All that is due, today and later."""
    return due_of(shelves(), triggers(mill), today=timezone.localdate())


def due_of(shelves: list[store_care.Shelf], triggers: store_care.Triggers, *, today: date) -> list[store_care.Due]:
    """What is due in these places, and of treatments, in the language of whoever asks."""
    return store_care.what_is_due(shelves, triggers, today=today, courses=courses(), in_words=_)


def found_by_month(months: int) -> list[tuple[date, dict[str, int]]]:
    """What inspections found in each of the last months, by species; the latest month first."""
    first = timezone.localdate().replace(day=1)
    since = first
    for _month in range(months - 1):
        since = (since - timedelta(days=1)).replace(day=1)
    sums = {name: Sum(name) for name, *_ in store_care.SPECIES}
    rows: Any = (
        Inspection.objects.filter(on__gte=since)
        .order_by()
        .annotate(month=TruncMonth("on"))
        .values("month")
        .annotate(n=Count("pk"), **sums)
        .order_by("-month")
    )
    return [(row.pop("month"), dict(row)) for row in map(dict, rows)]


# What lies where


def triggers(mill: Mill) -> store_care.Triggers:
    return store_care.Triggers(
        every_days=mill.store_inspect_days,
        soon_days=mill.store_soon_days,
        unmoved_days=mill.store_unmoved_days,
        catch=mill.store_catch_trigger,
        lure_days=mill.store_lure_days,
    )


def sum_of_species() -> Any:
    """What an inspection found of all species together."""
    first, *others = (F(name) for name, *_ in store_care.SPECIES)
    return sum(others, start=first)


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
        found=Subquery(last.annotate(found=sum_of_species()).values("found")[:1]),
    ).prefetch_related(Prefetch("traps", Trap.objects.filter(is_hung=True).order_by("code")))
    return [
        store_care.Shelf(
            code=place.code,
            is_dark=place.is_dark,
            stored=tuple(stored[place.pk]),
            inspected_on=place.inspected_on,
            found=place.found or 0,
            traps=tuple(
                store_care.Hung(trap.code, trap.lure_renewed_on, _(trap.get_catches_display()), trap.pk)
                for trap in place.traps.all()
            ),
            name=place.name,
            pk=place.pk,
        )
        for place in places.order_by("code")
    ]
