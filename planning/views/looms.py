from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import django_filters
from django.contrib import messages
from django.db.models import Count, Prefetch, Q, QuerySet, prefetch_related_objects
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, pgettext_lazy
from django.views.decorators.http import require_GET, require_POST
from django_htmx.http import HttpResponseClientRedirect

from inventory import services as store
from inventory.models import Delivery
from mill import jobs
from mill.desk import room
from mill.edits import Edit
from mill.listing import Column, listing, yes_or_no
from mill.models import Job
from mill.refusal import N_, Refusal
from mill.retold import told_again
from mill.templatetags.mill import day, hours, moment, num, said
from planning.bars import Load, bars_svg
from planning.forms.looms import BreakdownForm, LateYarnForm, LoomForm
from planning.models import Loom, PlanRun, Slot, Warp, WarpPart
from planning.services import (
    actuals,
    clock,
    effects,
    explaining,
    foresight,
    improving,
    looms,
    plans,
    retelling,
    tickets,
)
from planning.strip import SET_UP, WEAVING, Bar, strip_svg
from planning.views.warps import whose
from planning.worktime import WEEK_MIN

STRIP_WEEKS = 5


def plan_in_force() -> PlanRun | None:
    return PlanRun.objects.filter(state=PlanRun.IN_FORCE).first()


def with_queue(rows: QuerySet[Loom], run: PlanRun | None) -> QuerySet[Loom]:
    """Looms with their slots in a plan as `queue`: what is still to be woven out, in the order of weaving."""
    slots = Slot.objects.open().filter(run=run).select_related("warp").order_by("position")
    return rows.select_related("shift_pattern").prefetch_related(Prefetch("slots", slots, to_attr="queue"))


def with_parts() -> "Prefetch[Any]":
    """What is on the warps of slots. Joined, not fetched one kind after another: SQLite can't be asked for more than a
    thousand lines by their keys."""
    return Prefetch("warp__parts", WarpPart.objects.select_related("line__order__customer", "spec__cloth"))


def strip(loom: Loom, *, weeks: int = STRIP_WEEKS) -> SafeString:
    """The loom's queue drawn from this week's Monday on. `loom` comes from with_queue()."""
    now = timezone.now()
    epoch = clock.monday_before(now)
    bars: list[Bar] = []
    for slot in loom.queue:  # type: ignore[attr-defined]
        at = [
            clock.to_minute(moment, epoch=epoch)
            for moment in (slot.setup_starts_at, slot.setup_stops_at, slot.weaving_starts_at, slot.weaving_stops_at)
        ]
        warp, setup = slot.warp.called, said(slot.setup)
        weaving = _("%(warp)s, %(first)s to %(last)s, late") if slot.late_min else _("%(warp)s, %(first)s to %(last)s")
        label = weaving % {"warp": warp, "first": day(slot.weaving_starts_at), "last": day(slot.weaving_stops_at)}
        bars.append(Bar(SET_UP, at[0], at[1], _("%(setup)s before %(warp)s") % {"setup": setup, "warp": warp}))
        bars.append(Bar(WEAVING, at[2], at[3], label, reverse("warp", args=[slot.warp.number]), slot.late_min > 0))
    minutes = weeks * WEEK_MIN
    first = timezone.localtime(epoch)
    marks = [(n * WEEK_MIN, day(first + timedelta(weeks=n))) for n in range(weeks)]
    return mark_safe(  # noqa: S308 - strip_svg escapes all it is given
        strip_svg(
            bars,
            minutes=minutes,
            marks=marks,
            now=clock.to_minute(now, epoch=epoch),
            label=_("The coming weeks"),
        )
    )


class LoomFilter(django_filters.FilterSet):
    text = django_filters.CharFilter(label=gettext_lazy("Loom or kind"), method="by_text")
    is_jacquard = yes_or_no(gettext_lazy("Jacquard"))
    held = yes_or_no(pgettext_lazy("loom", "Held"), field_name="is_held")

    class Meta:
        model = Loom
        fields: list[str] = []

    def by_text(self, rows: QuerySet[Loom], _name: str, value: str) -> QuerySet[Loom]:
        return rows.filter(Q(code__icontains=value) | Q(kind__icontains=value))


