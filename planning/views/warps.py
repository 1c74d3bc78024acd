from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import django_filters
from django import forms
from django.contrib import messages
from django.db.models import F, Min, OuterRef, Prefetch, Q, QuerySet, Subquery
from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, gettext_noop
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from inventory.draw import listed
from mill import worked_sheet
from mill.desk import room
from mill.edits import Edit
from mill.fields import DayInput, whole
from mill.listing import Column, listing
from mill.refusal import N_, Refusal
from mill.retold import told_again
from mill.said_working import label_said
from mill.templatetags.mill import day, kg, num
from mill.working import Step
from planning.forms.warps import (
    HoldLotForm,
    JoinForm,
    NoteForm,
    PutOnForm,
    SplitForm,
    StepBackForm,
    chosen_dye_lots,
)
from planning.formulae import ROUNDED
from planning.models import Beam, Cloth, Loom, OrderLine, PlanRun, Slot, Warp, WarpFigures, WarpPart
from planning.picture import beam_svg
from planning.services import line_plans, lot_shares, plans, retelling, warp_steps, warp_yarn, warps, working_out
from planning.services.line_states import free_pieces
from planning.ticket import Figures, from_json
from planning.views.orders import of_lines

STORY_SHOWN = 30

# The list


def for_list(rows: QuerySet[Warp]) -> QuerySet[Warp]:
    """Warps with what a list shows of them, but not their figures in full: a constant number of queries."""
    slot = Slot.objects.filter(run__state=PlanRun.IN_FORCE, warp=OuterRef("pk"))
    parts = WarpPart.objects.select_related("line__order__customer", "line__colourway", "spec__cloth")
    return (
        rows.select_related("beam", "loom", "worked")
        .defer("worked__figures")
        .annotate(
            due_on=Min("parts__line__due_on"),
            starts_at=Subquery(slot.values("weaving_starts_at")[:1]),
            stops_at=Subquery(slot.values("weaving_stops_at")[:1]),
            late_min=Subquery(slot.values("late_min")[:1]),
            days_late=Subquery(slot.values("days_late")[:1]),
            planned_loom=Subquery(slot.values("loom__code")[:1]),
            yarn_g=F("worked__warp_g") + F("worked__weft_g"),
        )
        .prefetch_related(Prefetch("parts", parts.order_by("position")))
    )


class WarpFilter(django_filters.FilterSet):
    """Without a state chosen it shows what is open."""

    text = django_filters.CharFilter(label=gettext_lazy("Number, order or customer"), method="by_text")
    state = django_filters.ChoiceFilter(
        label=gettext_lazy("State"),
        choices=[("all", gettext_lazy("all")), *((state, gettext_lazy(state)) for state, _label in Warp.STATES)],
        empty_label=gettext_lazy("open"),
        method="by_state",
    )
    cloth = django_filters.ModelChoiceFilter(
        queryset=Cloth.objects.all(), label=gettext_lazy("Cloth"), empty_label=gettext_lazy("any"), method="by_cloth"
    )
    loom = django_filters.ModelChoiceFilter(
        queryset=Loom.objects.all(), label=gettext_lazy("Loom"), empty_label=gettext_lazy("any"), method="by_loom"
    )
    due_before = django_filters.DateFilter(
        field_name="due_on", lookup_expr="lte", label=gettext_lazy("Due by"), widget=DayInput()
    )
    trouble = django_filters.ChoiceFilter(
        label=gettext_lazy("Trouble"),
        choices=[
            ("trouble", gettext_lazy("can’t be woven as it stands")),
            ("late", gettext_lazy("late by the plan")),
            ("beam", gettext_lazy("has no beam yet")),
        ],
        empty_label=gettext_lazy("any"),
        method="by_trouble",
    )

    class Meta:
        model = Warp
        fields: list[str] = []

    def filter_queryset(self, queryset: QuerySet[Warp]) -> QuerySet[Warp]:
        found = super().filter_queryset(queryset)
        return found if self.form.cleaned_data.get("state") else found.exclude(state=Warp.WOVEN_OUT)

    def by_text(self, rows: QuerySet[Warp], _name: str, value: str) -> QuerySet[Warp]:
        of_order = WarpPart.objects.filter(of_lines(value, "line__") | Q(line__order__customer__name__icontains=value))
        found = Q(pk__in=of_order.values("warp"))
        number = value.strip().lower().removeprefix("warp").removeprefix(_("Warp").lower()).strip()
        if number.isdecimal() and len(number) < 9:
            found |= Q(number=int(number))
        return rows.filter(found)

    def by_state(self, rows: QuerySet[Warp], _name: str, value: str) -> QuerySet[Warp]:
        return rows if value == "all" else rows.filter(state=value)

    def by_cloth(self, rows: QuerySet[Warp], _name: str, value: Cloth) -> QuerySet[Warp]:
        return rows.filter(pk__in=WarpPart.objects.filter(spec__cloth=value).values("warp"))

    def by_loom(self, rows: QuerySet[Warp], _name: str, value: Loom) -> QuerySet[Warp]:
        return rows.filter(Q(loom=value) | Q(loom=None, planned_loom=value.code))

    def by_trouble(self, rows: QuerySet[Warp], _name: str, value: str) -> QuerySet[Warp]:
        match value:
            case "trouble":
                return rows.filter(pk__in=WarpFigures.objects.exclude(trouble="").values("warp"))
            case "late":
                return rows.filter(Q(late_min__gt=0))
            case _:
                return rows.filter(beam=None)


