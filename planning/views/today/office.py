"""The planner's and the owner's part of the day-book: orders, decisions, tickets, the book itself."""

from collections import Counter
from datetime import timedelta

from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from mill import backup, jobs, labels
from mill.language import called
from mill.models import Change, Job
from mill.retold import told_again
from mill.templatetags.mill import day, moment, num
from planning.models import JobTicket, OrderLine, PlanRun, Slot, Warp, WarpFigures
from planning.services import closing, line_plans
from planning.services.line_states import free_pieces
from planning.services.tickets import overtaken_first
from planning.views.today.entry import Entry

# Of what is overdue, so many are followed through the plan; the rest stands in the list.
FOLLOWED = 40
WAITS_SHOWN_DAYS = 42


def overdue_lines() -> list[Entry]:
    today = timezone.localdate()
    rows = OrderLine.objects.open().filter(due_on__lt=today).select_related("order__customer", "cloth")
    lines = list(rows.order_by("due_on"))
    planned = line_plans.plans_of([line.pk for line in lines[:FOLLOWED]])
    entries = []
    for line in lines:
        parts = planned.get(line.pk, [])
        ready = [part.ready_on for part in parts if part.ready_on]
        address = reverse("order", args=[line.order.number])
        is_whole = bool(ready) and len(ready) == len(parts) and sum(part.part.pieces for part in parts) >= line.pieces
        entries.append(
            Entry(
                str(line),
                address,
                _("%(cloth)s for %(customer)s was due %(day)s and is %(state)s")
                % {
                    "cloth": line.cloth,
                    "customer": line.order.customer,
                    "day": day(line.due_on),
                    "state": _(line.state),
                },
                _("Tell the customer"),
                address,
                _("by the plan it is ready %(day)s") % {"day": day(max(ready))} if is_whole else "",
            )
        )
    return entries


def waiting_lines() -> list[Entry]:
    soon = timezone.localdate() + timedelta(days=WAITS_SHOWN_DAYS)
    rows = OrderLine.objects.not_on_a_warp().filter(due_on__lte=soon).select_related("order__customer", "cloth")
    lines = list(rows.order_by("due_on"))
    # Of a line with some pieces on a warp, those that are left.
    free = free_pieces(lines)
    alike = Counter((line.cloth_id, line.colourway_id) for line in lines)
    entries = []
    for line in lines:
        others = alike[line.cloth_id, line.colourway_id] - 1
        due = ngettext(
            "%(cloth)s, %(n)s piece due %(day)s, is on no warp",
            "%(cloth)s, %(n)s pieces due %(day)s, is on no warp",
            free[line.pk],
        )
        too = ngettext(
            "%(n)s line of the same cloth and colours waits too",
            "%(n)s lines of the same cloth and colours wait too",
            others,
        )
        entries.append(
            Entry(
                str(line),
                reverse("order", args=[line.order.number]),
                due % {"cloth": line.cloth, "n": free[line.pk], "day": day(line.due_on)},
                _("Combine into warps"),
                reverse("combine"),
                too % {"n": others} if others else "",
            )
        )
    return entries


def plans_offered() -> list[Entry]:
    """Plans made since the one in force that nobody has taken or refused."""
    in_force = PlanRun.objects.filter(state=PlanRun.IN_FORCE).first()
    rows = PlanRun.objects.filter(state=PlanRun.OFFERED).select_related("by").defer("explained")
    if in_force:
        rows = rows.filter(pk__gt=in_force.pk)
    entries = []
    for run in rows.order_by("-pk"):
        effect = ""
        if in_force and "tardy_pieces" in run.cost and "tardy_pieces" in in_force.cost:
            late, was = int(run.cost["tardy_pieces"]), int(in_force.cost["tardy_pieces"])
            form = ngettext(
                "%(n)s piece late in it; %(was)s in the plan in force when that was made",
                "%(n)s pieces late in it; %(was)s in the plan in force when that was made",
                late,
            )
            effect = form % {"n": late, "was": was}
        address = reverse("plan", args=[run.pk])
        entries.append(
            Entry(
                _("Plan %(number)s") % {"number": run.pk},
                address,
                _("%(rule)s, made %(moment)s, waits for a yes or no")
                % {"rule": run.rule_called, "moment": moment(run.made_at)},
                _("Decide"),
                address,
                effect,
            )
        )
    return entries


