"""Today: what is late, short, standing, overtaken or due, and the one thing to do about each."""

from dataclasses import dataclass
from datetime import timedelta

from django.db.models import Min
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import path, reverse
from django.utils import timezone
from django.views.decorators.http import require_GET

from inventory import store_care
from inventory.models import Delivery, YarnLot, YarnOutlook
from inventory.services import due_in_the_store, notice_the_day
from mill.desk import room
from mill.models import Job, Mill
from mill.templatetags.mill import day, days_late, kg, moment
from planning.models import Loom, OrderLine, PlanRun, Slot, Warp, WarpFigures
from planning.services import actuals, retiming
from planning.services.plans import IN_LOOM
from planning.services.tickets import overtaken_first

SHOWN = 8


@dataclass(frozen=True)
class Entry:
    """One line of the day-book: what it is, what is the matter, and what to do."""

    what: str
    address: str
    matter: str
    act: str
    act_address: str


@dataclass(frozen=True)
class Chapter:
    title: str
    entries: list[Entry]
    more: int
    all_well: str
    list_address: str


def chapter(title: str, entries: list[Entry], *, all_well: str, list_address: str) -> Chapter:
    return Chapter(title, entries[:SHOWN], max(len(entries) - SHOWN, 0), all_well, list_address)


def late_warps(run: PlanRun | None) -> list[Entry]:
    slots = Slot.objects.filter(run=run, late_min__gt=0).select_related("warp", "loom").order_by("-late_min")
    return [
        Entry(
            str(slot.warp),
            reverse("warp", args=[slot.warp.number]),
            f"late by {days_late(slot.late_min)} over its pieces on loom {slot.loom}, out "
            f"{day(slot.weaving_stops_at)}. "
            f"{slot.why}",
            "Look at the loom",
            reverse("loom", args=[slot.loom.code]),
        )
        for slot in slots
    ]


def late_as_woven() -> list[Entry]:
    """Lines that come off the loom too late by what was really woven, and looms that stand with a warp in them."""
    entries: list[Entry] = []
    for row in actuals.run_outs():
        address = reverse("warp", args=[row.warp.number])
        if row.stop:
            matter = f"stands on loom {row.loom}: {row.stop.reason}, since {moment(row.stop.starts_at)}"
            entries.append(Entry(str(row.warp), address, matter, "Look at the floor", reverse("floor_looms")))
        entries += [
            Entry(
                str(late.line),
                reverse("order", args=[late.line.order.number]),
                f"comes off loom {row.loom} {moment(late.off_at)}; to be finished by {day(late.line.due_on)} it had to "
                f"be off on {day(late.last_on)}",
                "See what is woven",
                reverse("actuals"),
            )
            for late in row.late
        ]
    return entries


def overdue_lines() -> list[Entry]:
    today = timezone.localdate()
    lines = OrderLine.objects.open().filter(due_on__lt=today).select_related("order__customer", "cloth")
    return [
        Entry(
            str(line),
            reverse("order", args=[line.order.number]),
            f"{line.cloth} for {line.order.customer} was due {day(line.due_on)} and is {line.state}",
            "Tell the customer",
            reverse("order", args=[line.order.number]),
        )
        for line in lines.order_by("due_on")
    ]


def waiting_lines() -> list[Entry]:
    soon = timezone.localdate() + timedelta(days=42)
    lines = OrderLine.objects.not_on_a_warp().filter(due_on__lte=soon).select_related("order__customer", "cloth")
    return [
        Entry(
            str(line),
            reverse("order", args=[line.order.number]),
            f"{line.cloth}, {line.pieces} pieces due {day(line.due_on)}, is on no warp",
            "Combine into warps",
            reverse("combine"),
        )
        for line in lines.order_by("due_on")
    ]


def short_yarns() -> list[Entry]:
    outlooks = YarnOutlook.objects.filter(short_on__isnull=False).select_related("yarn").order_by("short_on", "pk")
    entries: list[Entry] = []
    for outlook in outlooks:
        matter = f"{kg(outlook.short_g)} kg short on {day(outlook.short_on)}"
        if outlook.short_for:
            matter += f" for {outlook.short_for}"
        act = "Order now"
        if outlook.order_by and outlook.order_by >= timezone.localdate():
            act = f"Order by {day(outlook.order_by)}"
        elif outlook.order_by:
            matter += f"; it had to be ordered by {day(outlook.order_by)}"
        address = reverse("yarn_one", args=[outlook.yarn.code])
        entries.append(Entry(str(outlook.yarn), address, matter, act, address))
    return entries


def standing_looms(run: PlanRun | None) -> list[Entry]:
    now = timezone.now()
    looms = Loom.objects.filter(is_held=False).exclude(warps__state__in=IN_LOOM).order_by("code")
    first = {
        row["loom"]: row["at"]
        for row in Slot.objects.filter(run=run, setup_stops_at__gte=now)
        .values("loom")
        .annotate(at=Min("setup_starts_at"))
    }
    return [
        Entry(
            f"Loom {loom.code}",
            reverse("loom", args=[loom.code]),
            f"stands; next set-up {moment(first[loom.pk])}"
            if loom.pk in first
            else "stands and nothing is planned on it",
            "Plan the looms",
            reverse("looms"),
        )
        for loom in looms
    ]