@require_GET
@room("looms")
def looms_list(request: HttpRequest) -> HttpResponse:
    run = plan_in_force()
    waits = Q(slots__in=Slot.objects.open().filter(run=run).exclude(warp__state__in=plans.IN_LOOM))
    rows = with_queue(Loom.objects.annotate(waiting=Count("slots", filter=waits)).order_by("code"), run)
    columns = [
        Column(gettext_lazy("Loom"), lambda m: m.code, "code", link=lambda m: reverse("loom", args=[m.code])),
        Column(gettext_lazy("Kind"), lambda m: m.kind, "kind"),
        Column(gettext_lazy("Now"), lambda m: _now(m)),
        Column(gettext_lazy("Warps to come"), lambda m: m.waiting, "waiting", is_number=True),
        Column(
            gettext_lazy("Free from"), lambda m: m.queue[-1].weaving_stops_at if m.queue else None, shown=_free_from
        ),
        Column(gettext_lazy("The coming weeks"), lambda m: f"{m.waiting} warps", shown=lambda m: strip(m)),
        Column(
            gettext_lazy("Reed space"),
            lambda m: m.reed_space_cm,
            "reed_space_cm",
            "cm",
            shown=lambda m: num(m.reed_space_cm),
            is_number=True,
        ),
        Column(
            gettext_lazy("Shafts"), lambda m: _("jacquard") if m.is_jacquard else m.shafts, "shafts", is_number=True
        ),
        Column(gettext_lazy("Weft colours"), lambda m: m.weft_colours, "weft_colours", is_number=True),
        Column(gettext_lazy("Picks a minute"), lambda m: m.ppm, "ppm", is_number=True),
        Column(
            gettext_lazy("Efficiency"),
            lambda m: m.efficiency_pct,
            "efficiency_pct",
            "%",
            shown=lambda m: num(m.efficiency_pct),
            is_number=True,
        ),
    ]
    return listing(
        request,
        rows,
        columns=columns,
        filterset=LoomFilter,
        template="planning/looms.html",
        name="looms",
        title=_("Looms"),
        extra={
            "run": run,
            "late": run.slots.open().filter(late_min__gt=0).count() if run else 0,
            "unplanned": plans.unplanned().count(),
            "without_ticket": tickets.without_ticket().count(),
            "offered": PlanRun.objects.filter(state=PlanRun.OFFERED).first(),
            "rules": plans.RULES,
            "seconds": improving.SECONDS,
            "at_work": improving.at_work(),
            "last": PlanRun.objects.filter(state=PlanRun.OVERTAKEN).order_by("-in_force_from").first(),
        },
        row_class=lambda m: "held" if m.is_held else "",
    )


def _free_from(loom: Loom) -> str:
    return day(loom.queue[-1].weaving_stops_at) if loom.queue else _("now")  # type: ignore[attr-defined]


def _now(loom: Loom) -> str:
    if loom.is_held:
        return _("held: %(reason)s") % {"reason": loom.held_reason}
    slot = next(iter(loom.queue), None)  # type: ignore[attr-defined]
    if slot is None or slot.warp.state not in plans.IN_LOOM:
        return _("stands")
    return f"{slot.warp.called}, {said(slot.warp.state)}"


@require_GET
@room("looms")
def loom(request: HttpRequest, code: str) -> HttpResponse:
    run = plan_in_force()
    found = get_object_or_404(with_queue(Loom.objects.all(), run), code=code)
    queue = found.queue  # type: ignore[attr-defined]
    prefetch_related_objects(queue, with_parts())
    for slot in queue:
        slot.why_said = retelling.retold(slot.why)
    return render(
        request,
        "planning/loom.html",
        {
            "title": _("Loom %(code)s") % {"code": found.code},
            "loom": found,
            "queue": queue,
            "waiting": sum(slot.warp.state not in plans.IN_LOOM for slot in queue),
            "strip": strip(found),
            "run": run,
            "closures": found.closures.all(),
            "breakdown": BreakdownForm(),
            "offer": actuals.offer_of(found),
            "woven": found.warps.filter(state=Warp.WOVEN_OUT).order_by("-woven_out_on")[:20],
        },
    )


