from collections import defaultdict
from datetime import date
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET

from inventory import services
from inventory.forms import InspectionForm, StocktakeForm, TriggersForm
from inventory.models import Place, YarnLot
from inventory.stocktake import together
from inventory.store_care import CAUTION, INSPECTION, SPECIES, Stored, long_unmoved
from inventory.views import is_written
from mill.desk import room
from mill.edits import Edit
from mill.models import Mill
from mill.templatetags.mill import day, kg

LONG_UNMOVED_SHOWN = 20
INSPECTIONS_SHOWN = 20
MONTHS_SHOWN = 6


@require_GET
@room("store")
def store(request: HttpRequest) -> HttpResponse:
    """What lies where, what is due, what is barred, and what was found of late."""
    mill = Mill.the_one()
    today, triggers = timezone.localdate(), services.triggers(mill)
    shelves = services.shelves()
    due = services.due_of(shelves, triggers, today=today)
    unmoved = long_unmoved(shelves, triggers, today=today)
    next_look = {one.shelf.pk: one for one in reversed(due) if one.what == INSPECTION and one.shelf}
    return render(
        request,
        "inventory/store.html",
        {
            "title": _("Store"),
            "due": [one for one in due if one.is_due(today)],
            "coming": [one for one in due if not one.is_due(today)][:5],
            "places": [{"shelf": shelf, "next": next_look.get(shelf.pk)} for shelf in shelves],
            "unmoved": unmoved[:LONG_UNMOVED_SHOWN],
            "n_unmoved": len(unmoved),
            "triggers": triggers,
            "species": SPECIES,
            "found": [(month, [counts[name] for name, *_ in SPECIES], counts["n"]) for month, counts in _by_month()],
            "quarantined": YarnLot.objects.filter(is_quarantined=True)
            .select_related("yarn", "place")
            .prefetch_related("treatments")
            .with_balance()
            .order_by("label"),
            "unplaced": YarnLot.objects.filter(place__isnull=True)
            .select_related("yarn")
            .with_balance()
            .filter(on_hand_g__gt=0)
            .order_by("label"),
            "caution": CAUTION,
        },
    )


def _by_month() -> list[tuple[date, dict[str, int]]]:
    return services.found_by_month(MONTHS_SHOWN)


@require_GET
@room("store")
def store_due(request: HttpRequest) -> HttpResponse:
    """The round: what is due today, place by place, with room to write what is found. On paper it goes along."""
    today, mill = timezone.localdate(), Mill.the_one()
    triggers, shelves = services.triggers(mill), services.shelves()
    due = [one for one in services.due_of(shelves, triggers, today=today) if one.is_due(today)]
    unmoved: dict[int, list[Stored]] = defaultdict(list)
    for shelf, lot in long_unmoved(shelves, triggers, today=today):
        unmoved[shelf.pk].append(lot)
    by_place: dict[int, dict[str, Any]] = {}
    for one in due:
        if one.shelf:
            row = by_place.setdefault(one.shelf.pk, {"shelf": one.shelf, "due": [], "turn": unmoved[one.shelf.pk]})
            row["due"].append(one)
    return render(
        request,
        "inventory/store_due.html",
        {
            "title": _("Due in the store today"),
            "on": today,
            "places": sorted(by_place.values(), key=lambda row: row["shelf"].code),
            "courses": [one for one in due if one.course],
            "species": SPECIES,
            "caution": CAUTION,
        },
    )


def _lots_in(found: Place) -> Any:
    return found.lots.select_related("yarn").with_balance().filter(on_hand_g__gt=0).order_by("yarn__code", "label")


@require_GET
@room("store")
def place(request: HttpRequest, pk: int) -> HttpResponse:
    """What lies in a place, and who looked it over."""
    found = get_object_or_404(Place, pk=pk)
    return render(
        request,
        "inventory/place.html",
        {
            "title": str(found),
            "place": found,
            "lots": _lots_in(found),
            "inspections": [
                (one, [getattr(one, name) for name, *_ in SPECIES])
                for one in found.inspections.select_related("by")[:INSPECTIONS_SHOWN]
            ],
            "species": SPECIES,
            "traps": found.traps.filter(is_hung=True),
            "treatments": found.treatments.order_by("-began_on", "-pk")[:INSPECTIONS_SHOWN],
        },
    )


