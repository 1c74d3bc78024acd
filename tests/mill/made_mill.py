"""The mill of the API's examples, whose records go by the numbers that the examples give them."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.utils import timezone

from inventory import services as store
from inventory.models import Fibre
from mill import jobs, tokens
from mill.models import Job
from planning.models import Customer, JobTicket, Loom, OrderLine, Piece, Warp
from planning.services import (
    board,
    dispatch,
    feeds,
    finishing,
    improving,
    pieces,
    plans,
    quotes,
    rulings,
    tickets,
    warp_steps,
    warp_yarn,
    working_out,
)
from planning.services.looms import write_down
from tests.make import (
    make_beam,
    make_cloth,
    make_colourway,
    make_customer,
    make_delivery,
    make_fibre,
    make_line,
    make_loom,
    make_lot,
    make_order,
    make_place,
    make_shift,
    make_spec,
    make_supplier,
    make_trap,
    make_warp,
    make_yarn,
)
from tests.planning.floor_walk import cut, make_worker
from tests.planning.test_shrinkage import SIX_OFF, measured_pieces


def days(n: int) -> date:
    return timezone.localdate() + timedelta(days=n)


def _records() -> dict[int, int]:
    from planning.models import Closure, Machine, Reed

    reed = Reed.objects.create(code="R42", dents_per_10cm=Decimal("42.3"), width_cm=180, quantity=1)
    now = timezone.now()
    closure = Closure(name="Holiday", starts_at=now + timedelta(days=30), stops_at=now + timedelta(days=31))
    machine = Machine.objects.create(name="Tub", step="scour", m_per_day=Decimal(300))
    make_worker(code="RO", trade="weaver")
    make_worker(code="ME", trade="mender")
    make_worker(code="FI", trade="finisher")
    return {
        381: reed.pk,
        382: make_beam(code="B8", width_cm=Decimal(150)).pk,
        383: make_shift(name="Nights", hours="Mon-Fri 22:00-06:00").pk,
        384: write_down(closure, by=None).pk,
        385: make_worker(code="OL", trade="weaver").pk,
        386: machine.pk,
    }


def _yarn(by: Any) -> dict[int, int]:
    """Two yarns with lots, a delivery to come and one that came short, holds, a place with its trap, treatments."""
    wool = make_fibre(name="wool")
    supplier = make_supplier(code="LOAN", name="Loanhead")
    moss = make_yarn(code="MOS", name="Moss", supplier=supplier)
    cream = make_yarn(code="CRE", name="Cream", supplier=supplier)
    store.write_yarn(yarn=moss, changed=[], shares={wool: Decimal(100)}, by=by)
    bay, other = make_place(code="BAY-1"), make_place(code="BAY-2")
    trap = make_trap(code="T1", place=bay)
    lot = make_lot(label="A12", yarn=moss, grams=900_000, dye_lot="880", place=bay)
    make_lot(label="C3", yarn=cream, grams=900_000, dye_lot="21", place=bay)
    barred = make_lot(label="Q7", yarn=moss, grams=9_000, place=other)
    store.quarantine(lot=barred, reason="Larvae", by=by)
    shade = make_lot(label="S3", yarn=moss, grams=9_000, place=other, is_shade_approved=False)
    held = store.reserve(lot=lot, grams=2_000, for_what="a sample", by=by)
    drawn = store.reserve(lot=lot, grams=1_000, for_what="another sample", by=by)
    store.draw_down(reservation=drawn, grams=1_000, by=by)
    waste = store.record_waste(lot=lot, grams=100, reason="Oil", by=by)
    coming = make_delivery(yarn=moss, number="D1", supplier=supplier)
    short = make_delivery(yarn=moss, number="D2", supplier=supplier, expected_on=days(0))
    came = make_lot(label="D2-1", yarn=moss, grams=18_600, dye_lot="880", delivery=short, place=other)
    weighed = {came.pk: (18_600, Decimal(17))}
    claim = store.make_claim(delivery=short, invoiced_g=20_000, weighed=weighed, by=by)
    frozen = {"way": "freezing", "began_on": days(-4), "target_core_c": Decimal(-30), "target_h": Decimal(72), "by": by}
    begun = store.begin_treatment(lots=[make_lot(label="F1", yarn=moss, place=other)], **frozen)
    ended = store.begin_treatment(lots=[make_lot(label="F2", yarn=moss, place=other)], **frozen)
    store.end_treatment(treatment=ended, ended_on=days(-1), core_c=Decimal(-31), held_h=Decimal(74), by=by)
    return {
        301: lot.pk, 302: barred.pk, 303: shade.pk, 311: moss.pk, 321: held.pk, 322: drawn.pk, 331: waste.pk,
        341: coming.pk, 351: claim.pk, 352: supplier.pk, 353: Fibre.objects.get(name="wool").pk, 361: bay.pk,
        362: trap.pk, 371: begun.pk, 372: ended.pk,
    }  # fmt: skip


def _warp(number: int, spec: Any, *lines: OrderLine, by: Any, holds: bool = False, **changes: Any) -> Warp:
    warp = make_warp(spec=spec, lines=lines, number=number, **changes)
    with transaction.atomic():
        working_out.warps_changed([warp.pk])
    jobs.settle()
    if holds:
        assert warp_yarn.hold_yarn(warp, by=by) == []
    return warp


def _pieces(warp: Warp, by: Any) -> None:
    """Eight off one warp, each a step further than the one before."""
    worker = {"by": by}
    cuts = [cut(warp, by) for _ in range(8)]
    size = {"length_m": Decimal(64), "width_cm": Decimal(165)}
    for n, piece in enumerate(cuts[1:], start=2):
        pieces.perch_grey(piece, **size, mending_min=20 if n == 2 else 0, **worker)
    finishing.put_in([cuts[3]], step="scour", key="batch 1", by=by)
    for piece in cuts[5:]:
        pieces.measure(piece, length_m=Decimal("60.2"), width_cm=Decimal("150.5"), mass_g=25_100, by=by)
    for piece in cuts[6:]:
        pieces.judge(piece, verdict=Piece.PASS, by=by)
    customer = warp.parts.get().line.order.customer
    dispatch.send(customer, [Piece.objects.get(pk=cuts[7].pk)], sent_on=days(0), key="sent 1", by=by)


def make_mill(by: Any) -> dict[int, int]:
    """The mill; by the number that an example gives a record, the one that it has."""
    ids = {**_records(), **_yarn(by)}
    from inventory.models import Yarn

    yarns = {"A": Yarn.objects.get(code="MOS"), "B": Yarn.objects.get(code="CRE")}
    make = {"yarns": yarns, "warp_order": "A4", "weft_order": "B4"}
    cloth = make_cloth(code="HER7", name="Herringbone")
    moss = make_colourway(cloth=cloth, name="Moss")
    spec = make_spec(cloth=cloth, **make)
    new = make_cloth(code="NEW1", name="Newly written")
    ids |= {451: moss.pk, 452: make_colourway(cloth=new, name="Moss").pk}
    make_spec(cloth=new, **make)
    measured_pieces(make_spec(cloth=make_cloth(code="FUL2", name="Fulled"), **make), SIX_OFF)

    customer = make_customer(code="KELD", name="Keld Tailors")
    order = make_order(number="2611", customer=customer)
    common = {"spec": spec, "order": order, "due_on": days(90)}
    waits, waits_too = make_line(**common), make_line(**common)
    off = make_line(**common, state=OrderLine.CALLED_OFF)
    ids |= {401: waits.pk, 402: waits_too.pk, 403: off.pk}
    on = {**common, "state": OrderLine.ON_A_WARP}

    for code in "123":
        make_loom(code=code)
    beams = {n: make_beam(code=f"B{n}") for n in range(1, 8)}
    first, second = make_line(**on), make_line(**on)
    planned = _warp(118, spec, first, second, by=by, beam=beams[1])
    ids[461] = planned.parts.get(line=first).pk
    _warp(119, spec, make_line(**on), by=by, beam=beams[2])
    _warp(120, spec, make_line(**on), by=by, beam=beams[3], holds=True)
    weaves = _warp(121, spec, make_line(**on, pieces=9), by=by, beam=beams[4], holds=True)
    warp_steps.draw_yarn(weaves, by=by)
    warp_steps.draw_weft(weaves, by=by)
    warp_steps.wind(weaves, by=by)
    warp_steps.gait(weaves, loom=Loom.objects.get(code="1"), by=by)
    warp_steps.begin_weaving(weaves, by=by)
    jobs.settle()
    _pieces(weaves, by)
    jobs.settle()

    ids[471] = rulings.refuse([(waits_too.pk, 1), (make_line(**common).pk, 1)], by=by).pk
    overtaken = plans.put_in_force(plans.make_plan(by=by), by=by)
    in_force = plans.put_in_force(plans.make_plan(rule="setups_first", by=by), by=by)
    jobs.settle()
    offered = plans.make_plan(rule="best", by=by)
    slot = in_force.slots.get(warp=planned)
    other = next(loom for loom in Loom.objects.filter(code__in="23") if loom.pk != slot.loom_id)
    moved = board.move(in_force, planned, loom=other, by=by)
    ids |= {480: overtaken.pk, 481: in_force.pk, 482: offered.pk, 483: moved.pk}
    tickets.issue_ticket(weaves, by=by)
    # Whoever scans it reads this off the paper; no two are alike.
    JobTicket.objects.update(token="k3XbQ9s0aZ1m")
    ids[491] = improving.ask(seconds=60, by=by).pk
    ids[492] = Job.objects.create(task="inventory.rework_outlooks", state=Job.FAILED, error="The disk was full.").pk
    return ids | _money(moss, by) | _secrets(by)


def _money(colourway: Any, by: Any) -> dict[int, int]:
    """What the mill pays and asks, and a quote."""
    from inventory.models import Yarn
    from planning.models import Rate, YarnPrice

    priced = [
        write_down(YarnPrice(yarn=yarn, per_kg=Decimal(12), from_on=days(-9)), by=by) for yarn in Yarn.objects.all()
    ]
    hours = [
        write_down(Rate(kind=kind, amount=Decimal(18), from_on=days(-9)), by=by)
        for kind in (Rate.WARPING, Rate.SET_UP, Rate.LOOM, Rate.MENDING)
    ]
    for step in ("scour", "press"):
        write_down(Rate(kind=Rate.STEP, of=step, basis="m", amount=Decimal("0.3"), from_on=days(-9)), by=by)
    asked = quotes.Asked(colourway=colourway, pieces=1, length_m=Decimal(60), loom=Loom.objects.get(code="2"))
    said = quotes.Said(customer=Customer.objects.get(code="KELD"))
    quotes.keep_quote(asked, said, by=by, key="quote 1")
    return {501: hours[0].pk, 502: priced[0].pk}


def _secrets(by: Any) -> dict[int, int]:
    token, _ = tokens.make_token(name="The office", may_write=False, by=by)
    feed, _ = feeds.make_link(what="orders", label="The office sheet", by=by)
    return {511: token.pk, 512: feed.pk}