def _of_figures(name: str) -> Callable[[Any], Any]:
    return lambda warp: getattr(getattr(warp, "worked", None), name, None)


def cloths_of(warp: Warp) -> str:
    return "; ".join(dict.fromkeys(f"{part.spec.cloth}, {part.line.colourway.name}" for part in warp.parts.all()))


def whose(warp: Warp) -> list[str]:
    """What is on a warp: each cloth, with its customers."""
    found: dict[Cloth, dict[str, None]] = {}
    for part in warp.parts.all():
        found.setdefault(part.spec.cloth, {})[str(part.line.order.customer)] = None
    return [
        _("%(cloth)s for %(customer)s") % {"cloth": cloth, "customer": "; ".join(customers)}
        for cloth, customers in found.items()
    ]


def trouble_of(warp: Any) -> str:
    """What is the matter with a warp of the list, in a few words."""
    worked = getattr(warp, "worked", None)
    if worked and worked.trouble:
        return str(worked.trouble).splitlines()[0]
    if worked is None or worked.is_stale:
        return gettext_noop("being worked out")
    return gettext_noop("late by the plan") if warp.late_min else ""


WARP_COLUMNS = [
    Column(
        gettext_lazy("Warp"),
        lambda w: w.number,
        "number",
        link=lambda w: reverse("warp", args=[w.number]),
        is_number=True,
    ),
    Column(gettext_lazy("State"), lambda w: w.state, "state", shown=lambda w: _(w.state)),
    Column(gettext_lazy("Cloth"), cloths_of),
    Column(gettext_lazy("For"), lambda w: ", ".join(str(part.line) for part in w.parts.all())),
    Column(
        gettext_lazy("Ends"),
        _of_figures("ends"),
        "worked__ends",
        is_number=True,
        shown=lambda w: num(_of_figures("ends")(w)),
    ),
    Column(
        gettext_lazy("Length"),
        _of_figures("warp_length_m"),
        "worked__warp_length_m",
        "m",
        shown=lambda w: num(_of_figures("warp_length_m")(w), 1),
        is_number=True,
    ),
    Column(gettext_lazy("Beam"), lambda w: w.beam.code if w.beam else None),
    Column(gettext_lazy("Loom"), lambda w: w.loom.code if w.loom else w.planned_loom, "planned_loom"),
    Column(gettext_lazy("Weaving begins"), lambda w: w.starts_at, "starts_at", shown=lambda w: day(w.starts_at)),
    Column(gettext_lazy("Due"), lambda w: w.due_on, "due_on", shown=lambda w: day(w.due_on)),
    Column(gettext_lazy("Yarn"), lambda w: w.yarn_g, "yarn_g", "kg", shown=lambda w: kg(w.yarn_g), is_number=True),
    Column(gettext_lazy("Trouble"), trouble_of, shown=lambda w: told_again(trouble_of(w))),
]