@room("looms")
def loom_edit(request: HttpRequest, code: str | None = None) -> HttpResponse:
    found = get_object_or_404(Loom, code=code) if code else None
    edit = Edit(request, found, lambda data, row: LoomForm(data, instance=row))
    if edit.is_valid() and edit.is_written(
        lambda form, seen: looms.write_down(form.instance, by=request.user, seen=seen)
    ):
        messages.success(request, _("Loom %(code)s is written down.") % {"code": edit.written})
        return redirect("loom", code=edit.written.code)
    back = reverse("loom", args=[code]) if code else reverse("looms")
    title = _("Loom %(code)s") % {"code": code} if code else _("A new loom")
    return render(request, "mill/form.html", {"title": title, "edit": edit, "form": edit.form, "back": back})


@require_POST
@room("looms")
def loom_hold(request: HttpRequest, code: str) -> HttpResponse:
    found = get_object_or_404(Loom, code=code)
    try:
        if found.is_held:
            looms.let_go(found, by=request.user)
            messages.success(
                request,
                _("Loom %(code)s is let go: it is planned again from the next plan on.") % {"code": code},
            )
        else:
            looms.hold_loom(found, reason=request.POST.get("reason", ""), by=request.user)
            messages.success(request, _("Loom %(code)s is held: nothing new is planned on it.") % {"code": code})
    except Refusal as refusal:
        messages.error(request, refusal.message)
    return redirect("loom", code=code)


@require_POST
@room("looms")
def plan_new(request: HttpRequest) -> HttpResponse:
    rule = request.POST.get("rule", "earliest_due_date")
    try:
        if rule not in plans.RULES:
            raise Refusal(
                N_("There is no rule called %(rule)s. Choose one of %(rules)s."),
                rule=rule,
                rules=", ".join(_(label) for label in plans.RULES.values()),
            )
        run = plans.make_plan(rule=rule, by=request.user)
    except Refusal as refusal:
        messages.error(request, refusal.message)
        return redirect("looms")
    return redirect("plan", pk=run.pk)


@require_POST
@room("looms")
def plan_improve(request: HttpRequest) -> HttpResponse:
    """A better plan, looked for by the worker; with `few_moves` one that leaves the plan in force as it is."""
    asked = request.POST.get("seconds", "20")
    if asked not in {str(seconds) for seconds in improving.SECONDS}:
        raise Http404
    job = improving.ask(seconds=int(asked), few_moves="few_moves" in request.POST, by=request.user)
    return redirect("plan_work", pk=job.pk)


@require_POST
@room("looms")
def loom_breaks_down(request: HttpRequest, code: str) -> HttpResponse:
    """The loom stands until a moment: written down at once, or only tried on a copy; re-planned with few moves."""
    found = get_object_or_404(Loom, code=code)
    form = BreakdownForm(request.POST)
    if not form.is_valid():
        for errors in form.errors.values():
            messages.error(request, " ".join(str(error) for error in errors))
        return redirect("loom", code=code)
    try:
        if request.POST.get("act") == "look":
            until, now = form.cleaned_data["until"], timezone.now()
            return render(
                request,
                "planning/effects.html",
                {
                    "title": _("Loom %(code)s stands until %(until)s") % {"code": code, "until": moment(until)},
                    "called": _("Loom %(code)s") % {"code": code},
                    "back": reverse("loom", args=[code]),
                    "address": reverse("loom_breaks_down", args=[code]),
                    "said": [(name, request.POST[name]) for name in form.fields],
                    "write": _("It stands: re-plan with few moves"),
                    "effects": effects.of_breakdown(found, until=until, now=now),
                    "foreseen": effects.yarn_of_breakdown(found, until=until, now=now),
                },
            )
        job = improving.ask_without(
            found,
            until=form.cleaned_data["until"],
            why=form.cleaned_data["why"],
            only_try=request.POST.get("act") == "try",
            by=request.user,
        )
    except Refusal as refusal:
        messages.error(request, refusal.message)
        return redirect("loom", code=code)
    return redirect("plan_work", pk=job.pk)


