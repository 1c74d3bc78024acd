"""Candlebeck's floor: the order book combined into warps, and the last days of work on them.

All of it through the services that the pages use.
"""

from collections.abc import Sequence
from decimal import Decimal

from inventory import services as store
from inventory import treatment
from inventory.models import Delivery, Yarn, YarnLot
from mill import jobs
from mill.candlebeck import cloths, names, told
from mill.candlebeck.store import DyeLots, all_yarns_changed
from mill.candlebeck.story import FLOOR_FROM, Story, clock_at
from mill.refusal import Refusal
from planning.loom import reasons_against
from planning.models import Cloth, FloorEvent, JobTicket, Loom, OrderLine, Warp
from planning.services import combine, looms, plans, tickets, warp_steps, warp_yarn
from planning.services.combine import Wishes
from planning.services.standing import reed_key
from planning.services.working_out import for_working_out
from planning.ticket import from_json, loom_needs

LINES_ON_WARPS = 61
HELD_LOOM = "D4"
# So many warps beyond those in the looms are wound, drawn for, and held yarn for.
WOUND, DRAWN, HELD = 2, 2, 4
TICKETS = 8


# From the order book to warps


def combine_lines(story: Story) -> list[Warp]:
    """As many lines on warps as there are to be, those due first; the warps in the order of their due dates."""
    with clock_at(story.workday(FLOOR_FROM), 15):
        proposals = [
            proposal
            for group in combine.propose(Wishes(keeps_to_dye_lots=False))
            if group.combination
            for proposal in group.combination.proposals
        ]
        due = dict(OrderLine.objects.values_list("pk", "due_on"))
        proposals.sort(key=lambda proposal: [(due[part.key], part.key) for part in proposal.parts])
        wanted, n_lines = [], 0
        for proposal in proposals:
            if n_lines + len(proposal.parts) > LINES_ON_WARPS * story.size:
                continue
            n_lines += len(proposal.parts)
            wanted.append([(part.key, part.pieces) for part in proposal.parts])
        warps = combine.accept(wanted, by=story.by)
        jobs.settle()
    return warps


def in_order_of_need(warps: Sequence[Warp]) -> tuple[list[Warp], dict[int, Loom]]:
    """The warps in the order in which they come to the looms, and the loom that each of the first goes to."""
    rows = list(Warp.objects.filter(pk__in=[warp.pk for warp in warps]).select_related("worked", "beam").order_by("pk"))
    order = {warp.pk: n for n, warp in enumerate(warps)}
    rows.sort(key=lambda warp: order[warp.pk])
    waiting = list(rows)
    goes_to: dict[int, Loom] = {}
    # One loom is held and the last one stands for want of a warp.
    free = list(Loom.objects.exclude(code=HELD_LOOM).select_related("shift_pattern").order_by("reed_space_cm", "code"))
    for loom in free[:-1] if len(free) > 1 else free:
        facts = loom.as_facts()
        for warp in waiting:
            if warp.beam is None or warp.worked.figures is None:
                continue
            figures = from_json(warp.worked.figures)
            if not reasons_against(loom_needs(figures, flange_mm=warp.beam.flange_mm), facts):
                goes_to[warp.pk] = loom
                waiting.remove(warp)
                break
    first = [warp for warp in rows if warp.pk in goes_to]
    revised = [warp for warp in waiting if warp.beam and _is_revised(warp)][:1]
    others = [warp for warp in waiting if warp not in revised]
    next_ones = others[: WOUND + DRAWN]
    return [*first, *next_ones, *revised, *others[WOUND + DRAWN :]], goes_to


def _is_revised(warp: Warp) -> bool:
    """Of a cloth that was revised yesterday."""
    revised = {recipe.code for recipe in names.RECIPES if any(step[0] == names.YESTERDAY for step in recipe.before)}
    return warp.parts.filter(spec__cloth__code__in=revised).exists()