@require_GET
@room("warps")
def warps_list(request: HttpRequest) -> HttpResponse:
    return listing(
        request,
        for_list(Warp.objects.order_by("number")),
        columns=WARP_COLUMNS,
        filterset=WarpFilter,
        template="planning/warps.html",
        name="warps",
        title=_("Warps"),
        extra={
            "waiting": OrderLine.objects.not_on_a_warp().count(),
            "unplanned": plans.unplanned().count(),
            "when_empty": _("No warp stands here. Combine order lines into warps first."),
        },
        row_class=lambda w: "late" if trouble_of(w) not in ("", "being worked out") else "",
    )


# A warp

# Its figures in the order in which the trade asks for them: (name, label where no sum worked it, unit).
GROUPS: tuple[tuple[str, tuple[tuple[str, str, str], ...]], ...] = (
    (
        gettext_noop("Warp"),
        (
            ("ends", gettext_noop("Ends"), "ends"),
            ("pieces", gettext_noop("Pieces"), ""),
            ("headers_m", "", "m"),
            ("thrums_m", gettext_noop("Thrums"), "m"),
            ("warp_length_m", "", "m"),
            ("picks", "", "picks"),
            ("thrums_g", "", "g"),
        ),
    ),
    (
        gettext_noop("Yarn"),
        (
            ("warp_g", "", "g"),
            ("warp_issue_g", "", "g"),
            ("weft_g", "", "g"),
            ("weft_issue_g", "", "g"),
            ("sized_warp_g", "", "g"),
        ),
    ),
    (
        gettext_noop("Warping"),
        (
            ("packages", "", ""),
            ("package_length_m", "", "m"),
            ("warping_min", "", "min"),
        ),
    ),
    (
        gettext_noop("Beam and loom"),
        (
            ("beam_diameter_mm", "", "mm"),
            ("beam_gross_kg", "", "kg"),
            ("weaving_min", "", "min"),
            ("loom_hours", "", "h"),
        ),
    ),
)


@dataclass(frozen=True)
class Sum:
    """One line of figures; `step` is its working, where there is one."""

    name: str
    label: str
    value: Any
    unit: str
    step: Step | None


def sums(figures: Figures) -> list[tuple[str, list[Sum]]]:
    """The figures by group; what can't be said yet, for want of a beam or a loom, is left out."""
    # Of its ends the cloth has the working.
    steps = {step.name: step for step in (*figures.cloth.working, *figures.working)}
    found = []
    for group, names in GROUPS:
        lines = [
            Sum(
                name,
                label_said(label, steps.get(name)),
                getattr(figures, name),
                unit,
                steps.get(name),
            )
            for name, label, unit in names
            if getattr(figures, name) is not None
        ]
        found.append((_(group), lines))
    return [(group, lines) for group, lines in found if lines]


def _beam_picture(figures: Figures, beam: Beam | None) -> SafeString | None:
    if beam is None or figures.beam_diameter_mm is None:
        return None
    svg = beam_svg(beam.as_facts(), filled_mm=figures.beam_diameter_mm, warp_width_cm=figures.cloth.reed_width_cm)
    return mark_safe(svg)  # noqa: S308 - picture.py escapes every text it is given


def _found(number: int) -> Warp:
    return get_object_or_404(working_out.for_working_out(Warp.objects.filter(number=number)))


