"""The shed's part of the day-book: winding, gaiting, weaving, looms that stand."""

from datetime import timedelta
from typing import Any

from django.db.models import Count, Min
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from mill.language import called
from mill.templatetags.mill import day, days_late, hours, moment
from planning.models import Loom, PlanRun, Slot, Warp
from planning.services.actuals import RunOut
from planning.services.plans import IN_LOOM
from planning.services.retelling import retold
from planning.views.today.entry import Entry

# What is to be done within so long is today's.
AHEAD = timedelta(hours=24)


def late_warps(run: PlanRun | None) -> list[Entry]:
    if run is None:
        return []
    slots = (
        Slot.objects.open()
        .filter(run=run, late_min__gt=0)
        .select_related("warp", "loom")
        .order_by("-days_late", "-late_min")
    )
    mends: dict[str, Any] = {row["warp"]: row.get("mend") or [] for row in run.explained.get("late", [])}
    entries = []
    for slot in slots:
        mend = next(iter(mends.get(str(slot.warp.number), [])), "")
        entries.append(
            Entry(
                called(slot.warp),
                reverse("warp", args=[slot.warp.number]),
                ngettext(
                    "on loom %(loom)s is finished %(n)s day late; woven out %(day)s. %(why)s",
                    "on loom %(loom)s is finished %(n)s days late; woven out %(day)s. %(why)s",
                    slot.days_late,
                )
                % {
                    "n": slot.days_late,
                    "loom": slot.loom,
                    "day": day(slot.weaving_stops_at),
                    "why": retold(slot.why),
                },
                _("Look at the loom"),
                reverse("loom", args=[slot.loom.code]),
                retold(str(mend)).rstrip("."),
            )
        )
    return entries


def late_as_woven(rows: list[RunOut]) -> list[Entry]:
    """Lines that come off the loom too late by what was really woven, and looms that stand with a warp in them."""
    entries: list[Entry] = []
    for row in rows:
        address = reverse("warp", args=[row.warp.number])
        if row.stop:
            matter = _("stands on loom %(loom)s: %(reason)s, since %(moment)s") % {
                "loom": row.loom,
                "reason": _(row.stop.reason),
                "moment": moment(row.stop.starts_at),
            }
            ticket = row.warp.tickets.filter(withdrawn_at__isnull=True, overtaken_at__isnull=True).first()
            at = reverse("floor", args=[ticket.token]) if ticket else reverse("floor_looms")
            entries.append(Entry(called(row.warp), address, matter, _("Look at the floor"), at))
        entries += [
            Entry(
                str(late.line),
                reverse("order", args=[late.line.order.number]),
                _("comes off loom %(loom)s %(moment)s; to be finished by %(due)s it had to be off on %(last)s")
                % {
                    "loom": row.loom,
                    "moment": moment(late.off_at),
                    "due": day(late.line.due_on),
                    "last": day(late.last_on),
                },
                _("See what is woven"),
                reverse("actuals"),
                ngettext(
                    "finished %(day)s, %(n)s day late, if nothing changes",
                    "finished %(day)s, %(n)s days late, if nothing changes",
                    late.days_late,
                )
                % {"day": day(late.ready_on), "n": late.days_late},
            )
            for late in row.late
        ]
    return entries


def running_out(rows: list[RunOut], run: PlanRun | None) -> list[Entry]:
    """Warps that are woven out within a day, each with what follows on its loom."""
    until = timezone.now() + AHEAD
    soon = [row for row in rows if row.out_at <= until]
    following: dict[int, Slot] = {}
    slots = Slot.objects.filter(run=run, loom__in=[row.loom.pk for row in soon]).exclude(warp__state__in=IN_LOOM)
    for slot in slots.exclude(warp__state=Warp.WOVEN_OUT).select_related("warp").order_by("setup_starts_at"):
        following.setdefault(slot.loom_id, slot)
    entries = []
    for row in soon:
        after = following.get(row.loom.pk)
        if after is None:
            effect = _("nothing is planned after it")
        elif after.warp.state == Warp.WOUND:
            effect = _("then %(warp)s, wound: %(setup)s, %(time)s") % {
                "warp": called(after.warp),
                "setup": _(after.setup),
                "time": hours(after.setup_min),
            }
        else:
            effect = _("then %(warp)s, which is not wound yet") % {"warp": called(after.warp)}
        entries.append(
            Entry(
                _("Loom %(loom)s") % {"loom": row.loom},
                reverse("loom", args=[row.loom.code]),
                _("weaves %(warp)s out %(moment)s") % {"warp": called(row.warp), "moment": moment(row.out_at)},
                _("Look at what follows") if after else _("Look at the loom"),
                reverse("warp", args=[after.warp.number]) if after else reverse("loom", args=[row.loom.code]),
                effect,
            )
        )
    return entries


