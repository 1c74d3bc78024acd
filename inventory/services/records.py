"""Records that people edit: yarns, deliveries, suppliers, places, fibres."""

from collections.abc import Iterable, Mapping
from decimal import Decimal

from inventory.models import Delivery, Fibre, Place, Supplier, Yarn, YarnFibre
from inventory.services.outlooks import yarns_changed
from inventory.services.verb import save, verb
from mill import jobs
from mill.refusal import Refusal

# The planning side works out again the warps that use a changed yarn. It is known here by the name of its task only.
YARN_CHANGED = "planning.yarn_changed"
# What of a yarn a warp is worked out from, or shows.
YARN_OF_WARPS = {"code", "name", "colour", "count_tex", "spinning"}


@verb
def write_record(*, row: Supplier | Place | Fibre, changed: Iterable[str]) -> None:
    """A supplier, place or fibre as the form has it.

    changed    names of the columns that differ from what stands; of a new row all are written
    """
    was_new, columns = row.pk is None, set(changed)
    save(row, columns)
    if isinstance(row, Supplier) and not was_new and "lead_time_days" in columns:
        yarns_changed(Yarn.objects.filter(supplier=row).values_list("pk", flat=True))


@verb
def write_yarn(*, yarn: Yarn, changed: Iterable[str], shares: Mapping[Fibre, Decimal]) -> None:
    """A yarn as the form has it, with its fibres; what hangs on it is worked out again.

    shares    percent of the mass by fibre; together 100, or none
    """
    together = sum(shares.values(), Decimal(0))
    if shares and together != 100:
        raise Refusal(
            f"The fibres of {yarn} come to {together.normalize():f} %, not to 100 %. Change a share, or leave all out."
        )
    was_new, columns = yarn.pk is None, set(changed)
    save(yarn, columns)
    YarnFibre.objects.filter(yarn=yarn).exclude(fibre__in=shares).delete()
    YarnFibre.objects.bulk_create(
        [YarnFibre(yarn=yarn, fibre=fibre, share_pct=share_pct) for fibre, share_pct in shares.items()],
        update_conflicts=True,
        unique_fields=["yarn", "fibre"],
        update_fields=["share_pct"],
    )
    yarns_changed([yarn.pk])
    if not was_new and columns & YARN_OF_WARPS:
        jobs.ask(YARN_CHANGED, {"yarn": yarn.pk}, same_as=f"{YARN_CHANGED}:{yarn.pk}")


@verb
def write_delivery(*, delivery: Delivery, changed: Iterable[str]) -> None:
    """A delivery as the form has it; the yarn it is of, and was of, are worked out again."""
    columns = set(changed)
    yarns = {delivery.yarn_id}
    if delivery.pk is not None:
        was = Delivery.objects.select_for_update().get(pk=delivery.pk)
        yarns.add(was.yarn_id)
        n_lots = was.lots.count() if was.yarn_id != delivery.yarn_id else 0
        if n_lots:
            raise Refusal(
                f"Delivery {was} has brought {n_lots} lot{'s' * (n_lots > 1)} of {was.yarn}: it can't be of"
                f" {delivery.yarn}. Write another delivery.",
                field="yarn",
            )
    save(delivery, columns)
    yarns_changed(yarns)