def _worked_context(found: Warp) -> dict[str, Any]:
    """Everything on the page that follows from the warp's figures: what is shown again when they have changed."""
    worked = getattr(found, "worked", None)
    figures = from_json(worked.figures) if worked and worked.figures else None
    yarns = warp_yarn.states(found) if figures else []
    return {
        "warp": found,
        "worked": worked,
        "is_being_worked_out": worked is None or worked.is_stale,
        "figures": figures,
        "groups": sums(figures) if figures else [],
        "picture": _beam_picture(figures, found.beam) if figures else None,
        "yarns": yarns,
        "unwanted": warp_yarn.unwanted(found, yarns) if figures else [],
        "is_warp_held": bool(figures) and not any(state.left_g for state in yarns if state.need.use == warp_yarn.WARP),
        "run_working": [(run.line, run.working) for run in figures.runs] if figures else [],
    }


@require_GET
@room("warps")
def warp(request: HttpRequest, number: int) -> HttpResponse:
    found = _found(number)
    if worked_sheet.is_asked(request):
        kept = getattr(found, "worked", None)
        figures = from_json(kept.figures) if kept and kept.figures else None
        parts = [worked_sheet.Part(_("The warp"), figures.working)] if figures else []
        parts += [worked_sheet.Part(_("Ends, widths and setts"), figures.cloth.working)] if figures else []
        if slot := working_out.slot_in_force(found):
            parts.append(worked_sheet.Part(_("Its times in the plan"), line_plans.times_of(slot)))
        runs = figures.runs if figures else ()
        parts += [worked_sheet.Part(_("Order line %(line)s") % {"line": run.line}, run.working) for run in runs]
        return worked_sheet.sheet(request, title=found.called, back=request.path, parts=parts, notes=[_(ROUNDED)])
    return _page(request, found)


def _page(request: HttpRequest, found: Warp, **wrong: forms.Form | Edit) -> HttpResponse:
    """The warp's page; `wrong` are forms that were sent and say what is the matter."""
    context = _worked_context(found)
    slot = working_out.slot_in_force(found)
    parts = list(found.parts.all())
    may_change = found.state in warps.FOLLOWING and not found.is_locked
    others = _others_like(found) if may_change else []
    context |= {
        "title": found.called,
        "slot": slot,
        "times": line_plans.times_of(slot) if slot else (),
        "loom": working_out.loom_of(found),
        "parts": parts,
        "seen": warps.parts_seen(found),
        "pieces": sum(part.pieces for part in parts),
        "may_change": may_change,
        "may_reorder": not found.is_locked and found.state not in (*plans.IN_LOOM, Warp.WOVEN_OUT),
        "others": others,
        "waiting": _lines_like(found) if may_change else [],
        "split_form": SplitForm(),
        "join_form": JoinForm(others=others),
        "note": Edit(None, found, _note_form),
        "back_form": StepBackForm(initial={"seen_state": found.state}),
        "step_before": warp_steps.STEP_BEFORE.get(found.state),
        "looms": retelling.fitting(plans.looms_that_fit(found))
        if found.state == Warp.WOUND and context["figures"]
        else [],
        "why_late": retelling.retold(slot.why) if slot else "",
        "tickets": found.tickets.defer("figures", "extras").order_by("-number"),
        "story": [
            (entry, told_again(entry.history_change_reason or ""))
            for entry in found.history.select_related("history_user", "beam", "loom").all()[:STORY_SHOWN]
        ],
        **wrong,
    }
    return render(request, "planning/warp.html", context)


def _others_like(found: Warp) -> list[Warp]:
    """Planned warps of the same specification, not locked: with these it may be joined."""
    worked = getattr(found, "worked", None)
    if worked is None or not worked.warp_key:
        return []
    return list(
        Warp.objects.filter(worked__warp_key=worked.warp_key, state__in=warps.FOLLOWING, is_locked=False)
        .exclude(pk=found.pk)
        .select_related("worked")
        .defer("worked__figures")
        .order_by("number")
    )


