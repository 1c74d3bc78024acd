from datetime import date, timedelta
from itertools import groupby
from typing import Any

import django_filters
from django.contrib import messages
from django.db.models import Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.template.loader import render_to_string
from django.urls import path, register_converter, reverse
from django.utils import timezone
from django.utils.dateparse import parse_date, parse_datetime
from django.utils.http import urlencode
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, gettext_noop, ngettext
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from mill import worked_sheet
from mill.desk import room
from mill.fields import DayInput, whole
from mill.listing import Column, listing
from mill.qr import qr_svg, scanned_address
from mill.refusal import Refusal
from mill.templatetags.mill import day as written_day
from mill.templatetags.mill import moment
from planning.formulae import ROUNDED
from planning.models import JobTicket, Warp
from planning.picture import draft_svg
from planning.services import tickets
from planning.ticket import Figures, Section, YarnNeed, from_json
from planning.views.warps import whose
from planning.weave import lifting_text, threading_text


def read_day(text: str) -> date | None:
    """2026-11-24 as a day; None when there is no such day."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


class DayConverter:
    regex = r"\d{4}-\d{2}-\d{2}"

    def to_python(self, value: str) -> date:
        return date.fromisoformat(value)

    def to_url(self, value: date | str) -> str:
        return value if isinstance(value, str) else value.isoformat()


register_converter(DayConverter, "day")


def scan_address(ticket: JobTicket, request: HttpRequest) -> str:
    """What the ticket's QR code holds."""
    return scanned_address(reverse("scan", args=[ticket.token]), request)


def yarns_with_lots(needs: tuple[YarnNeed, ...], lots: list[dict[str, Any]]) -> list[dict[str, Any]]:
    return [{"need": need, "lots": [lot for lot in lots if lot["yarn"] == need.code]} for need in needs]


def alike_sections(sections: tuple[Section, ...]) -> list[dict[str, Any]]:
    """Neighbouring sections that are the same, as one row: the warper reads "1 to 4"."""
    rows: list[dict[str, Any]] = []
    for _alike, group in groupby(sections, key=lambda section: (section.ends, section.width_cm, section.colours)):
        alike = list(group)
        several = {"first": alike[0].number, "last": alike[-1].number}
        numbers = str(alike[0].number) if len(alike) == 1 else _("%(first)s to %(last)s") % several
        rows.append({"numbers": numbers, "section": alike[0]})
    return rows


def drafts(figures: Figures) -> list[dict[str, Any]]:
    """One drawing for each lifting on the warp, with the runs that use it."""
    rows: list[dict[str, Any]] = []
    for run in figures.runs:
        for row in rows:
            if row["lifting"] == run.lifting:
                row["lines"].append(run.line)
                break
        else:
            drawn = draft_svg(figures.threading, run.lifting, ends_max=32, picks_max=24, in_words=_)
            # Drawn larger where there is room, to be read from the side of the loom.
            is_small = max(figures.threading) <= 8 and len(figures.threading) <= 16 and len(run.lifting) <= 12
            rows.append(
                {
                    "lifting": run.lifting,
                    "lines": [run.line],
                    "is_small": is_small,
                    "svg": mark_safe(drawn),  # noqa: S308
                    "lifts": lifting_text(run.lifting).replace(" ", " / "),
                }
            )
    return rows


def alike_runs(figures: Figures, *names: str) -> list[dict[str, Any]]:
    """Runs that have these of their figures in common, said once with the lines they are of."""
    rows: dict[tuple[Any, ...], dict[str, Any]] = {}
    for run in figures.runs:
        row = rows.setdefault(tuple(getattr(run, name) for name in names), {"run": run, "lines": []})
        row["lines"].append(run.line)
    return list(rows.values())


def sheet(ticket: JobTicket, request: HttpRequest) -> dict[str, Any]:
    """Everything that a ticket shows, from what was frozen on it: the same on screen and on paper."""
    figures = from_json(ticket.figures)
    extras = ticket.extras
    lots = extras["lots"]
    return {
        "ticket": ticket,
        "f": figures,
        "lead": figures.runs[0],
        "lines": [
            {"run": run, "line": line, "due_on": parse_date(line["due_on"])}
            for run, line in zip(figures.runs, extras["lines"], strict=True)
        ],
        "loom": extras["loom"],
        "setup": extras["setup"],
        "setup_min": extras["setup_min"],
        "winding_on": parse_date(extras["winding_on"]) if extras["winding_on"] else None,
        **{
            name: parse_datetime(extras[name]) if extras[name] else None
            for name in ("setup_starts_at", "weaving_starts_at", "weaving_stops_at")
        },
        "note": extras["note"],
        "warp_yarns": yarns_with_lots(figures.warp_yarns, lots.get("warp", [])),
        "weft_yarns": yarns_with_lots(figures.weft_yarns, lots.get("weft", [])),
        "sections": alike_sections(figures.sections),
        "drafts": drafts(figures),
        "threading": threading_text(figures.threading),
        "picks_per_cm": [row["run"].loom_picks_per_cm for row in alike_runs(figures, "loom_picks_per_cm")],
        "wefts": alike_runs(figures, "weft_order"),
        "finishes": alike_runs(figures, "grey_length_m", "targets", "grey_piece_g", "finished_piece_g"),
        "qr": qr_svg(scan_address(ticket, request)),
        "address": scan_address(ticket, request),
    }


