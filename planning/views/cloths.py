from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, cast

import django_filters
from django.contrib import messages
from django.db.models import Count, Exists, OuterRef, Prefetch, Q, QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, gettext_noop, pgettext_lazy
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from inventory.models import Yarn
from mill.desk import room
from mill.edits import Edit
from mill.fields import whole
from mill.listing import Column, listing
from mill.meanwhile import Meanwhile, name_of
from mill.refusal import Refusal
from mill.retold import retold, told_again
from mill.said_working import label_said
from mill.signs import written_now
from mill.templatetags.mill import num
from mill.working import Step
from planning import cloth as cloth_room
from planning.forms.cloths import (
    ROUTE_BASE,
    STEP_NAMES,
    ClothForm,
    ClothSheet,
    ColourwayNameForm,
    NewClothForm,
    WholeColourwayForm,
    yarns_by_code,
)
from planning.loom import AGAINST, LoomNeeds, reasons_against
from planning.models import Cloth, ClothSpec, Colourway, ColourwayYarn, Loom, OrderLine, Reed, Warp, WarpPart
from planning.picture import NEAR_THREADS, cloth_picture_svg, draft_svg
from planning.services import cloths, working_out
from planning.services.cloths import ColourwayDraft, SpecDraft
from planning.services.revision_foresight import effects_of_revision
from planning.ticket import ClothFigures, widths_after_steps_cm

FAR_THREADS_MIN, FAR_THREADS = 200, 640
SMALL_THREADS, SMALL_PX = 32, 64
LINES_SHOWN = 12