def _lines_like(found: Warp) -> list[tuple[OrderLine, int]]:
    """Lines of the warp's own cloths and colourways with pieces that wait, and how many."""
    of = {(part.line.cloth_id, part.line.colourway_id) for part in found.parts.all()}
    rows = OrderLine.objects.not_on_a_warp().select_related("order__customer", "cloth").order_by("due_on", "pk")
    lines = [
        line
        for line in rows.filter(cloth__in=[cloth for cloth, _colourway in of])
        if (line.cloth_id, line.colourway_id) in of
    ]
    free = free_pieces(lines)
    return [(line, free[line.pk]) for line in lines if free[line.pk]]


@require_GET
@room("warps")
def warp_worked(request: HttpRequest, number: int) -> HttpResponse:
    """The part of the page that waits for figures, by itself: it asks again until they are there."""
    return render(request, "planning/_warp_worked.html", _worked_context(_found(number)))


# Acts on a warp: each a form of its own, back to the page

Act = Callable[[HttpRequest, Warp], "str | None"]


def _act(act: Act, *, back: str = "warp") -> Callable[..., HttpResponse]:
    """A view that does one thing to a warp and goes back to its page, with what came of it or why it can't be."""

    @require_POST
    @room("warps")
    def view(request: HttpRequest, number: int) -> HttpResponse:
        found = Warp.objects.filter(number=number).first()
        if found is None and not Warp.history.filter(number=number).exists():
            raise Http404(f"There has been no warp {number}.")
        if found is None:
            # The second of two taps, or somebody else was quicker.
            messages.warning(request, Refusal(warp_yarn.APART).message)
            return redirect("warps")
        try:
            said = act(request, found)
        except Refusal as refusal:
            messages.error(request, refusal.message)
            return redirect(back, number=number)
        if said:
            messages.success(request, said)
        # A warp may have been taken apart.
        return redirect("warp", number=number) if Warp.objects.filter(number=number).exists() else redirect("warps")

    return view


def _read(form: forms.Form) -> dict[str, Any]:
    """What a small form says; what is wrong with it is a refusal."""
    if form.is_valid():
        return form.cleaned_data
    field, errors = next(iter(form.errors.items()))
    label = form.fields[field].label if field in form.fields else ""
    raise Refusal(f"{label}: {errors[0]}" if label else str(errors[0]), field=field)


def _part(request: HttpRequest) -> int:
    part = whole(request.POST.get("part"))
    if part is None:
        raise Refusal(N_("No part is chosen. Press the button beside one."))
    return part


def _move(request: HttpRequest, found: Warp) -> str | None:
    earlier = request.POST.get("where") == "earlier"
    warps.move_part(found, _part(request), earlier=earlier, by=request.user, seen=request.POST.get("seen"))
    return None


def _take_off(request: HttpRequest, found: Warp) -> str:
    left = warps.take_off(found, _part(request), by=request.user, seen=request.POST.get("seen"))
    if left:
        return _("Taken off %(warp)s.") % {"warp": found.called}
    return _("Nothing was left on %(warp)s; it is taken apart.") % {"warp": found.called}


def _split(request: HttpRequest, found: Warp) -> str:
    after = _read(SplitForm(request.POST))["after"]
    _stays, other = warps.split(found, after=after, by=request.user, seen=request.POST.get("seen"))
    said = _("%(other)s takes the pieces after the first %(after)s.") % {"other": other.called, "after": after}
    return said + _without_beam(other)


def _without_beam(*found: Warp) -> str:
    bare = [one.called for one in found if one.beam is None]
    return " " + _("No free beam takes %(warps)s yet.") % {"warps": listed(bare)} if bare else ""


def _join(request: HttpRequest, found: Warp) -> str:
    other = _read(JoinForm(request.POST, others=_others_like(_found(found.number))))["other"]
    joined = warps.join(found, other, by=request.user, seen=request.POST.get("seen"))
    return _("%(other)s is joined to %(warp)s.") % {"other": other.called, "warp": joined.called} + _without_beam(
        joined
    )


