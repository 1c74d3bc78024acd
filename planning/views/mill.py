"""The mill's own figures, and the small records of the shed: reeds, beams, hours, closures."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import partial
from typing import Any

from django import forms
from django.contrib import messages
from django.db.models import Model, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import URLPattern, path, reverse
from django.utils.html import format_html
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, pgettext_lazy
from django.views.decorators.http import require_GET, require_POST
from django_filters import ChoiceFilter, FilterSet

from mill import jobs, labels, roles
from mill.desk import room
from mill.edits import Edit
from mill.language import called
from mill.listing import Column, listing
from mill.models import Job, Mill
from mill.refusal import N_, Refusal
from mill.retold import told_again
from mill.templatetags.mill import day, moment, num, said
from planning.forms.looms import BeamForm, ClosureForm, MillForm, ReedForm, ShiftPatternForm
from planning.forms.money import PriceFilter, PriceForm, RateFilter, RateForm
from planning.forms.pieces import MachineForm, WorkerForm
from planning.models import Beam, Closure, Machine, Rate, Reed, ShiftPattern, Worker, YarnPrice
from planning.services import looms


@dataclass(frozen=True)
class Book:
    """A small record that has a list, a form, and can be struck out.

    one, many    what one and several of it are called in addresses; `title` is the list's heading
    about        what the list is for, where that isn't plain
    """

    one: str
    many: str
    title: Any
    form: type[forms.ModelForm]
    rows: Callable[[], QuerySet[Any]]
    columns: Sequence[Column]
    filterset: type[FilterSet] | None = None
    about: Any = ""
    also: tuple[str, Any] | None = None  # another way to write them: its address's name, and what the button says

    def urlpatterns(self) -> list[URLPattern]:
        return [
            path(f"mill/{self.many}/", require_GET(room("mill")(partial(self.list))), name=self.many),
            path(f"mill/{self.many}/new/", room("mill")(partial(self.edit)), name=f"{self.one}_new"),
            path(f"mill/{self.many}/<int:pk>/", room("mill")(partial(self.edit)), name=self.one),
        ]

    @property
    def link(self) -> Column:
        first = self.columns[0]
        return replace(first, link=lambda row: reverse(self.one, args=[row.pk]))

    def list(self, request: HttpRequest) -> HttpResponse:
        return listing(
            request,
            self.rows(),
            columns=[self.link, *self.columns[1:]],
            filterset=self.filterset,
            template="mill/records.html",
            name=self.many,
            title=self.title,
            extra={
                "new": f"{self.one}_new",
                "one": self.one.replace("_", " "),
                "about": self.about,
                "also": self.also,
            },
        )

    def edit(self, request: HttpRequest, pk: int | None = None) -> HttpResponse:
        found: Model | None = get_object_or_404(self.form._meta.model, pk=pk) if pk else None
        back = reverse(self.many)
        # Before a form has written into it what can't be.
        title = called(found) if found else _("A new %(one)s") % {"one": _(self.one.replace("_", " "))}
        edit = Edit(request, found, lambda data, row: self.form(data, instance=row))
        if request.method == "POST" and request.POST.get("act") == "strike" and found:
            try:
                looms.strike_out(found, by=request.user)  # type: ignore[arg-type]
            except Refusal as refusal:
                messages.error(request, refusal.message)
                return redirect(self.one, pk=pk)
            messages.success(request, _("%(name)s is struck out.") % {"name": called(found)})
            return redirect(back)
        if edit.is_valid() and edit.is_written(
            lambda form, seen: looms.write_down(form.instance, by=request.user, seen=seen)
        ):
            messages.success(request, _("%(name)s is written down.") % {"name": called(edit.written)})
            return redirect(back)
        context = {"title": title, "edit": edit, "form": edit.form, "back": back, "found": found}
        return render(request, "mill/record.html", context)


def _coins(amount: Decimal) -> str:
    """Two places at least, more where they are written."""
    return num(amount, max(2, -int(amount.normalize().as_tuple().exponent)))


def yes_no(is_so: bool) -> str:
    return _("yes") if is_so else _("no")


BOOKS = [
    Book(
        "reed",
        "reeds",
        gettext_lazy("Reeds"),
        ReedForm,
        Reed.objects.all,
        [
            Column(gettext_lazy("Reed"), lambda r: r.code, "code"),
            Column(gettext_lazy("Stamped"), lambda r: r.as_bought, "as_bought"),
            Column(
                gettext_lazy("Dents per 10 cm"),
                lambda r: r.dents_per_10cm.normalize(),
                "dents_per_10cm",
                is_number=True,
            ),
            Column(gettext_lazy("Width"), lambda r: r.width_cm, "width_cm", "cm", is_number=True),
            Column(gettext_lazy("How many"), lambda r: r.quantity, "quantity", is_number=True),
        ],
    ),
    Book(
        "beam",
        "beams",
        gettext_lazy("Beams"),
        BeamForm,
        Beam.objects.all,
        [
            Column(gettext_lazy("Beam"), lambda b: b.code, "code"),
            Column(gettext_lazy("Between flanges"), lambda b: b.width_cm, "width_cm", "cm", is_number=True),
            Column(gettext_lazy("Barrel"), lambda b: b.barrel_mm, "barrel_mm", "mm", is_number=True),
            Column(gettext_lazy("Flange"), lambda b: b.flange_mm, "flange_mm", "mm", is_number=True),
            Column(gettext_lazy("Empty"), lambda b: b.tare_kg, "tare_kg", "kg", is_number=True),
            Column(gettext_lazy("In use"), lambda b: yes_no(b.is_in_use), "is_in_use"),
        ],
    ),
    Book(
        "shift_pattern",
        "shift_patterns",
        pgettext_lazy("shift", "Hours"),
        ShiftPatternForm,
        ShiftPattern.objects.all,
        [
            Column(gettext_lazy("Name"), lambda s: s.name, "name"),
            Column(pgettext_lazy("shift", "Hours"), lambda s: s.hours),
        ],
    ),
    Book(
        "closure",
        "closures",
        gettext_lazy("Closures"),
        ClosureForm,
        lambda: Closure.objects.select_related("loom"),
        [
            Column(gettext_lazy("Why"), lambda c: c.name, "name"),
            Column(gettext_lazy("Loom"), lambda c: c.loom.code if c.loom else _("the whole mill"), "loom__code"),
            Column(gettext_lazy("From"), lambda c: c.starts_at, "starts_at", shown=lambda c: moment(c.starts_at)),
            Column(gettext_lazy("Until"), lambda c: c.stops_at, "stops_at", shown=lambda c: moment(c.stops_at)),
        ],
        also=("public_days", gettext_lazy("Public holidays")),
    ),
    Book(
        "worker",
        "workers",
        gettext_lazy("People of the floor"),
        WorkerForm,
        Worker.objects.all,
        [
            Column(gettext_lazy("Short code"), lambda w: w.code, "code"),
            Column(gettext_lazy("Name"), lambda w: w.name, "name"),
            Column(gettext_lazy("Trade"), lambda w: w.trade, "trade", shown=lambda w: said(w.trade)),
            Column(gettext_lazy("Works here"), lambda w: yes_no(w.is_in_use), "is_in_use"),
        ],
    ),
    Book(
        "machine",
        "machines",
        gettext_lazy("Finishing machines"),
        MachineForm,
        Machine.objects.all,
        [
            Column(gettext_lazy("Machine"), lambda m: m.name, "name"),
            Column(gettext_lazy("Step"), lambda m: m.step, "step"),
            Column(gettext_lazy("In a day"), lambda m: m.m_per_day, "m_per_day", "m", is_number=True),
        ],
    ),
    Book(
        "rate",
        "rates",
        gettext_lazy("Rates"),
        RateForm,
        Rate.objects.order_by("kind", "of", "-from_on").all,
        [
            Column(gettext_lazy("Rate"), str, "kind", shown=called),
            Column(
                gettext_lazy("A price of"),
                lambda r: r.get_basis_display(),
                "basis",
                shown=lambda r: said(r.get_basis_display()),
            ),
            Column(
                gettext_lazy("Amount"), lambda r: r.amount, "amount", shown=lambda r: _coins(r.amount), is_number=True
            ),
            Column(gettext_lazy("From"), lambda r: r.from_on, "from_on", shown=lambda r: day(r.from_on)),
        ],
        filterset=RateFilter,
        about=gettext_lazy(
            "What the mill reckons with when it costs, each from its day on. What was woven before keeps the rate that"
            " was in force then. Only owners and planners read this."
        ),
    ),
    Book(
        N_("price"),
        "prices",
        gettext_lazy("Yarn prices"),
        PriceForm,
        lambda: YarnPrice.objects.select_related("yarn", "delivery", "lot").order_by("yarn__code", "-from_on", "pk"),
        [
            Column(gettext_lazy("Yarn"), lambda p: str(p.yarn), "yarn__code"),
            Column(gettext_lazy("Of delivery"), lambda p: p.delivery.number if p.delivery else "", "delivery__number"),
            Column(gettext_lazy("Of lot"), lambda p: p.lot.label if p.lot else "", "lot__label"),
            Column(
                gettext_lazy("A kilogram"),
                lambda p: p.per_kg,
                "per_kg",
                shown=lambda p: _coins(p.per_kg),
                is_number=True,
            ),
            Column(gettext_lazy("From"), lambda p: p.from_on, "from_on", shown=lambda p: day(p.from_on)),
        ],
        filterset=PriceFilter,
        about=gettext_lazy(
            "What a kilogram of each yarn costs, from its day on; and what was paid for one delivery, or for one lot,"
            " which counts for what is woven of it."
        ),
    ),
]


@room("mill")
def mill(request: HttpRequest) -> HttpResponse:
    edit = Edit(request, Mill.the_one(), lambda data, row: MillForm(data, instance=row))
    if edit.is_valid() and edit.is_written(
        lambda form, seen: looms.write_down(form.instance, by=request.user, seen=seen)
    ):
        messages.success(request, _("Written down. Warps that no yarn is drawn for are worked out again."))
        return redirect("mill")
    held = roles.roles_of(request.user)
    books = [book for book in BOOKS if roles.may(held, book.many)]
    return render(request, "mill/mill.html", {"title": _("Mill"), "edit": edit, "form": edit.form, "books": books})


class JobFilter(FilterSet):
    state = ChoiceFilter(label=gettext_lazy("State"), choices=Job.STATES, empty_label=gettext_lazy("any"))
    task = ChoiceFilter(
        label=gettext_lazy("Work"), choices=list(labels.TASKS.items()), empty_label=gettext_lazy("anything")
    )

    class Meta:
        model = Job
        fields = ["state", "task"]


def _again(job: Job) -> str:
    """A button of the form beside the list's head."""
    if job.state != Job.FAILED:
        return ""
    address, again, which = reverse("work_again", args=[job.pk]), _("Try again"), _("Job %(n)s") % {"n": job.pk}
    return format_html(
        '<button form="again" formaction="{}" aria-label="{}: {}">{}</button>', address, again, which, again
    )