# Whose papers: the word in the address, what it is called, and its page.
PAPERS = {
    "job": (gettext_lazy("Job ticket"), "planning/_ticket.html"),
    "warper": (gettext_lazy("Warper's ticket"), "planning/_ticket_warper.html"),
    "tuner": (gettext_lazy("Tuner's ticket"), "planning/_ticket_tuner.html"),
    "weaver": (gettext_lazy("Weaver's ticket"), "planning/_ticket_weaver.html"),
    "finisher": (gettext_lazy("Finisher's tickets"), "planning/_ticket_finisher.html"),
}


class PapersConverter:
    regex = "job|warper|tuner|weaver|finisher|all"

    def to_python(self, value: str) -> str:
        return value

    def to_url(self, value: str) -> str:
        return value


register_converter(PapersConverter, "papers")


def papers_of(ticket: JobTicket, papers: str, request: HttpRequest) -> list[SafeString]:
    """The ticket's sheets of A4: one for each trade, the finisher's one for each order line on the warp."""
    content = {**sheet(ticket, request), "terms": None}  # on paper nothing is a link
    kinds = [kind for kind in PAPERS if papers in (kind, "all")]
    printed: list[SafeString] = []
    for kind in kinds:
        template = PAPERS[kind][1]
        pages = [{"row": row} for row in content["lines"]] if kind == "finisher" else [{}]
        printed += [render_to_string(template, {**content, **page}, request=request) for page in pages]
    return printed


def state_of(ticket: JobTicket) -> str:
    if ticket.withdrawn_at:
        return gettext_noop("withdrawn")
    return gettext_noop("overtaken") if ticket.overtaken_at else gettext_noop("in use")


class TicketFilter(django_filters.FilterSet):
    text = django_filters.CharFilter(label=gettext_lazy("Ticket, warp or cloth"), method="by_text")
    day = django_filters.DateFilter(label=gettext_lazy("For the day"), field_name="day", widget=DayInput())
    state = django_filters.ChoiceFilter(
        label=gettext_lazy("State"),
        method="by_state",
        choices=[(s, gettext_lazy(s)) for s in ("in use", "overtaken", "withdrawn")],
        empty_label=gettext_lazy("any"),
    )

    class Meta:
        model = JobTicket
        fields: list[str] = []

    def by_text(self, rows: QuerySet[JobTicket], _name: str, value: str) -> QuerySet[JobTicket]:
        wanted = Q(specs__cloth__code__icontains=value) | Q(specs__cloth__name__icontains=value)
        if value.isdecimal() and len(value) < 10:
            wanted |= Q(number=int(value)) | Q(warp__number=int(value))
        return rows.filter(wanted).distinct()

    def by_state(self, rows: QuerySet[JobTicket], _name: str, value: str) -> QuerySet[JobTicket]:
        withdrawn, overtaken = Q(withdrawn_at__isnull=False), Q(overtaken_at__isnull=False)
        match value:
            case "withdrawn":
                return rows.filter(withdrawn)
            case "overtaken":
                return rows.filter(overtaken & ~withdrawn)
            case _:
                return rows.filter(~overtaken & ~withdrawn)


COLUMNS = [
    Column(
        gettext_lazy("Ticket"),
        lambda t: t.number,
        "number",
        link=lambda t: reverse("ticket", args=[t.number]),
        is_number=True,
    ),
    Column(
        gettext_lazy("Warp"),
        lambda t: t.warp.number,
        "warp__number",
        link=lambda t: reverse("warp", args=[t.warp.number]),
    ),
    Column(
        gettext_lazy("Cloth"),
        lambda t: ", ".join(map(str, t.specs.all())),
        shown=lambda t: ", ".join(s.called for s in t.specs.all()),
    ),
    Column(gettext_lazy("Loom"), lambda t: t.loom.code if t.loom else "", "loom__code"),
    Column(gettext_lazy("For the day"), lambda t: t.day, "day", shown=lambda t: written_day(t.day)),
    Column(gettext_lazy("Issued"), lambda t: t.issued_at, "issued_at", shown=lambda t: moment(t.issued_at)),
    Column(gettext_lazy("State"), state_of, shown=lambda t: _(state_of(t))),
    Column(
        gettext_lazy("Why"),
        lambda t: t.withdrawn_why or t.overtaken_why,
        shown=lambda t: t.withdrawn_why or t.why_overtaken,
    ),
]