def _put_on(request: HttpRequest, found: Warp) -> str:
    said = _read(PutOnForm(request.POST))
    line = get_object_or_404(OrderLine, pk=said["line"])
    put = warps.put_on(found, line, pieces=said["pieces"], by=request.user, seen=request.POST.get("seen"))
    names = {"pieces": said["pieces"], "line": line, "warp": put.called}
    return _("%(pieces)s of %(line)s are put on %(warp)s.") % names + _without_beam(put)


def _lock(request: HttpRequest, found: Warp) -> str:
    is_locked = request.POST.get("locked") == "yes"
    warps.lock_warp(found, is_locked=is_locked, by=request.user)
    if is_locked:
        return _("%(warp)s is locked: combining leaves it as it is.") % {"warp": found.called}
    return _("%(warp)s is unlocked.") % {"warp": found.called}


def _apart(request: HttpRequest, found: Warp) -> str:
    warps.take_apart(found, by=request.user)
    return _("%(warp)s is taken apart; its lines wait for a warp again.") % {"warp": found.called}


def _hold(request: HttpRequest, found: Warp) -> str | None:
    short = warp_yarn.hold_yarn(found, by=request.user, chosen=chosen_dye_lots(request.POST))
    for sentence in short:
        messages.warning(request, sentence)
    return None if short else _("All yarn of %(warp)s is held.") % {"warp": found.called}


def _hold_lot(request: HttpRequest, found: Warp) -> str:
    said = _read(HoldLotForm(request.POST))
    warp_yarn.hold_lot(found, lot=said["lot"], use=said["use"], grams=said["grams"], by=request.user)
    return _("%(grams)s g of lot %(lot)s are held.") % {"grams": num(said["grams"]), "lot": said["lot"]}


def _let_go(request: HttpRequest, found: Warp) -> str:
    use = request.POST.get("use") or None
    grams = warp_yarn.release_holds(found, by=request.user, use=use)
    return _("%(mass)s kg are let go.") % {"mass": kg(grams)} if grams else _("Nothing was held any more.")


def _draw(request: HttpRequest, found: Warp) -> str:
    warp_steps.draw_yarn(found, by=request.user)
    return _("The warp yarn of %(warp)s is drawn. From now on it follows no new revision.") % {"warp": found.called}


def _draw_weft(request: HttpRequest, found: Warp) -> str:
    grams = warp_steps.draw_weft(found, by=request.user)
    if not grams:
        return _("No weft is held that could be drawn. Hold it first.")
    return _("%(mass)s kg of weft are drawn.") % {"mass": kg(grams)}


def _wind(request: HttpRequest, found: Warp) -> str:
    wound = warp_steps.wind(found, by=request.user)
    return _("%(warp)s is wound on beam %(beam)s.") % {"warp": wound.called, "beam": wound.beam}


def _gait(request: HttpRequest, found: Warp) -> str:
    loom = Loom.objects.filter(code=request.POST.get("loom", "")).first()
    if loom is None:
        raise Refusal(N_("Choose the loom that it hangs in."), field="loom")
    warp_steps.gait(found, loom=loom, by=request.user)
    return _("%(warp)s hangs in loom %(loom)s.") % {"warp": found.called, "loom": loom}


def _begin(request: HttpRequest, found: Warp) -> str:
    warp_steps.begin_weaving(found, by=request.user)
    return _("%(warp)s is weaving.") % {"warp": found.called}


def _out(request: HttpRequest, found: Warp) -> str:
    out = warp_steps.weave_out(found, by=request.user)
    said = _("%(warp)s is woven out.") % {"warp": out.called}
    return f"{said} " + (_("Beam %(beam)s is free.") % {"beam": out.beam} if out.beam else "")


def _back(request: HttpRequest, found: Warp) -> str:
    said = _read(StepBackForm(request.POST))
    back = warp_steps.step_back(found, reason=said["reason"], by=request.user, seen_state=said["seen_state"])
    return _("%(warp)s is %(state)s again.") % {"warp": back.called, "state": _(back.state)}