@require_POST
@room("mill")
def work_again(request: HttpRequest, pk: int) -> HttpResponse:
    job = get_object_or_404(Job, pk=pk)
    try:
        begun = jobs.try_again(job, by=request.user)
    except Refusal as refusal:
        messages.error(request, refusal.message)
    else:
        messages.success(request, _("Job %(n)s waits to be worked.") % {"n": begun.pk})
    return redirect("work")


@require_GET
@room("mill")
def work(request: HttpRequest) -> HttpResponse:
    """The job table: what is being worked out, what was, and what was given up with the reason."""
    columns = [
        Column(gettext_lazy("Job"), lambda j: j.pk, "pk", is_number=True),
        Column(gettext_lazy("Work"), lambda j: j.task, "task", shown=lambda j: labels.task_said(j.task)),
        Column(
            gettext_lazy("State"), lambda j: j.get_state_display(), "state", shown=lambda j: said(j.get_state_display())
        ),
        Column(gettext_lazy("Asked"), lambda j: j.asked_at, "asked_at", shown=lambda j: moment(j.asked_at)),
        Column(gettext_lazy("Done"), lambda j: j.completed_at, "completed_at", shown=lambda j: moment(j.completed_at)),
        Column(gettext_lazy("Tries"), lambda j: j.attempts, "attempts", is_number=True),
        Column(gettext_lazy("Why given up"), lambda j: j.why_given_up, shown=lambda j: told_again(j.why_given_up)),
    ]
    if roles.may(roles.roles_of(request.user), "work_again", "POST"):
        columns.append(Column(gettext_lazy("Again"), lambda j: "", shown=_again, is_paper=False))
    return listing(
        request,
        Job.objects.order_by("-pk"),
        columns=columns,
        filterset=JobFilter,
        template="mill/work.html",
        name="work",
        title=_("Work in the background"),
        extra={"back": (reverse("mill"), _("Mill"))},
    )


urlpatterns = [
    path("mill/", mill, name="mill"),
    path("mill/jobs/", work, name="work"),
    path("mill/jobs/<int:pk>/again/", work_again, name="work_again"),
    *(pattern for book in BOOKS for pattern in book.urlpatterns()),
]