@require_GET
@room("tickets")
def tickets_list(request: HttpRequest) -> HttpResponse:
    rows = JobTicket.objects.select_related("warp", "loom").prefetch_related("specs__cloth").defer("figures", "extras")
    return listing(
        request,
        rows,
        columns=COLUMNS,
        filterset=TicketFilter,
        template="planning/tickets.html",
        name="tickets",
        title=_("Tickets"),
        extra={
            "today": timezone.localdate(),
            "papers": [(kind, label) for kind, (label, _) in PAPERS.items()],
            "when_empty": _("No ticket has been issued yet. Issue one from a warp's page."),
        },
        row_class=lambda t: "late" if state_of(t) == "overtaken" else "",
    )


# Work is prepared so far ahead, from memory; a ticket for later is more likely to be overtaken.
AHEAD_DAYS = 14
# So many papers leave the printer at once; an address names no more.
PRINTED_MAX = 100


@require_http_methods(["GET", "POST"])
@room("tickets")
def tickets_next(request: HttpRequest) -> HttpResponse:
    """The next warps that the floor has no ticket for: those that can have one are ticked, the others say why not."""
    if request.method == "POST":
        numbers = [n for said in request.POST.getlist("warp") if (n := whole(said)) is not None]
        issued, refused = tickets.issue_tickets(numbers[:PRINTED_MAX], by=request.user)
        for sentence in refused:
            messages.warning(request, sentence)
        if issued:
            words = [("ticket", str(one.number)) for one in issued]
            words.append(("papers", request.POST.get("papers", "job")))
            return redirect(f"{reverse('tickets_print')}?{urlencode(words)}")
        if not refused:
            messages.warning(request, _("No warp is ticked, so no ticket is issued."))
        return redirect(request.get_full_path())
    until = read_day(request.GET.get("until", "")) or timezone.localdate() + timedelta(days=AHEAD_DAYS)
    rows = tickets.to_issue(until=until)
    return render(
        request,
        "planning/tickets_next.html",
        {
            "title": _("Tickets of the next warps"),
            "until": until,
            "rows": [(row, whose(row.warp)) for row in rows],
            "n_ready": sum(not row.why for row in rows),
            "papers": [(kind, label) for kind, (label, _) in PAPERS.items()],
        },
    )


@require_GET
@room("tickets")
def tickets_print(request: HttpRequest) -> HttpResponse:
    """The tickets asked for (?ticket=41&ticket=42) on paper, for one trade or for all, in loom order."""
    numbers = [n for said in request.GET.getlist("ticket") if (n := whole(said)) is not None]
    papers = request.GET.get("papers", "job")
    found = (
        JobTicket.objects.filter(number__in=numbers[:PRINTED_MAX])
        .select_related("warp", "loom", "by")
        .order_by("loom__code", "number")
    )
    kinds = papers if papers in (*PAPERS, "all") else "job"
    return render(
        request,
        "planning/tickets_print.html",
        {
            "title": ngettext("%(n)s ticket", "%(n)s tickets", len(found)) % {"n": len(found)},
            "sheets": [one for ticket in found for one in papers_of(ticket, kinds, request)],
            "back": reverse("tickets"),
        },
    )


def _ticket(number: int) -> JobTicket:
    return get_object_or_404(JobTicket.objects.select_related("warp", "loom", "by"), number=number)


@require_GET
@room("tickets")
def ticket(request: HttpRequest, number: int) -> HttpResponse:
    found = _ticket(number)
    if worked_sheet.is_asked(request):
        figures = from_json(found.figures)
        parts = [worked_sheet.Part(_("As it was issued"), figures.working)]
        parts.append(worked_sheet.Part(_("Ends, widths and setts"), figures.cloth.working))
        parts += [worked_sheet.Part(_("Order line %(line)s") % {"line": run.line}, run.working) for run in figures.runs]
        return worked_sheet.sheet(
            request,
            title=_("Ticket %(number)s") % {"number": number},
            back=request.path,
            parts=parts,
            notes=[_(ROUNDED)],
        )
    newest = found.warp.tickets.filter(withdrawn_at__isnull=True, overtaken_at__isnull=True).first()
    return render(
        request,
        "planning/ticket.html",
        {
            "title": _("Ticket %(number)s") % {"number": number},
            "state": state_of(found),
            "newest": newest,
            "papers": [(kind, label) for kind, (label, _) in PAPERS.items()],
            **sheet(found, request),
        },
    )


