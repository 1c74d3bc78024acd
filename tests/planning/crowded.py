"""The fullest ticket the mill can print: the longest names, 16 shafts, 24 colours, three lines, eleven finishing steps."""

from datetime import date
from string import ascii_uppercase
from typing import Any

from django.db import transaction

from inventory import services as inventory
from mill import jobs
from planning.models import JobTicket, Warp, WarpHold
from planning.services import plans, tickets, working_out
from tests.make import (
    make_beam,
    make_cloth,
    make_colourway,
    make_customer,
    make_line,
    make_loom,
    make_order,
    make_place,
    make_spec,
    make_warp,
    make_yarn,
)

COLOURS = ascii_uppercase[:24]
ROUTE = (
    ("grey perch, burl and mend", "0", "0", "0"),
    ("scour", "6", "3", "8"),
    ("mill to width", "9", "4", "1"),
    ("wash off", "0", "0", "0"),
    ("hydro-extract", "0", "0", "0"),
    ("tenter and dry", "-2", "-1", "0"),
    ("raise, four runs", "0", "0", "1"),
    ("crop, three runs", "0", "0", "1"),
    ("press", "0", "0", "0"),
    ("decatise", "1", "1", "0"),
    ("final perch, measure and roll", "0", "0", "0"),
)


def hold(warp: Warp, by: Any) -> None:
    """All its yarn held, from one new lot a need, with names as long as a label takes them."""
    place = make_place(code="Loft, bay 14 east", name="Loft, fourteenth bay on the east side")
    for need in warp.yarns.select_related("yarn"):
        label = f"L26-{need.pk:05}-{need.use}"
        received = inventory.receive(
            yarn=need.yarn,
            grams=need.issue_g + 5000,
            label=label,
            dye_lot=f"dye lot {need.pk:06}",
            place=place,
            by=by,
        )
        reservation = inventory.reserve(lot=received.lot, grams=need.issue_g, for_what=str(warp), by=by)
        WarpHold.objects.create(warp=warp, yarn=need.yarn, use=need.use, reservation=reservation)


def crowded_ticket(by: Any) -> JobTicket:
    yarns = {
        letter: make_yarn(code=f"WOR-2/24-{letter}{letter}", name=f"Blackthorn Hedgerow Mixture {letter}")
        for letter in COLOURS
    }
    cloth = make_cloth(code="HEATHER-TWILL-0024", name="Candlebeck Heather Overcheck Twill in Twenty-four Shades")
    spec = make_spec(
        cloth=cloth,
        yarns=yarns,
        route=ROUTE,
        selvedge_ends=48,
        selvedge_letter="A",
        warp_order=" ".join(f"{letter}{2 * n + 3}" for n, letter in enumerate(COLOURS)),
        weft_order=" ".join(f"{letter}{2 * n + 2}" for n, letter in enumerate(COLOURS)),
        threading=" ".join(str(n) for n in (*range(1, 17), *range(15, 1, -1))),
        lifting=" ".join("+".join(str((n + k) % 16 + 1) for k in range(8)) for n in range(16)),
    )
    colourway = cloth.colourways.get()
    type(colourway).objects.filter(pk=colourway.pk).update(name="Blackthorn, bracken, and the last of the heather")
    lines = []
    for n in range(3):
        customer = make_customer(name=f"Wetherlam, Thornthwaite and Daughters, Outfitters of Upper Skeldale {n}")
        order = make_order(number=f"ORDER-2027-0000{n}", customer=customer, reference="their reference 2027/000123/AB")
        lines.append(
            make_line(
                spec=spec,
                order=order,
                due_on=date(2027, 3, 1 + n),
                pieces=3,
                note="Sew a red thread into the list at each end of every piece; roll face in, on a tube",
            )
        )
    make_loom(code="Loom 12 north", kind="Wide dobby rapier", weft_colours=24, reed_space_cm=230)
    make_colourway(cloth=cloth, name="another")
    warp = make_warp(
        spec=spec,
        lines=lines,
        number=1_048_576,
        beam=make_beam(code="BEAM-230-17B", width_cm=220, flange_mm=800),
        note="The left selvedge is tight on this loom: keep the temple low, and look at the ground after each piece",
    )
    with transaction.atomic():
        working_out.warps_changed([warp.pk])
    jobs.settle()
    warp.refresh_from_db()
    assert not warp.worked.trouble, warp.worked.trouble
    hold(warp, by)
    plans.put_in_force(plans.make_plan(), by=by)
    jobs.settle()
    return tickets.issue_ticket(warp, by=by)
