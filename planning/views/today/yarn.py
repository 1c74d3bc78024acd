"""The stock keeper's part of the day-book: yarn short or late, shades, quarantine, claims, the store's care."""

from collections import defaultdict
from datetime import date, timedelta

from django.urls import reverse
from django.utils import timezone

from inventory import store_care
from inventory.models import Claim, Delivery, YarnDemand, YarnLot, YarnOutlook
from inventory.services import due_in_the_store
from mill.models import Mill
from mill.templatetags.mill import day, kg
from planning.views.today.entry import Entry, counted

# A claim without an answer for so long is asked after. Common practice, no source.
ANSWER_DAYS = 14

CARE_ACTS = {
    store_care.INSPECTION: "Look it over",
    store_care.LURE: "Renew the lure",
    store_care.PROBE: "Write down what the probe read",
    store_care.RELEASE: "Look at the treatment",
}


def short_yarns() -> list[Entry]:
    rows = YarnOutlook.objects.filter(short_on__isnull=False).select_related("yarn").defer("days")
    outlooks = list(rows.order_by("short_on", "pk"))
    short_on = {outlook.yarn_id: outlook.short_on for outlook in outlooks if outlook.short_on}
    waiting: dict[int, set[str]] = defaultdict(set)
    for yarn, source, on in YarnDemand.objects.filter(yarn__in=short_on).values_list("yarn", "source", "on"):
        if on >= short_on[yarn]:
            waiting[yarn].add(source)
    entries: list[Entry] = []
    for outlook in outlooks:
        matter = f"{kg(outlook.short_g)} kg short on {day(outlook.short_on)}"
        if outlook.short_for:
            matter += f" for {outlook.short_for}"
        act = f"Order {kg(outlook.order_g)} kg now" if outlook.order_g else "Order now"
        if outlook.order_by and outlook.order_by >= timezone.localdate():
            act = act.replace(" now", f" by {day(outlook.order_by)}")
        elif outlook.order_by:
            matter += f"; it had to be ordered by {day(outlook.order_by)}"
        address = reverse("yarn_one", args=[outlook.yarn.code])
        n = len(waiting[outlook.yarn_id])
        effect = f"{counted(n, 'warp')} from that day on {'waits' if n == 1 else 'wait'} for it" if n else ""
        entries.append(Entry(str(outlook.yarn), address, matter, act, address, effect))
    return entries


def due_deliveries() -> list[Entry]:
    today = timezone.localdate()
    rows = list(
        Delivery.objects.filter(is_closed=False, expected_on__lte=today)
        .select_related("yarn", "supplier")
        .order_by("expected_on", "pk")
    )
    wanted: dict[int, date] = {}
    for yarn, on in YarnDemand.objects.filter(yarn__in={row.yarn_id for row in rows}).values_list("yarn", "on"):
        wanted[yarn] = min(on, wanted.get(yarn, on))
    return [
        Entry(
            row.number,
            reverse("delivery", args=[row.pk]),
            f"{row.yarn} from {row.supplier or 'its supplier'} was expected {day(row.expected_on)}",
            "Receive it, or re-plan without it",
            reverse("delivery", args=[row.pk]),
            f"planned work wants this yarn from {day(wanted[row.yarn_id])}" if row.yarn_id in wanted else "",
        )
        for row in rows
    ]


def unapproved_shades() -> list[Entry]:
    """Lots that came and wait for somebody to compare their shade."""
    rows = YarnLot.objects.filter(is_shade_approved=False).with_balance().filter(on_hand_g__gt=0)
    return [
        Entry(
            str(lot),
            reverse("lot", args=[lot.label]),
            f"{lot.yarn}, dye lot {lot.dye_lot}, {kg(lot.on_hand_g)} kg came {day(lot.received_on)}: its shade is not"
            " approved",
            "Compare its shade",
            f"{reverse('lot', args=[lot.label])}?act=approve",
            "no warp is given of it before",
        )
        for lot in rows.select_related("yarn").order_by("received_on", "label")
    ]


def quarantined_lots() -> list[Entry]:
    rows = YarnLot.objects.filter(is_quarantined=True).with_balance().select_related("yarn")
    return [
        Entry(
            str(lot),
            reverse("lot", args=[lot.label]),
            f"{lot.yarn} is in quarantine: {lot.quarantine_reason or 'no reason written'}",
            "Look at the lot",
            reverse("lot", args=[lot.label]),
            f"{kg(lot.on_hand_g)} kg can’t be drawn until it is released",
        )
        for lot in rows.order_by("label")
    ]


def claims_open() -> list[Entry]:
    """Claims that are written and not sent, and those that nobody has answered for a fortnight."""
    long_ago = timezone.localdate() - timedelta(days=ANSWER_DAYS)
    entries = []
    for claim in Claim.objects.filter(state__in=(Claim.WRITTEN, Claim.SENT)).select_related("delivery__supplier"):
        if claim.state == Claim.SENT and claim.sent_on and claim.sent_on > long_ago:
            continue
        whom = claim.delivery.supplier or "the supplier"
        is_sent = claim.state == Claim.SENT
        entries.append(
            Entry(
                f"Claim {claim.number}",
                reverse("claim", args=[claim.number]),
                f"{kg(claim.short_g)} kg short on {claim.delivery.number}: "
                + (f"sent {day(claim.sent_on)}, not answered" if is_sent else "written, not sent"),
                f"Ask {whom}" if is_sent else f"Send it to {whom}",
                reverse("claim", args=[claim.number]),
            )
        )
    return entries


def store_care_due() -> list[Entry]:
    """What the store's care asks for by today: inspections, lures, treatments."""
    today = timezone.localdate()
    entries: list[Entry] = []
    for one in due_in_the_store(Mill.the_one()):
        if not one.is_due(today):
            continue
        if one.course:
            what, address = one.course.label, reverse("treatment", args=[one.course.pk])
            act_address = address
        else:
            assert one.shelf is not None
            what, address = one.shelf.code, reverse("place", args=[one.shelf.pk])
            act_address = reverse("inspection_new", args=[one.shelf.pk])
        entries.append(Entry(what, address, f"due since {day(one.on)}: {one.why}", CARE_ACTS[one.what], act_address))
    return entries