@require_POST
@room("looms")
def plan_late_yarn(request: HttpRequest, pk: int) -> HttpResponse:
    """A delivery comes later: written down at once, or only tried on a copy; re-planned with few moves."""
    found = get_object_or_404(Delivery, pk=pk)
    form = LateYarnForm(request.POST)
    try:
        if not form.is_valid():
            raise Refusal(" ".join(str(error) for errors in form.errors.values() for error in errors))
        expected_on = form.cleaned_data["expected_on"]
        if request.POST.get("act") == "look":
            improving.refuse_no_later(found, expected_on)
            then = Delivery.objects.select_related("yarn").get(pk=pk)
            then.expected_on = expected_on
            return render(
                request,
                "planning/effects.html",
                {
                    "title": _("%(delivery)s comes %(day)s") % {"delivery": found, "day": day(expected_on)},
                    "called": _("Delivery %(delivery)s") % {"delivery": found},
                    "back": reverse("delivery", args=[pk]),
                    "address": reverse("plan_late_yarn", args=[pk]),
                    "said": [("expected_on", expected_on.isoformat())],
                    "write": _("It is late: re-plan with few moves"),
                    "effects": effects.of_late_delivery(found, expected_on=expected_on),
                    "foreseen": store.foresee_delivery(then),
                },
            )
        job = improving.ask_with_late_yarn(
            found,
            expected_on=expected_on,
            only_try=request.POST.get("act") == "try",
            by=request.user,
        )
    except Refusal as refusal:
        messages.error(request, refusal.message)
        return redirect("delivery", pk=pk)
    return redirect("plan_work", pk=job.pk)


@require_GET
@room("looms")
def plan_work(request: HttpRequest, pk: int) -> HttpResponse:
    """A plan being looked for: how good it is so far, and the button that ends the search with the best."""
    job = get_object_or_404(Job, pk=pk, task=improving.TASK)
    made = (job.result or {}).get("run")
    if job.state == Job.DONE and made:
        if request.headers.get("HX-Request"):
            return HttpResponseClientRedirect(reverse("plan", args=[made]))
        return redirect("plan", pk=made)
    told = {
        "title": _("A better plan"),
        "job": job,
        "so_far": improving.so_far(job),
        "why": told_again(job.why_given_up),
    }
    part = request.headers.get("HX-Request")
    return render(request, "planning/_plan_work.html" if part else "planning/plan_work.html", told)


@require_POST
@room("looms")
def plan_stop(request: HttpRequest, pk: int) -> HttpResponse:
    jobs.stop(get_object_or_404(Job, pk=pk, task=improving.TASK), by=request.user)
    return redirect("plan_work", pk=pk)


@require_GET
@room("looms")
def plan(request: HttpRequest, pk: int) -> HttpResponse:
    run = get_object_or_404(PlanRun.objects.select_related("by", "decided_by", "base"), pk=pk)
    in_force = plan_in_force()
    before = {slot.warp_id: slot for slot in in_force.slots.select_related("loom")} if in_force else {}
    slots = list(run.slots.select_related("warp", "loom").prefetch_related(with_parts()))
    for slot in slots:
        slot.before = before.get(slot.warp_id)  # type: ignore[attr-defined]
        slot.whose = whose(slot.warp)  # type: ignore[attr-defined]
    shed = effects.shed_of(run)
    return render(
        request,
        "planning/plan.html",
        {
            "title": _("Plan %(number)s") % {"number": run.pk},
            "run": run,
            "slots": slots,
            "in_force": in_force if in_force and in_force.pk != run.pk else None,
            "explained": retelling.explained_again(run.explained),
            "left_out": [row | {"said": retelling.retold(row["why"])} for row in run.left_out],
            "comparison": comparison(run),
            "loads": _loads(run),
            "changes": _changes(run, shed),
            **_foreseen(request, run, len(slots)),
            **_effects(request, run, len(slots), shed),
        },
    )


# So many warps are weighed while the page is made; of a fuller shed the section comes a moment later.
WEIGHED_AT_ONCE = 80


def _foreseen(request: HttpRequest, run: PlanRun, n_warps: int) -> dict[str, Any]:
    """What an offered plan would do to the store."""
    if run.state != PlanRun.OFFERED:
        return {}
    is_now = n_warps <= WEIGHED_AT_ONCE or "store" in request.GET
    return {"is_weighed": True, "foreseen": foresight.foresee_plan(run) if is_now else None}