@room("store")
def place_count(request: HttpRequest, pk: int) -> HttpResponse:
    """A stock-take: weighed without the book in sight, then the differences, then the corrections."""
    found = get_object_or_404(Place, pk=pk)
    form = StocktakeForm(request.POST or None, lots=_lots_in(found))
    act = request.POST.get("act", "")
    if act == "post" and form.is_valid():
        lines: list[Any] = []

        def write() -> None:
            key = form.cleaned_data["key"]
            lines.extend(
                services.count_place(
                    place=found, weighed=form.weighed, shown_g=form.shown_g(), by=request.user, key=key
                )
            )

        if is_written(form, write):
            differ = [line for line in lines if line.change_g]
            together_g = sum(line.change_g for line in differ)
            messages.success(
                request,
                ngettext(
                    "%(n)s lot of %(place)s counted: %(differ)s differed from the book, %(kg)s kg in all.",
                    "%(n)s lots of %(place)s counted: %(differ)s differed from the book, %(kg)s kg in all.",
                    len(lines),
                )
                % {"n": len(lines), "place": found.code, "differ": len(differ), "kg": kg(together_g, 3)},
            )
            return redirect("place", pk=pk)
    differences: list[Any] = []
    if act == "look" and form.is_valid():
        if form.weighed:
            differences = services.differences(found, form.weighed)
        else:
            form.add_error(None, _("Nothing was weighed. Write the kilograms beside one lot at least."))
    by_label = {lot.label: lot.pk for lot in form.lots}
    return render(
        request,
        "inventory/place_count.html",
        {
            "title": _("Count %(place)s") % {"place": found},
            "place": found,
            "form": form,
            "differences": differences,
            "together": together(differences) if differences else None,
            "shown": [(f"book_{by_label[one.label]}", one.book_g) for one in differences],
            "uncounted": len(form.lots) - len(differences),
        },
    )


@require_GET
@room("store")
def place_count_sheet(request: HttpRequest, pk: int) -> HttpResponse:
    """The sheet that goes along: what lies there, and room to write. What the book has is not on it."""
    found = get_object_or_404(Place, pk=pk)
    return render(
        request,
        "inventory/count_sheet.html",
        {
            "title": _("Count sheet of %(place)s") % {"place": found.code},
            "place": found,
            "lots": _lots_in(found),
            "on": timezone.localdate(),
        },
    )


@room("store")
def inspection_new(request: HttpRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Place, pk=pk)
    form = InspectionForm(request.POST or None, traps=found.traps.filter(is_hung=True))
    if form.is_bound and form.is_valid():
        said = form.cleaned_data

        def write() -> None:
            services.inspect(
                place=found,
                on=said["on"],
                found=form.found(),
                note=said["note"],
                renewed=said.get("renewed", ()),
                by=request.user,
                key=said["key"],
            )

        if is_written(form, write):
            messages.success(
                request, _("%(place)s was looked over on %(on)s.") % {"place": found.code, "on": day(said["on"])}
            )
            return redirect("store")
    return render(
        request,
        "inventory/inspection.html",
        {
            "title": _("%(place)s looked over") % {"place": found},
            "form": form,
            "place": found,
            "caution": CAUTION,
            "back": reverse("store"),
        },
    )


@room("store")
def store_triggers(request: HttpRequest) -> HttpResponse:
    mill = Mill.the_one()
    edit = Edit(request, mill, lambda data, row: TriggersForm(data, instance=row))
    if edit.is_valid() and edit.is_written(
        lambda form, seen: services.write_triggers(
            mill=form.instance, changed=form.changed_data, by=request.user, seen=seen
        )
    ):
        messages.success(request, _("The store's triggers are set."))
        return redirect("store")
    about = _("The mill sets its own: no published threshold of a trap was found.")
    return render(
        request,
        "mill/form.html",
        {
            "title": _("When the store is looked over"),
            "edit": edit,
            "form": edit.form,
            "about": about,
            "back": reverse("store"),
        },
    )


urlpatterns = [
    path("store/", store, name="store"),
    path("store/due/", store_due, name="store_due"),
    path("store/triggers/", store_triggers, name="store_triggers"),
    path("store/places/<int:pk>/", place, name="place"),
    path("store/places/<int:pk>/count/", place_count, name="place_count"),
    path("store/places/<int:pk>/count/sheet/", place_count_sheet, name="place_count_sheet"),
    path("store/places/<int:pk>/inspect/", inspection_new, name="inspection_new"),
]
