"""Records that people edit: yarns, deliveries, suppliers, places, fibres, traps."""

from collections.abc import Iterable, Mapping
from decimal import Decimal
from typing import Any, TypeVar

from inventory.models import Delivery, Fibre, Place, Supplier, Trap, Yarn, YarnFibre
from inventory.services.outlooks import yarns_changed
from inventory.services.verb import own_key, save, verb, written_before
from inventory.yarn import REGAINS, plain
from mill import changes, jobs, meanwhile
from mill.refusal import N_, Refusal
from mill.templatetags.mill import num

# The planning side works out again the warps that use a changed yarn. It is known here by the name of its task only.
YARN_CHANGED = "planning.yarn_changed"
# What of a yarn a warp is worked out from, or shows.
YARN_OF_WARPS = {"code", "name", "colour", "count_tex", "spinning"}


Record = TypeVar("Record", Supplier, Place, Fibre, Trap)


@verb
def write_record(*, row: Record, changed: Iterable[str], by: Any, key: str = "", seen: str | None = None) -> Record:
    """A supplier, place, fibre or trap as the form has it.

    changed    names of the columns that differ from what stands; of a new row all are written
    key        of a new row: sent again, it is the same row
    seen       the version that was changed; refused when another stands
    """
    meanwhile.unmoved(row, seen)
    was_new, columns = row.pk is None, set(changed)
    if was_new and (before := written_before(row, key)):
        return before
    save(row, columns, by=by)
    if isinstance(row, Supplier) and not was_new and "lead_time_days" in columns:
        yarns_changed(Yarn.objects.filter(supplier=row).values_list("pk", flat=True))
    return row


# Keratin and silk, which moth larvae eat; of the tables' fibres. Common practice, no source.
EATEN = ("wool", "hair", "silk", "protein")


@verb
def write_fibres_of(*, authority: str, by: Any) -> list[Fibre]:
    """The fibres of a table of regains that the mill has not got yet, each with its regain; twice is once.

    authority    as the table names itself: EU 1007/2011 annex IX, ASTM D1909

    Raises Refusal for a table that we don't have.
    """
    rows = [regain for regain in REGAINS.values() if regain.authority.startswith(authority)] if authority else []
    if not rows:
        known = sorted({regain.authority.partition(" [")[0] for regain in REGAINS.values()})
        raise Refusal(
            N_("There is no table “%(table)s” here. Choose %(others)s or %(last)s."),
            field="authority",
            table=authority[:40],
            others=", ".join(known[:-1]),
            last=known[-1],
        )
    there = set(Fibre.objects.values_list("name", flat=True))
    written = []
    for regain in rows:
        if regain.fibre in there:
            continue
        fibre = Fibre(
            name=regain.fibre,
            is_protein=any(word in regain.fibre for word in EATEN),
            regain_pct=regain.regain_pct,
            regain_authority=regain.authority,
        )
        fibre.key = own_key("")
        save(fibre, (), by=by)
        written.append(fibre)
    return written


@verb
def write_yarn(
    *,
    yarn: Yarn,
    changed: Iterable[str],
    shares: Mapping[Fibre, Decimal],
    by: Any,
    key: str = "",
    seen: str | None = None,
) -> Yarn:
    """A yarn as the form has it, with its fibres; what hangs on it is worked out again.

    shares    percent of the mass by fibre; together 100, or none
    key       of a new yarn: sent again, it is the same yarn
    seen      the version that was changed; refused when another stands
    """
    meanwhile.unmoved(yarn, seen)
    together = sum(shares.values(), Decimal(0))
    if shares and together != 100:
        raise Refusal(
            N_("The fibres of %(yarn)s come to %(pct)s %%, not to 100 %%. Change a share, or leave all out."),
            yarn=yarn,
            pct=Decimal(plain(together)),
        )
    was_new, columns = yarn.pk is None, set(changed)
    if was_new and (before := written_before(yarn, key)):
        had = {share.fibre: share.share_pct for share in before.shares.select_related("fibre")}
        if had != dict(shares):
            raise Refusal(
                N_(
                    "This has been written down already, as %(yarn)s with other fibres. Load the page again and write"
                    " it afresh."
                ),
                field="key",
                yarn=before,
            )
        return before
    save(yarn, columns, by=by)
    _write_shares(yarn, shares, is_new=was_new, by=by)
    yarns_changed([yarn.pk])
    if not was_new and columns & YARN_OF_WARPS:
        jobs.ask(YARN_CHANGED, {"yarn": yarn.pk}, same_as=f"{YARN_CHANGED}:{yarn.pk}", by=by)
    return yarn


def _write_shares(yarn: Yarn, shares: Mapping[Fibre, Decimal], *, is_new: bool, by: Any) -> None:
    """Other fibres make another version of the yarn, though they are no columns of it."""
    had = {share.fibre: share.share_pct for share in yarn.shares.select_related("fibre")}
    if had == dict(shares):
        return
    YarnFibre.objects.filter(yarn=yarn).exclude(fibre__in=shares).delete()
    YarnFibre.objects.bulk_create(
        [YarnFibre(yarn=yarn, fibre=fibre, share_pct=share_pct) for fibre, share_pct in shares.items()],
        update_conflicts=True,
        unique_fields=["yarn", "fibre"],
        update_fields=["share_pct"],
    )
    if not is_new:
        said = ", ".join(f"{num(share_pct)} % {fibre}" for fibre, share_pct in shares.items()) or "none"
        changes.update(Yarn.objects.filter(pk=yarn.pk), by=by, why=f"Fibres: {said}", code=yarn.code)


@verb
def write_delivery(
    *, delivery: Delivery, changed: Iterable[str], by: Any, key: str = "", seen: str | None = None
) -> Delivery:
    """A delivery as the form has it; the yarn it is of, and was of, are worked out again.

    key     of a new delivery: sent again, it is the same delivery
    seen    the version that was changed; refused when another stands
    """
    meanwhile.unmoved(delivery, seen)
    columns = set(changed)
    yarns = {delivery.yarn_id}
    if delivery.pk is None and (before := written_before(delivery, key)):
        return before
    if delivery.pk is not None:
        was = Delivery.objects.select_for_update().get(pk=delivery.pk)
        yarns.add(was.yarn_id)
        n_lots = was.lots.count() if was.yarn_id != delivery.yarn_id else 0
        if n_lots:
            raise Refusal(
                N_(
                    "Delivery %(delivery)s has brought %(n)s lots of %(its)s: it can't be of %(yarn)s. Write another"
                    " delivery."
                )
                if n_lots > 1
                else N_(
                    "Delivery %(delivery)s has brought 1 lot of %(its)s: it can't be of %(yarn)s. Write another"
                    " delivery."
                ),
                field="yarn",
                delivery=was,
                n=n_lots,
                its=was.yarn,
                yarn=delivery.yarn,
            )
    save(delivery, columns, by=by)
    yarns_changed(yarns)
    return delivery