@require_GET
@room("looms")
def plan_foresight(request: HttpRequest, pk: int) -> HttpResponse:
    """The same alone, for the page to put in its place."""
    run = get_object_or_404(PlanRun, pk=pk)
    foreseen = foresight.foresee_plan(run) if run.state == PlanRun.OFFERED else None
    return render(request, "planning/_plan_foresight.html", {"run": run, "foreseen": foreseen})


def _effects(request: HttpRequest, run: PlanRun, n_warps: int, shed: effects.Shed) -> dict[str, Any]:
    """What an offered plan would do to days, hours and tickets; a moment later for a full shed."""
    if run.state != PlanRun.OFFERED or (n_warps > WEIGHED_AT_ONCE and "effects" not in request.GET):
        return {}
    return worked_effects(run, shed)


def worked_effects(run: PlanRun, shed: effects.Shed | None = None) -> dict[str, Any]:
    """The effects of an offered plan, or why they can't be told."""
    try:
        return {"effects": effects.of_plan(run, shed)}
    except Refusal as refusal:
        return {"refusal": refusal.message}


@require_GET
@room("looms")
def plan_effects(request: HttpRequest, pk: int) -> HttpResponse:
    """The same alone, for the plan's page or the board to put in its place."""
    run = get_object_or_404(PlanRun, pk=pk)
    if run.state != PlanRun.OFFERED:
        raise Http404
    told = {"run": run, **worked_effects(run)}
    if reverse("board") in request.headers.get("HX-Current-URL", ""):
        # The plan's page has the yarn in a section of its own.
        told |= {"on_board": True, "foreseen": foresight.foresee_plan(run)}
    return render(request, "planning/_plan_effects.html", told)


COST_ROWS: list[tuple[str, str, Callable[[Any], str]]] = [
    (N_("Late, weighted"), "weighted_tardy_min", hours),
    (N_("Pieces late"), "tardy_pieces", str),
    (N_("Set-up"), "setup_min", hours),
    (N_("Warps that move"), "moved", str),
    (N_("of them to start soon"), "moved_frozen", str),
    (N_("Lateness costs"), "tardiness", num),
    (N_("Set-up costs"), "setup", num),
    (N_("Length of the plan costs"), "makespan", num),
    (N_("Moves cost"), "moves", num),
    (N_("All together"), "total", num),
]


def comparison(run: PlanRun) -> dict[str, Any]:
    """A plan beside the plan in force, carried on, and the paper rule: the parts of their cost, one row each."""
    beside = run.explained.get("beside", [])
    costs = [run.cost, *(other["cost"] for other in beside)]
    rows = [
        {"label": said(label), "cells": [say(cost.get(name, 0)) for cost in costs]}
        for label, name, say in COST_ROWS
        if any(cost.get(name) for cost in costs) or name in {"weighted_tardy_min", "tardy_pieces", "total"}
    ]
    ends = [
        moment(clock.to_moment(cost["last_end"], epoch=run.starts_at)) if cost.get("last_end") else "–"
        for cost in costs
    ]
    return {
        "names": [
            _("This plan"),
            *(name[:1].upper() + name[1:] for other in beside if (name := retelling.retold(other["name"]))),
        ],
        "rows": [*rows, {"label": _("Last pick woven"), "cells": ends}],
    }


def _loads(run: PlanRun) -> list[dict[str, Any]]:
    """The weekly load of looms, tuners and warping: a table's rows, and the same drawn."""
    load = run.explained.get("load", [])
    found = []
    for title, opened, parts in (
        (_("Looms"), "looms_open", (("weaving", "looms_weaving"), ("set-up", "looms_setup"))),
        (_("Tuners"), "tuners_open", (("set-up", "tuners_taken"),)),
        (_("Warping"), "warping_open", (("warping", "warping_taken"),)),
    ):
        weeks = [
            Load(day(date.fromisoformat(row["week"])), row[opened], tuple((ink, row[name]) for ink, name in parts))
            for row in load
        ]
        found.append(
            {
                "title": title,
                "parts": [said(ink.capitalize()) for ink, _name in parts],
                "weeks": weeks,
                "svg": mark_safe(  # noqa: S308 - escaped there
                    bars_svg(weeks, label=_("%(title)s, week by week") % {"title": title}, closed=_("closed"))
                ),
            }
        )
    return found


