"""A mill full of work, built fast: a few cloths worked out once, their figures copied to as many warps as are asked for."""

import random
from datetime import date, timedelta
from decimal import Decimal

from django.db import transaction

from inventory import services as inventory
from mill import jobs
from planning.models import Loom, OrderLine, Warp, WarpFigures, WarpPart, WarpYarn
from planning.services import working_out
from tests.make import (
    make_beam,
    make_cloth,
    make_customer,
    make_line,
    make_loom,
    make_order,
    make_spec,
    make_warp,
    make_yarn,
)

NAMES = [
    "Harrow check",
    "Fell twill",
    "Saltmarsh",
    "Cairn coating",
    "Bracken plaid",
    "Lowmoor",
    "Gill serge",
    "Scar tweed",
]
CUSTOMERS = ["Tarn & Daughters", "Ellery", "Brook House", "Penhale", "Oddfield Drapers"]


def make_busy_mill(
    *, looms: int, warps: int, starts: date, planner=None, days_between: float = 1.0, cloths: int = 8, seed: int = 7
):
    """looms of three widths, warps of some cloths due one after another from four weeks on; yarn for all of it."""
    chance = random.Random(seed)
    for n in range(looms):
        make_loom(
            code=f"{n + 1}",
            kind=("Dobby rapier", "Power shuttle", "Wide rapier")[n % 3],
            reed_space_cm=Decimal(("200", "190", "240")[n % 3]),
            ppm=(260, 180, 220)[n % 3],
        )
    beam = make_beam()
    customers = [make_customer(name=name) for name in CUSTOMERS]
    patterns = []
    for n, name in enumerate(NAMES[:cloths]):
        yarn = make_yarn(name=f"{name} yarn")
        inventory.receive(
            yarn=yarn,
            grams=90_000_000,
            label=f"S{yarn.pk}",
            dye_lot="D1",
            received_on=starts - timedelta(60),
            by=planner,
        )
        reed = Decimal(("42.300", "50.000", "38.000")[n % 3])
        spec = make_spec(cloth=make_cloth(name=name), yarns={"A": yarn, "B": yarn}, reed_dents_per_10cm=reed)
        patterns.append(make_warp(spec=spec, lines=[make_line(spec=spec, length_m=Decimal(40 + 10 * n))], beam=beam))
    with transaction.atomic():
        working_out.warps_changed([warp.pk for warp in patterns])
    jobs.settle()
    figures = {warp.pk: WarpFigures.objects.get(warp=warp) for warp in patterns}
    yarns = {warp.pk: list(warp.yarns.all()) for warp in patterns}
    parts = {warp.pk: warp.parts.select_related("line", "spec").get() for warp in patterns}
    orders = {customer.pk: make_order(customer=customer) for customer in customers}
    first = max(Warp.objects.values_list("number", flat=True)) + 1
    made, lines, of = [], [], []
    for n in range(warps):
        pattern = chance.choice(patterns)
        customer = chance.choice(customers)
        line = parts[pattern.pk].line
        lines.append(
            OrderLine(
                order=orders[customer.pk],
                position=n + 1,
                cloth=line.cloth,
                colourway=line.colourway,
                pieces=line.pieces,
                length_m=line.length_m,
                due_on=starts + timedelta(28 + int(n * days_between) + chance.randrange(10)),
                weight=chance.choice([1, 1, 2, 3]),
                state=OrderLine.ON_A_WARP,
            )
        )
        made.append(Warp(number=first + n, state=Warp.WOUND, beam=beam))
        of.append(pattern.pk)
    OrderLine.objects.bulk_create(lines)
    Warp.objects.bulk_create(made)
    WarpPart.objects.bulk_create(
        WarpPart(warp=warp, position=1, line=line, spec=parts[pk].spec, pieces=line.pieces)
        for warp, line, pk in zip(made, lines, of, strict=True)
    )
    columns = working_out.FIGURE_COLUMNS
    WarpFigures.objects.bulk_create(
        WarpFigures(warp=warp, **{name: getattr(figures[pk], name) for name in columns})
        for warp, pk in zip(made, of, strict=True)
    )
    WarpYarn.objects.bulk_create(
        WarpYarn(
            warp=warp,
            yarn_id=need.yarn_id,
            use=need.use,
            length_m=need.length_m,
            net_g=need.net_g,
            issue_g=need.issue_g,
        )
        for warp, pk in zip(made, of, strict=True)
        for need in yarns[pk]
    )
    Warp.objects.filter(pk__in=[warp.pk for warp in patterns]).delete()
    # One in three looms is at work already.
    for loom, warp in zip(Loom.objects.order_by("pk")[::3], made[:looms], strict=False):
        Warp.objects.filter(pk=warp.pk).update(state=Warp.WEAVING, loom=loom, picks_woven=1000)
    return made