def standing_looms(run: PlanRun | None) -> list[Entry]:
    """Looms without a warp, with when the next goes in; and those that are held while warps wait for them."""
    now = timezone.now()
    looms = Loom.objects.filter(is_held=False).exclude(warps__state__in=IN_LOOM).order_by("code")
    first = {
        row["loom"]: row["at"]
        for row in Slot.objects.filter(run=run, setup_stops_at__gte=now)
        .values("loom")
        .annotate(at=Min("setup_starts_at"))
    }
    waits = Slot.objects.open().filter(run=run).exclude(warp__state__in=IN_LOOM)
    held = Loom.objects.filter(is_held=True, slots__in=waits).annotate(n=Count("slots")).order_by("code")
    entries = [
        Entry(
            _("Loom %(loom)s") % {"loom": loom.code},
            reverse("loom", args=[loom.code]),
            ngettext(
                "is held (%(why)s), and %(n)s warp is planned on it",
                "is held (%(why)s), and %(n)s warps are planned on it",
                loom.n,
            )
            % {"why": loom.held_reason, "n": loom.n},
            _("Plan the looms"),
            reverse("looms"),
            _("a new plan puts on other looms what is not pinned to it"),
        )
        for loom in held
    ]
    for loom in looms:
        at = first.get(loom.pk)
        idle_min = int((at - now).total_seconds() // 60) if at else 0
        entries.append(
            Entry(
                _("Loom %(loom)s") % {"loom": loom.code},
                reverse("loom", args=[loom.code]),
                _("stands; next set-up %(moment)s") % {"moment": moment(at)}
                if at
                else _("stands and nothing is planned on it"),
                _("Plan the looms"),
                reverse("looms"),
                _("%(time)s by the clock until then") % {"time": days_late(idle_min)} if idle_min > 0 else "",
            )
        )
    return entries


def _due_in_state(run: PlanRun | None, *states: str) -> Any:
    return Slot.objects.filter(run=run, warp__state__in=states).select_related("warp", "loom")


def _waits(slot: Slot) -> str:
    return _("loom %(loom)s waits for it %(moment)s") % {"loom": slot.loom, "moment": moment(slot.setup_starts_at)}


def yarn_to_draw(run: PlanRun | None) -> list[Entry]:
    """Warps whose yarn is to lie at the creel by tomorrow."""
    tomorrow = timezone.localdate() + timedelta(days=1)
    slots = _due_in_state(run, Warp.PLANNED).filter(winding_on__lte=tomorrow)
    return [
        Entry(
            called(slot.warp),
            reverse("warp", args=[slot.warp.number]),
            _("is to be wound %(day)s; its yarn is still in the store") % {"day": day(slot.winding_on)},
            _("Draw its yarn"),
            reverse("warp", args=[slot.warp.number]),
            _waits(slot),
        )
        for slot in slots.order_by("winding_on", "setup_starts_at")
    ]


def to_wind(run: PlanRun | None) -> list[Entry]:
    """Warps whose yarn is drawn, in the order in which the plan winds them."""
    slots = _due_in_state(run, Warp.YARN_DRAWN).order_by("winding_on", "setup_starts_at")
    return [
        Entry(
            called(slot.warp),
            reverse("warp", args=[slot.warp.number]),
            _("its yarn is drawn; to be wound %(day)s") % {"day": day(slot.winding_on)}
            if slot.winding_on
            else _("its yarn is drawn"),
            _("Wind it"),
            reverse("warp", args=[slot.warp.number]),
            _waits(slot),
        )
        for slot in slots
    ]


def to_gait(run: PlanRun | None) -> list[Entry]:
    """Wound warps that go into a loom within a day, and those that hang in one and have not begun."""
    hanging = Warp.objects.filter(state=Warp.GAITED).select_related("loom").order_by("loom__code")
    entries = [
        Entry(
            called(warp),
            reverse("warp", args=[warp.number]),
            _("hangs gaited in loom %(loom)s") % {"loom": warp.loom},
            _("Begin weaving"),
            reverse("warp", args=[warp.number]),
        )
        for warp in hanging
    ]
    slots = _due_in_state(run, Warp.WOUND).filter(setup_starts_at__lte=timezone.now() + AHEAD)
    entries += [
        Entry(
            called(slot.warp),
            reverse("warp", args=[slot.warp.number]),
            _("goes into loom %(loom)s %(moment)s: %(setup)s")
            % {"loom": slot.loom, "moment": moment(slot.setup_starts_at), "setup": _(slot.setup)},
            _("Gait it"),
            reverse("warp", args=[slot.warp.number]),
            _("%(time)s; it weaves from %(moment)s")
            % {"time": hours(slot.setup_min), "moment": moment(slot.weaving_starts_at)},
        )
        for slot in slots.order_by("setup_starts_at")
    ]
    return entries
