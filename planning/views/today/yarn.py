"""The stock keeper's part of the day-book: yarn short or late, shades, quarantine, claims, the store's care."""

from collections import defaultdict
from datetime import date, timedelta

from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from inventory import store_care
from inventory.models import FOR_WHAT, Claim, Delivery, YarnDemand, YarnLot, YarnOutlook
from inventory.services import due_in_the_store
from mill.language import called
from mill.models import Mill
from mill.retold import retold
from mill.templatetags.mill import day, kg
from planning.views.today.entry import Entry

# A claim without an answer for so long is asked after. Common practice, no source.
ANSWER_DAYS = 14

CARE_ACTS = {
    store_care.INSPECTION: gettext_lazy("Look it over"),
    store_care.LURE: gettext_lazy("Renew the lure"),
    store_care.PROBE: gettext_lazy("Write down what the probe read"),
    store_care.RELEASE: gettext_lazy("Look at the treatment"),
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
        matter, act = _matter_of_short(outlook), _act_for_short(outlook)
        address = reverse("yarn_one", args=[outlook.yarn.code])
        n = len(waiting[outlook.yarn_id])
        waits = ngettext("%(n)s warp from that day on waits for it", "%(n)s warps from that day on wait for it", n)
        entries.append(Entry(str(outlook.yarn), address, matter, act, address, waits % {"n": n} if n else ""))
    return entries


def _matter_of_short(outlook: YarnOutlook) -> str:
    said = {"kg": kg(outlook.short_g), "day": day(outlook.short_on), "what": retold(outlook.short_for, FOR_WHAT)}
    matter = (_("%(kg)s kg short on %(day)s for %(what)s") if said["what"] else _("%(kg)s kg short on %(day)s")) % said
    if outlook.order_by is None or outlook.order_by >= timezone.localdate():
        return matter
    return _("%(matter)s; it had to be ordered by %(day)s") % {"matter": matter, "day": day(outlook.order_by)}


def _act_for_short(outlook: YarnOutlook) -> str:
    grams, by = outlook.order_g, outlook.order_by
    if by and by >= timezone.localdate():
        form = _("Order %(kg)s kg by %(day)s") if grams else _("Order by %(day)s")
    else:
        form = _("Order %(kg)s kg now") if grams else _("Order now")
    return form % {"kg": kg(grams), "day": day(by)}


def due_deliveries() -> list[Entry]:
    today = timezone.localdate()
    rows = list(
        Delivery.objects.open()
        .filter(expected_on__lte=today)
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
            (
                _("%(yarn)s from %(supplier)s was expected %(day)s")
                if row.expected_on < today
                else _("%(yarn)s from %(supplier)s is expected today, %(day)s")
            )
            % {"yarn": row.yarn, "supplier": row.supplier or _("its supplier"), "day": day(row.expected_on)},
            _("Receive it, or re-plan without it"),
            reverse("delivery", args=[row.pk]),
            _("planned work wants this yarn from %(day)s") % {"day": day(wanted[row.yarn_id])}
            if row.yarn_id in wanted
            else "",
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
            _("%(yarn)s, dye lot %(dye_lot)s, %(kg)s kg came %(day)s: its shade is not approved")
            % {
                "yarn": lot.yarn,
                "dye_lot": lot.dye_lot,
                "kg": kg(lot.on_hand_g),
                "day": day(lot.received_on),
            },
            _("Compare its shade"),
            f"{reverse('lot', args=[lot.label])}?act=approve",
            _("no warp is given of it before"),
        )
        for lot in rows.select_related("yarn").order_by("received_on", "label")
    ]


def quarantined_lots() -> list[Entry]:
    rows = YarnLot.objects.filter(is_quarantined=True).with_balance().select_related("yarn")
    return [
        Entry(
            str(lot),
            reverse("lot", args=[lot.label]),
            _("%(yarn)s is in quarantine: %(why)s")
            % {"yarn": lot.yarn, "why": lot.why_quarantined or _("no reason written")},
            _("Look at the lot"),
            reverse("lot", args=[lot.label]),
            _("%(kg)s kg can’t be drawn until it is released") % {"kg": kg(lot.on_hand_g)},
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
        whom = {"whom": claim.delivery.supplier or _("the supplier")}
        if claim.state == Claim.SENT:
            matter = _("%(kg)s kg short on %(delivery)s: sent %(day)s, not answered")
            act = _("Ask %(whom)s") % whom
        else:
            matter = _("%(kg)s kg short on %(delivery)s: written, not sent")
            act = _("Send it to %(whom)s") % whom
        said = {"kg": kg(claim.short_g), "delivery": claim.delivery.number, "day": day(claim.sent_on)}
        address = reverse("claim", args=[claim.number])
        entries.append(Entry(called(claim), address, matter % said, act, address))
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
        matter = _("due since %(day)s: %(why)s") % {"day": day(one.on), "why": one.why}
        entries.append(Entry(what, address, matter, str(CARE_ACTS[one.what]), act_address))
    return entries