# The figures of a cloth in the order in which the trade asks for them: (name, label where no sum worked it, unit).
GROUPS: tuple[tuple[str, tuple[tuple[str, str, str], ...]], ...] = (
    (
        gettext_noop("Width"),
        (
            ("finished_width_cm", gettext_noop("Finished width asked for"), "cm"),
            ("made_width_cm", "", "cm"),
            ("width_gain_cm", "", "cm"),
            ("overall_width_cm", "", "cm"),
            ("width_shrink_pct", "", "%"),
            ("grey_width_cm", "", "cm"),
            ("reed_width_cm", "", "cm"),
        ),
    ),
    (
        gettext_noop("Ends and picks"),
        (
            ("ends", "", "ends"),
            ("ground_ends", "", "ends"),
            ("selvedge_ends", gettext_noop("Selvedge ends"), "ends"),
            ("dents", "", "dents"),
            ("repeat_ends", gettext_noop("One repeat of the warp order"), "ends"),
            ("repeats", gettext_noop("Whole repeats in the width"), "repeats"),
            ("part_repeat_ends", gettext_noop("Part repeat that is left"), "ends"),
            ("repeat_picks", gettext_noop("One repeat of the weft order"), "picks"),
            ("reed_ends_per_cm", "", "per cm"),
            ("grey_ends_per_cm", "", "per cm"),
            ("finished_ends_per_cm", "", "per cm"),
            ("loom_picks_per_cm", gettext_noop("Picks per cm in the loom"), "per cm"),
            ("finished_picks_per_cm", "", "per cm"),
            ("warp_crimp_pct", gettext_noop("Warp crimp, of cloth length"), "%"),
            ("warp_take_up_pct", "", "%"),
        ),
    ),
    (
        gettext_noop("Weave and setting"),
        (
            ("shafts", gettext_noop("Shafts"), "shafts"),
            ("healds", gettext_noop("Healds on each shaft"), ""),
            ("draft_ends", gettext_noop("Ends of one threading"), "ends"),
            ("lifting_picks", gettext_noop("Picks of one lifting"), "picks"),
            ("longest_warp_float", gettext_noop("Longest float of the warp"), "picks"),
            ("longest_weft_float", gettext_noop("Longest float of the weft"), "ends"),
            ("max_ends_per_cm", "", "per cm"),
            ("max_picks_per_cm", "", "per cm"),
            ("working_ends_per_cm", "", "per cm"),
            ("tightness_pct", "", "%"),
        ),
    ),
    (
        gettext_noop("Mass"),
        (
            ("warp_tex", "", "tex"),
            ("weft_tex", "", "tex"),
            ("loom_g_per_m2", "", "g/m²"),
            ("finished_g_per_m2", "", "g/m²"),
            ("loom_g_per_m", "", "g/m"),
            ("finished_g_per_m", "", "g/m"),
        ),
    ),
    (
        gettext_noop("Finishing"),
        (
            ("length_shrink_pct", "", "%"),
            ("mass_loss_pct", "", "%"),
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


def sums(figures: ClothFigures) -> list[tuple[str, list[Sum]]]:
    steps = {step.name: step for step in figures.working}
    return [
        (
            _(group),
            [
                Sum(
                    name,
                    label_said(label, steps.get(name)),
                    _shown(getattr(figures, name)),
                    unit,
                    steps.get(name),
                )
                for name, label, unit in lines
            ],
        )
        for group, lines in GROUPS
    ]


def _shown(value: Any) -> Any:
    return ", ".join(str(n) for n in value) if isinstance(value, tuple) else value


def drawn(svg: str) -> SafeString:
    return mark_safe(svg)  # noqa: S308 - picture.py escapes every text it is given and checks every colour


@dataclass(frozen=True)
class YarnLine:
    """A yarn of a colourway and what of the repeats it makes."""

    letter: str
    yarn: cloth_room.YarnUse
    ends: int
    picks: int


@dataclass(frozen=True)
class StepLine:
    number: int
    step: cloth_room.RouteStep
    width_cm: Decimal


def workings(made: cloth_room.Cloth) -> dict[str, Any]:
    """Everything that a page shows of a cloth in one colourway: figures, cautions, pictures, where it can be woven."""
    figures = cloths.figures_of(made)
    ends = cloth_room.threads_by_letter(made.warp_order, figures.repeat_ends)
    picks = cloth_room.threads_by_letter(made.weft_order, figures.repeat_picks)
    widths = widths_after_steps_cm(made, dents=figures.dents)
    return {
        "figures": figures,
        "groups": sums(figures),
        "cautions": [*map(told_again, figures.warnings), *_reed_cautions(made, figures)],
        "looms": looms_that_take(made, figures),
        "yarn_lines": [YarnLine(c, yarn, ends.get(c, 0), picks.get(c, 0)) for c, yarn in made.yarns.items()],
        "step_lines": [StepLine(n, step, widths[n - 1]) for n, step in enumerate(made.route, start=1)],
        "near": drawn(cloth_picture_svg(made, name="near", threads_max=NEAR_THREADS)),
        "far": drawn(
            cloth_picture_svg(made, name="far", repeats=2, threads_min=FAR_THREADS_MIN, threads_max=FAR_THREADS)
        ),
        "draft": drawn(draft_svg(made.threading, made.lifting, in_words=_)),
    }


def looms_that_take(made: cloth_room.Cloth, figures: ClothFigures) -> dict[str, Any]:
    """Looms on which the cloth can be woven, and for the others the first reason why not."""
    needs = LoomNeeds(
        reed_width_cm=figures.reed_width_cm,
        shafts=figures.shafts,
        weft_colours=len({made.yarns[stripe.letter] for stripe in made.weft_order}),
    )
    taking: list[Loom] = []
    others: list[tuple[Loom, str]] = []
    for loom in Loom.objects.order_by("code"):
        reasons = reasons_against(needs, loom.as_facts())
        if reasons:
            others.append((loom, retold(reasons[0], AGAINST)))
        else:
            taking.append(loom)
    return {"taking": taking, "others": others}


def _reed_cautions(made: cloth_room.Cloth, figures: ClothFigures) -> list[str]:
    reeds = list(Reed.objects.all())
    alike = [reed for reed in reeds if reed.dents_per_10cm == made.reed_dents_per_10cm]
    if not reeds or any(reed.width_cm >= figures.reed_width_cm for reed in alike):
        return []
    if alike:
        widest = max(alike, key=lambda reed: reed.width_cm)
        said = {"reed": widest.code, "width": num(widest.width_cm, 1), "takes": num(figures.reed_width_cm, 1)}
        return [_("Reed %(reed)s is %(width)s cm wide; the warp takes %(takes)s cm of it.") % said]
    near = min(reeds, key=lambda reed: abs(reed.dents_per_10cm - made.reed_dents_per_10cm))
    said = {"dents": num(made.reed_dents_per_10cm), "near": near.called}
    return [_("The mill has no reed of %(dents)s dents per 10 cm; %(near)s is the nearest.") % said]


# The list


class ClothFilter(django_filters.FilterSet):
    text = django_filters.CharFilter(label=gettext_lazy("Code or name"), method="by_text")
    yarn = django_filters.ModelChoiceFilter(
        label=gettext_lazy("Has the yarn"),
        empty_label=gettext_lazy("any"),
        to_field_name="code",
        queryset=Yarn.objects.filter(colourway_yarns__isnull=False).distinct(),
        method="by_yarn",
    )
    is_in_use = django_filters.ChoiceFilter(
        label=gettext_lazy("Which"),
        choices=[("True", pgettext_lazy("a record", "in use")), ("False", gettext_lazy("put away"))],
        empty_label=gettext_lazy("all"),
    )

    class Meta:
        model = Cloth
        fields: list[str] = []

    def by_text(self, rows: QuerySet[Cloth], _name: str, value: str) -> QuerySet[Cloth]:
        return rows.filter(Q(code__icontains=value) | Q(name__icontains=value))

    def by_yarn(self, rows: QuerySet[Cloth], _name: str, value: Yarn) -> QuerySet[Cloth]:
        has_it = ColourwayYarn.objects.filter(yarn=value, spec__in=cloths.latest_specs(), spec__cloth=OuterRef("pk"))
        return rows.filter(Exists(has_it))


def with_figures(rows: QuerySet[Cloth]) -> QuerySet[Cloth]:
    """Cloths with their latest revision, its yarns, and how many order lines are open: a constant number of queries."""
    latest = cloths.with_yarns(cloths.latest_specs())
    is_open = Q(lines__in=OrderLine.objects.open())
    return rows.annotate(open_lines=Count("lines", filter=is_open, distinct=True)).prefetch_related(
        Prefetch("specs", latest), "colourways"
    )


def _first_made(cloth: Cloth) -> cloth_room.Cloth | None:
    """The latest revision in its first colourway, as numbers. `cloth` comes from with_figures()."""
    spec = cloth.current_spec
    first = next(iter(spec.colourway_yarns.all()), None) if spec else None
    if spec is None or first is None:
        return None
    try:
        return spec.as_cloth(first.colourway)
    except Refusal:
        # Its own page says why; the list has no place for a sentence.
        return None


def _yarn_names(cloth: Cloth) -> str:
    made = _first_made(cloth)
    return ", ".join(yarn.name for yarn in made.yarns.values()) if made else ""


def _small_picture(cloth: Cloth) -> SafeString | str:
    made = _first_made(cloth)
    if made is None:
        return ""
    return drawn(cloth_picture_svg(made, name=f"cloth-{cloth.pk}", threads_max=SMALL_THREADS, width_px_max=SMALL_PX))


def _figure(name: str) -> Any:
    def value(cloth: Cloth) -> Any:
        made = _first_made(cloth)
        try:
            return getattr(cloths.figures_of(made), name) if made else None
        except Refusal:
            return None

    return value


def _number_of(name: str) -> Any:
    """The same as it is written; nothing where there is none."""

    def shown(cloth: Cloth) -> str | None:
        value = _figure(name)(cloth)
        return None if value is None else str(value).replace(".", written_now().decimal)

    return shown


def _of_spec(name: str) -> Any:
    return lambda cloth: getattr(cloth.current_spec, name, None)


@room("cloths")
@require_GET
def cloths_list(request: HttpRequest) -> HttpResponse:
    columns = [
        Column(gettext_lazy("Code"), lambda c: c.code, "code", link=lambda c: reverse("cloth", args=[c.code])),
        Column(gettext_lazy("Name"), lambda c: c.name, "name"),
        Column(gettext_lazy("Yarns"), _yarn_names, shown=_small_picture),
        Column(gettext_lazy("Revision"), _of_spec("revision"), is_number=True),
        Column(gettext_lazy("Shafts"), _figure("shafts"), is_number=True),
        Column(
            gettext_lazy("Reed"),
            _of_spec("reed_dents_per_10cm"),
            unit=_("per 10 cm"),
            is_number=True,
            shown=_plain_reed,
        ),
        Column(
            gettext_lazy("Finished width"),
            _figure("made_width_cm"),
            unit="cm",
            is_number=True,
            shown=_number_of("made_width_cm"),
        ),
        Column(
            gettext_lazy("Finished mass"),
            _figure("finished_g_per_m2"),
            unit="g/m²",
            is_number=True,
            shown=_number_of("finished_g_per_m2"),
        ),
        Column(gettext_lazy("Colourways"), lambda c: ", ".join(colourway.name for colourway in c.colourways.all())),
        Column(gettext_lazy("Open lines"), lambda c: c.open_lines, "open_lines", is_number=True),
    ]
    return listing(
        request,
        with_figures(Cloth.objects.order_by("code")),
        columns=columns,
        filterset=ClothFilter,
        template="planning/cloths.html",
        name="cloths",
        title=_("Cloths"),
        extra={"when_empty": _("No cloth has been written down yet.")},
        row_class=lambda c: "" if c.is_in_use else "held",
    )


def _plain_reed(cloth: Cloth) -> str | None:
    spec = cloth.current_spec
    return num(spec.reed_dents_per_10cm) if spec else None


# A cloth


@room("cloths")
@require_GET
def cloth(request: HttpRequest, code: str) -> HttpResponse:
    own = get_object_or_404(Cloth, code=code)
    specs = list(cloths.with_yarns(own.specs.order_by("-revision")))
    spec = _chosen(specs, request.GET.get("revision"))
    colourways = _colourways_of(spec)
    colourway = next((c for c in colourways if str(c.pk) == request.GET.get("colourway")), None) or next(
        iter(colourways), None
    )
    context: dict[str, Any] = {
        "title": str(own),
        "cloth": own,
        "spec": spec,
        "is_latest": bool(specs) and spec == specs[0],
        "latest": specs[0] if specs else None,
        "colourways": colourways,
        "colourway": colourway,
        "history": _history(specs),
        "said": spec and [(_(label), getattr(spec, name), unit) for name, label, unit in cloths.SAID],
        **_used(own),
    }
    if spec and colourway:
        try:
            context |= workings(spec.as_cloth(colourway))
        except Refusal as refusal:
            context["refusal"] = refusal.message
    return render(request, "planning/cloth.html", context)


def _chosen(specs: list[ClothSpec], asked: str | None) -> ClothSpec | None:
    if not asked:
        return next(iter(specs), None)
    found = next((spec for spec in specs if str(spec.revision) == asked), None)
    if found is None:
        raise Http404(f"There is no revision {asked}.")
    return found


def _colourways_of(spec: ClothSpec | None) -> list[Colourway]:
    """The colourways that the revision is made in, by name."""
    return list({entry.colourway_id: entry.colourway for entry in spec.colourway_yarns.all()}.values()) if spec else []


def _history(specs: list[ClothSpec]) -> list[dict[str, Any]]:
    """Revisions, the latest first, each with what it says otherwise than the one before."""
    drafts = [cloths.draft_of(spec) for spec in specs]
    return [
        {"spec": spec, "differences": cloths.differences(before, draft) if before else []}
        for spec, draft, before in zip(specs, drafts, [*drafts[1:], None], strict=True)
    ]


def _used(own: Cloth) -> dict[str, Any]:
    """Where the cloth is used: open lines, warps, tickets and pieces; and whether warps are being worked out."""
    lines = OrderLine.objects.open().filter(cloth=own).select_related("order__customer", "colourway")
    warps = Warp.objects.open().filter(pk__in=WarpPart.objects.filter(spec__cloth=own).values("warp"))
    parts = WarpPart.objects.filter(spec__cloth=own).select_related("spec", "line__colourway")
    return {
        "lines": lines[:LINES_SHOWN],
        "n_lines": lines.count(),
        "warps": warps.select_related("worked").prefetch_related(Prefetch("parts", parts, to_attr="of_cloth")),
        "is_being_worked_out": working_out.is_being_worked_out(warps),
        "n_pieces": own.specs.aggregate(n=Count("woven_pieces"))["n"],
    }


@room("cloths")
@require_GET
def cloth_used(request: HttpRequest, code: str) -> HttpResponse:
    """The part of the page that waits for figures, by itself: it asks again until they are there."""
    own = get_object_or_404(Cloth, code=code)
    return render(request, "planning/_cloth_used.html", {"cloth": own, **_used(own)})


# Writing a revision


def _draft(sheet: ClothSheet) -> SpecDraft:
    said = sheet.said()
    return SpecDraft(said["columns"], said["route"], [ColourwayDraft(**said) for said in said["colourways"]])


def _form_page(
    request: HttpRequest,
    sheet: ClothSheet,
    *,
    own: Cloth | None = None,
    current: ClothSpec | None = None,
    form: NewClothForm | None = None,
    panel: Mapping[str, Any] | None = None,
) -> HttpResponse:
    return render(
        request,
        "planning/cloth_form.html",
        {
            "title": _("Revise %(cloth)s") % {"cloth": own} if own else _("New cloth"),
            "cloth": own,
            "current": current,
            "next_revision": current.revision + 1 if current else 1,
            "opened": request.POST.get("opened") or (cloths.mark_of(current) if current and own else ""),
            "may_correct": bool(own and current and not cloths.what_stands_on(current)),
            "sheet": sheet,
            "form": form,
            "reeds": Reed.objects.all(),
            "step_names": STEP_NAMES,
            "route_bases": list(enumerate(ROUTE_BASE[:2])),
            "figures_address": reverse("cloth_revise_figures", args=[own.code])
            if own
            else reverse("cloth_new_figures"),
            **(panel or {}),
        },
    )


def _panel(request: HttpRequest, sheet: ClothSheet, *, own: Cloth | None, current: ClothSpec | None) -> dict[str, Any]:
    """What follows from the sheet as it stands: figures, pictures, what it changes; or what keeps it from that."""
    draft: SpecDraft | None = None
    panel: dict[str, Any] = {"shown": 0}
    if sheet.is_valid():
        try:
            draft = _draft(sheet)
            cloth = own or Cloth(code=request.POST.get("code", "").strip() or "new", name=request.POST.get("name", ""))
            revision = current.revision + 1 if current else 1
            made = list(cloths.as_cloths(draft, cloth=cloth, revision=revision).items())
        except Refusal as refusal:
            sheet.refuse(refusal)
            panel["refusal"] = refusal.message
        else:
            panel["shown"] = shown = _number(request.POST.get("shown"), below=len(made))
            panel |= {"choices": list(enumerate(name for name, _cloth in made)), **workings(made[shown][1])}
            if own and current:
                panel["consequences"] = cloths.what_it_changes(own, draft)
                panel |= _effects(own, draft)
    return panel | {"missing": sheet.missing(), "misread": sheet.misread()}


def _effects(cloth: Cloth, draft: SpecDraft) -> dict[str, Any]:
    """What the revision does to days, hours and tickets, or why that can't be told."""
    try:
        return {"effects": effects_of_revision(cloth, draft)}
    except Refusal as refusal:
        return {"effects_refused": refusal.message}


def _panel_of(own: Cloth, current: ClothSpec | None) -> dict[str, Any]:
    """The panel before anything is typed: the revision that the next begins from."""
    if current is None:
        return {}
    draft = cloths.draft_of(current)
    try:
        made = list(cloths.as_cloths(draft, cloth=own, revision=current.revision).items())
        return {
            "choices": list(enumerate(name for name, _cloth in made)),
            "shown": 0,
            "consequences": cloths.what_it_changes(own, draft),
            **workings(made[0][1]),
        }
    except Refusal as refusal:
        return {"refusal": refusal.message}


def _number(text: str | None, *, below: int) -> int:
    return int(text) if text and text.isdecimal() and len(text) < 4 and int(text) < below else 0


@room("cloths")
@require_http_methods(["GET", "POST"])
def cloth_new(request: HttpRequest) -> HttpResponse:
    if request.method == "GET":
        like = Cloth.objects.filter(code=request.GET.get("like", "")).first()
        sheet = ClothSheet(spec=cloths.latest_of(like) if like else None)
        return _form_page(request, sheet, form=NewClothForm())
    sheet, form = ClothSheet(request.POST), NewClothForm(request.POST)
    panel = _panel(request, sheet, own=None, current=None)
    if form.is_valid() and sheet.is_valid() and "show" not in request.POST:
        try:
            spec = cloths.new_cloth(
                code=form.cleaned_data["code"],
                name=form.cleaned_data["name"],
                draft=_draft(sheet),
                by=request.user,
                note=sheet.spec_form.cleaned_data["note"],
            )
        except Refusal as refusal:
            if refusal.field in form.fields:
                form.add_error(refusal.field, refusal.message)
            else:
                sheet.refuse(refusal)
        else:
            messages.success(request, _("%(cloth)s is written down.") % {"cloth": spec.cloth})
            return redirect("cloth", spec.cloth.code)
    return _form_page(request, sheet, form=form, panel=panel)


@room("cloths")
@require_http_methods(["GET", "POST"])
def cloth_revise(request: HttpRequest, code: str) -> HttpResponse:
    own = get_object_or_404(Cloth, code=code)
    current = cloths.latest_of(own)
    if request.method == "GET":
        sheet = ClothSheet(spec=current, cloth=own)
        return _form_page(request, sheet, own=own, current=current, panel=_panel_of(own, current))
    sheet = ClothSheet(request.POST, spec=current, cloth=own)
    moved: dict[str, Any] = {}
    if "show" not in request.POST and sheet.is_valid():
        try:
            spec = _write(request, sheet, own=own, current=current)
        except Meanwhile as meanwhile:
            current = cloths.latest_of(own)
            moved = _moved(request, sheet, meanwhile)
        except Refusal as refusal:
            sheet.refuse(refusal)
        else:
            messages.success(request, _written(spec))
            return redirect("cloth", own.code)
    panel = _panel(request, sheet, own=own, current=current)
    return _form_page(request, sheet, own=own, current=current, panel=panel | {"moved": moved})


def _moved(request: HttpRequest, sheet: ClothSheet, meanwhile: Meanwhile) -> dict[str, Any]:
    """Both versions: what became of the revision that was opened, and how what is typed here differs from it now."""
    now = cast(ClothSpec, meanwhile.row)
    opened, _dash, _mark = request.POST.get("opened", "").partition("-")
    before = cloths.with_yarns(now.cloth.specs.filter(revision=whole(opened) or 0)).first()
    is_as_it_was = before is not None and cloths.mark_of(before) == request.POST.get("opened")
    standing = cloths.draft_of(now)
    return {
        "by": name_of(now.by),
        "revision": now.revision,
        "version": meanwhile.version,
        "theirs": cloths.differences(cloths.draft_of(before), standing) if before and is_as_it_was else [],
        "mine": cloths.differences(standing, _draft(sheet)),
    }


def _write(request: HttpRequest, sheet: ClothSheet, *, own: Cloth, current: ClothSpec | None) -> ClothSpec:
    draft, said = _draft(sheet), sheet.spec_form.cleaned_data
    seen = request.POST.get("over") or request.POST.get("opened")
    if "correct" in request.POST and current:
        return cloths.edit_spec(current, draft, by=request.user, note=said["note"], seen=seen)
    # The mark says more than the number of the revision that the draft was begun from.
    based_on = None if seen else said["based_on"]
    return cloths.revise(own, draft, by=request.user, note=said["note"], based_on=based_on, seen=seen)


def _written(spec: ClothSpec) -> str:
    following = cloths.what_stands_on(spec)
    said = _("%(cloth)s is now revision %(n)s.") % {"cloth": spec.cloth, "n": spec.revision}
    if following:
        said += " " + _("It is followed by %(what)s, being worked out now.") % {"what": following}
    return said


@room("cloths")
@require_POST
def cloth_figures(request: HttpRequest, code: str | None = None) -> HttpResponse:
    """The live part of the form: the same panel that the page shows, from what is typed so far."""
    own = get_object_or_404(Cloth, code=code) if code else None
    current = cloths.latest_of(own) if own else None
    sheet = ClothSheet(request.POST, spec=current, cloth=own)
    panel = _panel(request, sheet, own=own, current=current)
    letters_sent = request.POST.get("letters", "")
    return render(
        request,
        "planning/_cloth_live.html",
        {
            "sheet": sheet,
            "cloth": own,
            "is_table_changed": letters_sent != "".join(sheet.letters),
            "is_weave_changed": sheet.has_filled_in_weave,
            **panel,
        },
    )


# Its name and its colourways


@room("cloths")
@require_http_methods(["GET", "POST"])
def cloth_edit(request: HttpRequest, code: str) -> HttpResponse:
    own = get_object_or_404(Cloth, code=code)
    edit = Edit(request, own, lambda data, row: ClothForm(data, instance=row))

    def write(form: ClothForm, seen: str | None) -> Cloth:
        return cloths.change_cloth(get_object_or_404(Cloth, pk=own.pk), by=request.user, seen=seen, **form.cleaned_data)

    if edit.is_valid() and edit.is_written(write):
        messages.success(request, _("%(cloth)s is written down.") % {"cloth": edit.written})
        return redirect("cloth", edit.written.code)
    context = {
        "title": _("Name of %(name)s") % {"name": code},
        "edit": edit,
        "form": edit.form,
        "back": reverse("cloth", args=[code]),
    }
    return render(request, "mill/form.html", context)


@room("cloths")
@require_http_methods(["GET", "POST"])
def colourway_new(request: HttpRequest, code: str) -> HttpResponse:
    """One more colourway of the cloth as it stands: no revision, since nothing that is woven changes."""
    own = get_object_or_404(Cloth, code=code)
    spec = cloths.latest_of(own)
    if spec is None:
        raise Http404("It has never been specified.")
    letters = cloths.draft_of(spec).letters
    yarns = yarns_by_code(spec)
    form = WholeColourwayForm(request.POST or None, letters=letters, yarns=yarns)
    if request.method == "POST" and form.is_valid():
        said = form.said()
        try:
            colourway = cloths.add_colourway(own, name=said["name"], yarns=said["yarns"], by=request.user)
        except Refusal as refusal:
            name = (refusal.field or "").rpartition(".")[2]
            form.add_error(name if name in form.fields else None, refusal.message)
        else:
            messages.success(
                request, _("%(cloth)s can be ordered in %(colourway)s.") % {"cloth": own, "colourway": colourway}
            )
            return redirect(f"{reverse('cloth', args=[own.code])}?colourway={colourway.pk}")
    return render(
        request,
        "planning/cloth_colourway.html",
        {
            "title": _("Another colourway of %(cloth)s") % {"cloth": own},
            "form": form,
            "cloth": own,
            "spec": spec,
            "yarns": yarns.values(),
        },
    )


@room("cloths")
@require_http_methods(["GET", "POST"])
def colourway_rename(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    colourway = get_object_or_404(Colourway, pk=pk, cloth__code=code)
    title = _("Name of %(name)s") % {"name": colourway}
    edit = Edit(request, colourway, lambda data, row: ColourwayNameForm(data, instance=row))

    def write(form: ColourwayNameForm, seen: str | None) -> Colourway:
        return cloths.rename_colourway(
            get_object_or_404(Colourway, pk=pk), name=form.cleaned_data["name"], by=request.user, seen=seen
        )

    if edit.is_valid() and edit.is_written(write):
        messages.success(request, _("The colourway has its new name."))
        return redirect(f"{reverse('cloth', args=[code])}?colourway={pk}")
    context = {"title": title, "edit": edit, "form": edit.form, "back": reverse("cloth", args=[code])}
    return render(request, "mill/form.html", context)


urlpatterns = [
    path("cloths/", cloths_list, name="cloths"),
    path("cloths/new/", cloth_new, name="cloth_new"),
    path("cloths/new/figures/", cloth_figures, name="cloth_new_figures"),
    path("cloths/<str:code>/", cloth, name="cloth"),
    path("cloths/<str:code>/used/", cloth_used, name="cloth_used"),
    path("cloths/<str:code>/name/", cloth_edit, name="cloth_edit"),
    path("cloths/<str:code>/revise/", cloth_revise, name="cloth_revise"),
    path("cloths/<str:code>/revise/figures/", cloth_figures, name="cloth_revise_figures"),
    path("cloths/<str:code>/colourways/new/", colourway_new, name="colourway_new"),
    path("cloths/<str:code>/colourways/<int:pk>/", colourway_rename, name="colourway_rename"),
]