def overtaken_tickets() -> list[Entry]:
    return [
        Entry(
            str(ticket),
            reverse("ticket", args=[ticket.number]),
            f"of {ticket.warp}: {ticket.overtaken_why}",
            "Issue a new one",
            reverse("ticket", args=[ticket.number]),
        )
        for ticket in overtaken_first().select_related("warp").defer("figures", "extras")
    ]


def troubled_warps() -> list[Entry]:
    rows = WarpFigures.objects.exclude(trouble="").filter(warp__in=Warp.objects.open()).select_related("warp")
    return [
        Entry(
            str(row.warp),
            reverse("warp", args=[row.warp.number]),
            row.trouble,
            "Put it right",
            reverse("warp", args=[row.warp.number]),
        )
        for row in rows.order_by("warp__number").defer("figures")
    ]


def due_deliveries() -> list[Entry]:
    today = timezone.localdate()
    rows = Delivery.objects.filter(is_closed=False, expected_on__lte=today).select_related("yarn", "supplier")
    return [
        Entry(
            row.number,
            reverse("delivery", args=[row.pk]),
            f"{row.yarn} from {row.supplier or 'its supplier'} was expected {day(row.expected_on)}",
            "Receive it, or re-plan without it",
            reverse("delivery", args=[row.pk]),
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
            reverse("lot", args=[lot.label]),
        )
        for lot in rows.select_related("yarn").order_by("received_on", "label")
    ]


def quarantined_lots() -> list[Entry]:
    return [
        Entry(
            str(lot),
            reverse("lot", args=[lot.label]),
            f"{lot.yarn} is in quarantine: {lot.quarantine_reason or 'no reason written'}",
            "Look at the lot",
            reverse("lot", args=[lot.label]),
        )
        for lot in YarnLot.objects.filter(is_quarantined=True).select_related("yarn")
    ]


CARE_ACTS = {
    store_care.INSPECTION: "Look it over",
    store_care.LURE: "Renew the lure",
    store_care.PROBE: "Write down what the probe read",
    store_care.RELEASE: "Look at the treatment",
}


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


def given_up() -> list[Entry]:
    return [
        Entry(
            f"Job {job.pk}",
            reverse("work"),
            f"{job.task} was given up: {job.error.splitlines()[-1] if job.error else 'no reason kept'}",
            "Look at the work",
            reverse("work"),
        )
        for job in Job.objects.filter(state=Job.FAILED, asked_at__gte=timezone.now() - timedelta(days=7))
    ]


@require_GET
@room("today")
def today(request: HttpRequest) -> HttpResponse:
    notice_the_day()
    run = PlanRun.objects.filter(state=PlanRun.IN_FORCE).first()
    retiming.look(run)
    chapters = [
        chapter("Overdue", overdue_lines(), all_well="Nothing is overdue.", list_address=reverse("orders")),
        chapter("Late by the plan", late_warps(run), all_well="Nothing is late.", list_address=reverse("looms")),
        chapter(
            "On the looms now",
            late_as_woven(),
            all_well="Every warp in a loom runs, and comes off in time.",
            list_address=reverse("actuals"),
        ),
        chapter("Short of yarn", short_yarns(), all_well="No yarn runs short.", list_address=reverse("yarn")),
        chapter(
            "On no warp yet",
            waiting_lines(),
            all_well="Nothing due in six weeks waits.",
            list_address=reverse("combine"),
        ),
        chapter(
            "Looms that stand", standing_looms(run), all_well="Every loom has a warp.", list_address=reverse("looms")
        ),
        chapter(
            "Overtaken tickets",
            overtaken_tickets(),
            all_well="Every ticket on the floor holds.",
            list_address=reverse("tickets"),
        ),
        chapter(
            "Can’t be woven as it stands",
            troubled_warps(),
            all_well="Every warp works out.",
            list_address=reverse("warps"),
        ),
        chapter(
            "Yarn expected", due_deliveries(), all_well="No delivery is overdue.", list_address=reverse("deliveries")
        ),
        chapter(
            "Shades to compare",
            unapproved_shades(),
            all_well="Every lot’s shade is approved.",
            list_address=f"{reverse('lots')}?shade=false",
        ),
        chapter(
            "Due in the store",
            store_care_due(),
            all_well="Every place is looked over, and every lure fresh.",
            list_address=reverse("store_due"),
        ),
        chapter(
            "In quarantine", quarantined_lots(), all_well="No lot is in quarantine.", list_address=reverse("store")
        ),
        chapter(
            "Work given up", given_up(), all_well="All work in the background is done.", list_address=reverse("work")
        ),
    ]
    is_empty = not Loom.objects.exists() and not OrderLine.objects.exists()
    return render(
        request,
        "planning/today.html",
        {"title": "Today", "chapters": chapters, "is_empty": is_empty, "on": timezone.localtime(), "run": run},
    )


urlpatterns = [path("", today, name="today")]