def must_have_yarn(warps: Sequence[Warp], goes_to: dict[int, Loom]) -> set[int]:
    """Warps whose yarn is held by now."""
    return {warp.pk for warp in warps[: len(goes_to) + WOUND + DRAWN + HELD]}


# The last days


def set_up_looms(story: Story) -> None:
    """Each loom is gaited for whatever was woven out on it last; one of them stands broken."""
    last: dict[int, Warp] = {}
    for warp in for_working_out(Warp.objects.filter(state=Warp.WOVEN_OUT)).order_by("woven_out_on", "number"):
        last[warp.loom_id or 0] = warp
    for loom_id, warp in last.items():
        Loom.objects.filter(pk=loom_id).update(gaited_family=warp.worked.family_key, gaited_reed=reed_key(warp))
    with clock_at(story.workday(2), 11):
        looms.hold_loom(
            Loom.objects.get(code=HELD_LOOM), reason="Cracked batten; the part comes next week.", by=story.by
        )


def work(story: Story, warps: Sequence[Warp], goes_to: dict[int, Loom], dye_lots: dict[int, DyeLots]) -> None:
    """Yarn held and drawn, warps wound and gaited, the first of them weaving."""
    n_loom = len(goes_to)
    steps = [*[Warp.WEAVING] * n_loom, *[Warp.WOUND] * WOUND, *[Warp.YARN_DRAWN] * DRAWN, *[Warp.PLANNED] * HELD]
    # Those that go furthest begin first, on one of the first days.
    for n, (warp, until) in enumerate(zip(warps, steps, strict=False)):
        began = FLOOR_FROM - 1 - n * 2 // max(1, n_loom)
        with clock_at(story.workday(began), 8, n % 60):
            short = warp_yarn.hold_yarn(warp, by=story.by, chosen=dye_lots[warp.pk])
            assert not short, f"{warp}: {short}"
        if until == Warp.PLANNED:
            continue
        with clock_at(story.workday(began - 1), 9, n % 60):
            warp_steps.draw_yarn(warp, by=story.by)
        if until == Warp.YARN_DRAWN:
            continue
        with clock_at(story.workday(began - 2), 12, n % 60):
            told.tell(story, warp, FloorEvent.WOUND, worker=told.somebody("warper", turn=n))
        if until == Warp.WOUND:
            continue
        with clock_at(story.workday(began - 3), 14, n % 60):
            Warp.objects.filter(pk=warp.pk).update(pin_loom=goes_to[warp.pk])
            told.tell(story, warp, FloorEvent.GAITED, worker=told.somebody("tuner", turn=n))
            Warp.objects.filter(pk=warp.pk).update(pin_loom=None)
            warp_steps.draw_weft(warp, by=story.by)
    with clock_at(story.workday(1), 13):
        jobs.settle()
    # The last one has been gaited and waits for its weaver.
    told.weave(story, warps[: max(0, n_loom - 1)])


# What stands on the board


def mark_lots(story: Story) -> None:
    """Lots in quarantine, one whose shade is not right: rests of long ago, which nothing is held for."""
    rests = YarnLot.objects.with_balance().filter(on_hand_g__gt=500, held_g=0).order_by("received_on", "label")
    with clock_at(story.workday(4), 11):
        store.quarantine(lot=rests[0], reason="Larvae in two cones.", by=story.by)
        store.reject_shade(lot=rests[1], reason="Redder than the shade card.", by=story.by)
        treat_lots(story, rests[0], rests[2], list(rests[3:5]))
    claim_short_weight(story)