@require_GET
@room("tickets")
def scan(request: HttpRequest, token: str) -> HttpResponse:
    """Where the QR code on the paper leads: first whether the paper still holds, then its figures."""
    found = get_object_or_404(JobTicket.objects.select_related("warp", "loom", "by"), token=token)
    return ticket(request, found.number)


@require_GET
@room("tickets")
def ticket_print(request: HttpRequest, number: int, papers: str = "job") -> HttpResponse:
    found = _ticket(number)
    return render(
        request,
        "planning/tickets_print.html",
        {
            "title": _("Ticket %(number)s") % {"number": number},
            "sheets": papers_of(found, papers, request),
            "back": reverse("ticket", args=[number]),
        },
    )


@require_GET
@room("tickets")
def tickets_of_day(request: HttpRequest, on: date, papers: str = "job") -> HttpResponse:
    """All tickets in use for a day, for one trade or for all, in loom order."""
    found = (
        JobTicket.objects.filter(day=on, withdrawn_at__isnull=True, overtaken_at__isnull=True)
        .select_related("warp", "loom", "by")
        .order_by("loom__code", "number")
    )
    return render(
        request,
        "planning/tickets_print.html",
        {
            "title": _("Tickets of %(day)s") % {"day": written_day(on)},
            "sheets": [one for ticket in found for one in papers_of(ticket, papers, request)],
            "back": reverse("tickets"),
        },
    )


@require_GET
@room("tickets")
def tickets_day_choose(request: HttpRequest) -> HttpResponse:
    on = read_day(request.GET.get("day", ""))
    if on is None:
        messages.error(request, _("Choose the day whose tickets you want to print."))
        return redirect("tickets")
    papers = request.GET.get("papers", "job")
    return redirect("tickets_of_day_for", on=on, papers=papers if papers in (*PAPERS, "all") else "job")


@require_POST
@room("tickets")
def tickets_issue_day(request: HttpRequest) -> HttpResponse:
    on = read_day(request.POST.get("day", ""))
    if on is None:
        messages.error(request, _("Choose the day whose tickets you want to issue."))
        return redirect("tickets")
    issued, refused = tickets.issue_tickets_of(on, by=request.user)
    for sentence in refused:
        messages.warning(request, sentence)
    if issued:
        issued_for = ngettext("%(n)s ticket for %(day)s.", "%(n)s tickets for %(day)s.", len(issued))
        messages.success(request, issued_for % {"n": len(issued), "day": written_day(on)})
        return redirect("tickets_of_day", on=on)
    if not refused:
        messages.warning(request, _("By the plan in force no warp is begun on %(day)s.") % {"day": written_day(on)})
    return redirect("tickets")


@require_POST
@room("warps")
def ticket_issue(request: HttpRequest, number: int) -> HttpResponse:
    found = get_object_or_404(Warp, number=number)
    try:
        issued = tickets.issue_ticket(found, by=request.user)
    except Refusal as refusal:
        messages.error(request, refusal.message)
        return redirect("warp", number=number)
    return redirect("ticket", number=issued.number)


@require_POST
@room("tickets")
def ticket_withdraw(request: HttpRequest, number: int) -> HttpResponse:
    try:
        tickets.withdraw_ticket(_ticket(number), why=request.POST.get("why", ""), by=request.user)
        messages.success(request, _("Ticket %(number)s is withdrawn.") % {"number": number})
    except Refusal as refusal:
        messages.error(request, refusal.message)
    return redirect("ticket", number=number)


urlpatterns = [
    path("tickets/", tickets_list, name="tickets"),
    path("tickets/next/", tickets_next, name="tickets_next"),
    path("tickets/print/", tickets_print, name="tickets_print"),
    path("tickets/day/", tickets_day_choose, name="tickets_day_choose"),
    path("tickets/day/issue/", tickets_issue_day, name="tickets_issue_day"),
    path("tickets/day/<day:on>/", tickets_of_day, name="tickets_of_day"),
    path("tickets/day/<day:on>/<papers:papers>/", tickets_of_day, name="tickets_of_day_for"),
    path("tickets/<int:number>/", ticket, name="ticket"),
    path("tickets/<int:number>/print/", ticket_print, name="ticket_print"),
    path("tickets/<int:number>/print/<papers:papers>/", ticket_print, name="ticket_print_for"),
    path("tickets/<int:number>/withdraw/", ticket_withdraw, name="ticket_withdraw"),
    path("warps/<int:number>/ticket/", ticket_issue, name="ticket_issue"),
    path("t/<str:token>/", scan, name="scan"),
]