@room("warps")
@require_http_methods(["GET", "POST"])
def warp_beam(request: HttpRequest, number: int) -> HttpResponse:
    """The mill's beams beside this warp: which take it, which are free, what each would weigh."""
    found = _found(number)
    if request.method == "POST":
        code = request.POST.get("beam", "")
        try:
            beam = get_object_or_404(Beam, code=code) if code else None
            chosen = warps.choose_beam(found, beam, by=request.user)
        except Refusal as refusal:
            messages.error(request, refusal.message)
            return redirect("warp_beam", number=number)
        said = _("%(warp)s goes on beam %(beam)s.") if chosen.beam else _("%(warp)s has no beam.")
        messages.success(request, said % {"warp": chosen.called, "beam": chosen.beam})
        return redirect("warp", number=number)
    context: dict[str, Any] = {"title": _("A beam for %(warp)s") % {"warp": found.called}, "warp": found}
    try:
        context["choices"] = warps.beam_choices(found)
        context["figures"] = from_json(found.worked.figures) if found.worked.figures else None
    except Refusal as refusal:
        context["refusal"] = refusal.message
    return render(request, "planning/warp_beam.html", context)


@require_http_methods(["GET", "POST"])
@room("warps")
def warp_note(request: HttpRequest, number: int) -> HttpResponse:
    """Its note, which stands on the ticket; the form is on the warp's own page."""
    if request.method == "GET":
        return redirect("warp", number=number)
    found = _found(number)
    note = Edit(request, found, _note_form)
    if note.is_valid() and note.is_written(
        lambda form, seen: warps.write_note(found, note=form.cleaned_data["note"], by=request.user, seen=seen)
    ):
        messages.success(request, _("The note is written down."))
        return redirect("warp", number=number)
    return _page(request, found, note=note)


def _note_form(data: QueryDict | None, found: Warp) -> NoteForm:
    return NoteForm(data, initial={"note": found.note})


@require_GET
@room("warps")
def warp_yarn_page(request: HttpRequest, number: int) -> HttpResponse:
    """Which lots to hold for the warp, why these, and what another choice would mean."""
    found = _found(number)
    context = _worked_context(found)
    return render(
        request,
        "planning/warp_yarn.html",
        {
            "title": _("Yarn for %(warp)s") % {"warp": found.called},
            **context,
            "beside_others": lot_shares.beside_others(context["yarns"]),
        },
    )


ACTS: Sequence[tuple[str, Act, str]] = [
    ("move", _move, "warp"),
    ("take-off", _take_off, "warp"),
    ("split", _split, "warp"),
    ("join", _join, "warp"),
    ("put-on", _put_on, "warp"),
    ("lock", _lock, "warp"),
    ("take-apart", _apart, "warp"),
    ("hold", _hold, "warp_yarn"),
    ("hold-lot", _hold_lot, "warp_yarn"),
    ("let-go", _let_go, "warp_yarn"),
    ("draw", _draw, "warp"),
    ("draw-weft", _draw_weft, "warp"),
    ("wind", _wind, "warp"),
    ("gait", _gait, "warp"),
    ("begin", _begin, "warp"),
    ("out", _out, "warp"),
    ("back", _back, "warp"),
]

urlpatterns = [
    path("warps/", warps_list, name="warps"),
    path("warps/<int:number>/", warp, name="warp"),
    path("warps/<int:number>/worked/", warp_worked, name="warp_worked"),
    path("warps/<int:number>/beam/", warp_beam, name="warp_beam"),
    path("warps/<int:number>/yarn/", warp_yarn_page, name="warp_yarn"),
    path("warps/<int:number>/note/", warp_note, name="warp_note"),
    *(
        path(f"warps/<int:number>/{name}/", _act(act, back=back), name=f"warp_{name.replace('-', '_')}")
        for name, act, back in ACTS
    ),
]