def tickets_to_issue() -> list[Entry]:
    """Warps that the plan has wound by tomorrow, and the floor has no ticket for."""
    tomorrow = timezone.localdate() + timedelta(days=1)
    slots = (
        Slot.objects.filter(
            run__state=PlanRun.IN_FORCE,
            winding_on__lte=tomorrow,
            warp__state__in=(Warp.PLANNED, Warp.YARN_DRAWN),
        )
        .exclude(warp__in=JobTicket.objects.filter(withdrawn_at__isnull=True).values("warp"))
        .exclude(warp__in=WarpFigures.objects.exclude(trouble="").values("warp"))
        .select_related("warp", "loom")
        .order_by("winding_on", "setup_starts_at")
    )
    return [
        Entry(
            called(slot.warp),
            reverse("warp", args=[slot.warp.number]),
            _("is to be wound %(day)s for loom %(loom)s, and has no ticket")
            % {"day": day(slot.winding_on), "loom": slot.loom},
            _("Issue its ticket"),
            reverse("warp", args=[slot.warp.number]),
            _("the warper can’t begin without one"),
        )
        for slot in slots
    ]


def overtaken_tickets() -> list[Entry]:
    return [
        Entry(
            called(ticket),
            reverse("ticket", args=[ticket.number]),
            _("of %(warp)s: %(why)s") % {"warp": called(ticket.warp), "why": ticket.why_overtaken},
            _("Issue a new one"),
            reverse("ticket", args=[ticket.number]),
            _("until then the floor works by the old figures"),
        )
        for ticket in overtaken_first().select_related("warp").defer("figures", "extras")
    ]


def troubled_warps() -> list[Entry]:
    rows = WarpFigures.objects.exclude(trouble="").filter(warp__in=Warp.objects.open()).select_related("warp")
    return [
        Entry(
            called(row.warp),
            reverse("warp", args=[row.warp.number]),
            row.why_trouble,
            _("Put it right"),
            reverse("warp", args=[row.warp.number]),
        )
        for row in rows.order_by("warp__number").defer("figures")
    ]


def given_up() -> list[Entry]:
    return [
        Entry(
            _("Job %(n)s") % {"n": job.pk},
            f"{reverse('work')}?state={Job.FAILED}",
            _("Given up: %(task)s. %(why)s")
            % {"task": labels.task_said(job.task), "why": told_again(job.why_given_up) or _("no reason kept")},
            _("Try again, or look why"),
            f"{reverse('work')}?state={Job.FAILED}",
            _("what it was to work out stays as it was"),
        )
        for job in jobs.to_be_looked_at().filter(asked_at__gte=timezone.now() - timedelta(days=7))
    ]


def holidays_to_write() -> list[Entry]:
    """A year of which no public holiday is a closure yet, where the mill has said whose it keeps."""
    year = closing.year_to_write(timezone.localdate())
    if year is None:
        return []
    address = reverse("public_days")
    return [
        Entry(
            _("Closures"),
            address,
            _("none of the public holidays of %(year)s is written down") % {"year": year},
            _("Look them up"),
            address,
            _("plans weave on those days until then"),
        )
    ]


def book_kept() -> list[Entry]:
    """A book in which something was written two nights ago or before, and no backup since."""
    two_nights_ago = timezone.now() - timedelta(days=2)
    if not Change.objects.filter(at__lt=two_nights_ago).exists():
        return []
    last = next((made for path in backup.all_kept() if (made := backup.day_of(path.name))), None)
    if last and last >= timezone.localdate(two_nights_ago):
        return []
    days = (timezone.localdate() - last).days if last else 0
    return [
        Entry(
            _("Backup"),
            reverse("backups"),
            _("the last one is of %(day)s") % {"day": day(last)}
            if last
            else _("there is none in the folder of backups"),
            _("Write one now"),
            reverse("backups"),
            _("%(days)s days of work would be lost with this machine") % {"days": num(days)}
            if days
            else _("all of the book would be lost with this machine"),
        )
    ]