def _changes(run: PlanRun, shed: effects.Shed) -> list[str]:
    """What the plan does not know of, while it waits for a word."""
    if run.state != PlanRun.OFFERED:
        return []
    try:
        # What it only thinks of is no change that it does not know of.
        return [retelling.retold(one) for one in explaining.changes_since(run, shed.then)]
    except Refusal as refusal:
        return [refusal.message]


@require_POST
@room("looms")
def plan_decide(request: HttpRequest, pk: int) -> HttpResponse:
    run = get_object_or_404(PlanRun, pk=pk)
    then = "board" if request.POST.get("then") == "board" else "looms"
    try:
        match request.POST.get("act"):
            case "refuse":
                plans.refuse_plan(run, by=request.user)
                messages.success(request, _("Plan %(number)s is put aside.") % {"number": pk})
                return redirect(then) if then == "board" else redirect("plan", pk=pk)
            case "bring back":
                again = plans.bring_back(run, by=request.user)
                messages.success(
                    request,
                    _("Plan %(number)s is back in force, timed afresh as plan %(again)s.")
                    % {"number": pk, "again": again.pk},
                )
            case _:
                plans.put_in_force(run, by=request.user)
                messages.success(request, _("Plan %(number)s is in force.") % {"number": pk})
    except Refusal as refusal:
        messages.error(request, refusal.message)
        return redirect("plan", pk=pk)
    return redirect(then)


@require_GET
@room("looms")
def plans_list(request: HttpRequest) -> HttpResponse:
    columns = [
        Column(gettext_lazy("Plan"), lambda r: r.pk, "pk", link=lambda r: reverse("plan", args=[r.pk]), is_number=True),
        Column(gettext_lazy("Made"), lambda r: r.made_at, "made_at", shown=lambda r: moment(r.made_at)),
        Column(gettext_lazy("Rule"), lambda r: r.rule, "rule", shown=lambda r: r.rule_called),
        Column(gettext_lazy("State"), lambda r: r.state, "state", shown=lambda r: said(r.state)),
        Column(gettext_lazy("Warps"), lambda r: r.n_slots, "n_slots", is_number=True),
        Column(gettext_lazy("Pieces late"), lambda r: r.cost.get("tardy_pieces"), is_number=True),
        Column(
            gettext_lazy("Late, weighted"),
            lambda r: r.cost.get("weighted_tardy_min"),
            "cost__weighted_tardy_min",
            "min",
            shown=lambda r: hours(r.cost.get("weighted_tardy_min")),
            is_number=True,
        ),
        Column(
            gettext_lazy("Set-up"),
            lambda r: r.cost.get("setup_min"),
            "cost__setup_min",
            "min",
            shown=lambda r: hours(r.cost.get("setup_min")),
            is_number=True,
        ),
    ]
    rows = PlanRun.objects.annotate(n_slots=Count("slots")).order_by("-pk")
    return listing(
        request,
        rows,
        columns=columns,
        name="plans",
        title=_("Plans of the shed"),
        extra={"back": (reverse("looms"), _("Looms"))},
    )


urlpatterns = [
    path("looms/", looms_list, name="looms"),
    path("looms/new/", loom_edit, name="loom_new"),
    path("looms/plans/", plans_list, name="plans"),
    path("looms/plans/new/", plan_new, name="plan_new"),
    path("looms/plans/improve/", plan_improve, name="plan_improve"),
    path("looms/plans/late-yarn/<int:pk>/", plan_late_yarn, name="plan_late_yarn"),
    path("looms/plans/looking/<int:pk>/", plan_work, name="plan_work"),
    path("looms/plans/looking/<int:pk>/stop/", plan_stop, name="plan_stop"),
    path("looms/plans/<int:pk>/", plan, name="plan"),
    path("looms/plans/<int:pk>/foresight/", plan_foresight, name="plan_foresight"),
    path("looms/plans/<int:pk>/effects/", plan_effects, name="plan_effects"),
    path("looms/plans/<int:pk>/decide/", plan_decide, name="plan_decide"),
    path("looms/<str:code>/", loom, name="loom"),
    path("looms/<str:code>/edit/", loom_edit, name="loom_edit"),
    path("looms/<str:code>/hold/", loom_hold, name="loom_hold"),
    path("looms/<str:code>/stands/", loom_breaks_down, name="loom_breaks_down"),
]