def claim_short_weight(story: Story) -> None:
    """Two deliveries came damp: of one the supplier has allowed a part, the other claim has gone out."""
    rows = (
        Delivery.objects.with_received()
        .filter(is_closed=True, received_g__gt=20_000, expected_on__range=(story.ago(90), story.ago(12)))
        .distinct()
        .order_by("-expected_on", "pk")
    )
    for n, delivery in enumerate(rows[:2], start=1):
        lots = {lot.pk: lot.came_g for lot in delivery.lots.with_receipt().order_by("pk")}
        measured_pct = delivery.yarn.regain_pct + Decimal("2.4") + n
        with clock_at(story.workday(5), 14):
            claim = store.make_claim(
                delivery=delivery,
                invoiced_g=sum(lots.values()),
                weighed={pk: (grams, measured_pct) for pk, grams in lots.items()},
                invoice=f"R-{880 + n}",
                note="Two cones of each lot were dried.",
                by=story.by,
                key=f"candlebeck claim {n}",
            )
            store.send_claim(by=story.by, claim=claim, sent_on=story.workday(5))
        if n == 1:
            with clock_at(story.workday(2), 10):
                allowed_g = claim.short_g * 3 // 4
                store.answer_claim(
                    by=story.by,
                    claim=claim,
                    answered_on=story.workday(2),
                    allowed_g=allowed_g,
                    answer="They had dried other cones of it; three quarters are settled.",
                )


def treat_lots(story: Story, found: YarnLot, tried: YarnLot, warmed: Sequence[YarnLot]) -> None:
    """One freezing is under way, one was not cold enough, and a heating met its figure."""
    by = story.by
    freezer = {"way": treatment.FREEZING, "target_core_c": Decimal(-20), "target_h": Decimal(168), "by": by}
    store.begin_treatment(lots=[found], began_on=story.workday(4), done_by="Chest freezer, dye house", **freezer)
    row = store.begin_treatment(lots=[tried], began_on=story.workday(12), done_by="Chest freezer, dye house", **freezer)
    store.end_treatment(
        treatment=row,
        ended_on=story.workday(5),
        core_c=Decimal(-18),
        held_h=Decimal(120),
        measured_how="Probe in the middle cone",
        note="The lid had not shut.",
        by=by,
    )
    row = store.begin_treatment(
        way=treatment.HEAT,
        lots=warmed,
        began_on=story.workday(6),
        target_core_c=Decimal(57),
        target_h=Decimal(2),
        done_by="A licensed firm, in its chamber",
        by=by,
    )
    store.end_treatment(
        treatment=row,
        ended_on=story.workday(6),
        core_c=Decimal("56.5"),
        held_h=Decimal("2.5"),
        measured_how="Three probes, the firm's record",
        by=by,
    )
    store.release_treated(treatment=row, reason="Looked over, nothing alive.", by=by, key="candlebeck heat")


def plan(story: Story) -> None:
    with clock_at(story.workday(1), 14) as now:
        jobs.settle()
        run = plans.make_plan(by=story.by, now=now)
        plans.put_in_force(run, by=story.by)
        jobs.settle()


def issue_tickets(story: Story, warps: Sequence[Warp]) -> None:
    """Tickets for what is in the looms and comes next; those of one cloth are overtaken by a revision of yesterday."""
    with clock_at(story.workday(1), 15):
        issued = 0
        first = [warp for warp in warps if _is_revised(warp)]
        for warp in [*first, *warps]:
            if issued == TICKETS * story.size or JobTicket.objects.filter(warp=warp).exists():
                continue
            warp = for_working_out(Warp.objects.filter(pk=warp.pk)).get()
            try:
                tickets.ready(warp)
            except Refusal:
                continue
            tickets.issue_ticket(warp, by=story.by)
            issued += 1
    yarns = {yarn.code: yarn for yarn in Yarn.objects.all()}
    for recipe in names.RECIPES:
        for n, (days_ago, note, _) in enumerate(recipe.before, start=1):
            if days_ago == names.YESTERDAY:
                with clock_at(story.workday(1), 16):
                    cloths.revise(story, Cloth.objects.get(code=recipe.code), recipe, n, note, yarns)


def next_morning(story: Story) -> None:
    """Everything is worked out as it stands before the first shift."""
    with clock_at(story.on, 0, 1):
        all_yarns_changed()
        jobs.settle()
