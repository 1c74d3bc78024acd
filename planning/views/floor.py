"""The floor's page: what the QR code on a paper leads to when somebody has something to tell."""

import hashlib
import json
from datetime import timedelta
from functools import cache
from pathlib import Path
from typing import Any
from uuid import uuid4

from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.contrib.staticfiles import finders
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, gettext_noop
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from mill.desk import room
from mill.limits import FLOOR_CODE, Guesses, TooMuch, guesses_of
from mill.listing import Column, listing
from mill.refusal import Refusal
from mill.retold import told_again
from mill.templatetags.mill import moment, num
from planning.forms.floor import EfficiencyForm, FloorForm
from planning.models import FloorEvent, JobTicket, Loom, Stop, Warp, Worker
from planning.services import actuals, floor, plans
from planning.services.floor import NEXT
from planning.views.tickets import state_of

# The buttons of the page and in which order those that are not likely now are folded away.
ACTS = [
    FloorEvent.WOUND,
    FloorEvent.GAITED,
    FloorEvent.STARTED,
    FloorEvent.RUNNING,
    FloorEvent.STOPPED,
    FloorEvent.PIECE_OFF,
    FloorEvent.WEFT_CHANGED,
    FloorEvent.PICKS,
    FloorEvent.WARP_OUT,
    FloorEvent.YARN_RETURNED,
]
MEMORY = "floor_worker"


def _ticket(token: str) -> JobTicket:
    return get_object_or_404(JobTicket.objects.defer("figures"), token=token)


def _warp(ticket: JobTicket) -> Warp:
    return Warp.objects.select_related("loom", "worked").get(pk=ticket.warp_id)


def told(
    form: FloorForm, *, warp: Warp, ticket: JobTicket, by: Any, guesses: Guesses, age: timedelta = timedelta(0)
) -> FloorEvent:
    """Hand on what a valid form says. Raises Refusal when nobody can be named who said it."""
    said = form.cleaned_data
    # A phone that kept both knows the first by its key alone.
    named = {"key": said["undoes_key"]} if said.get("undoes_key") else {"pk": said.get("undoes") or 0}
    undoes = FloorEvent.objects.filter(**named, warp=warp).first()
    return floor.tell(
        warp,
        kind=said["kind"],
        worker=_worker_of(said["worker"], guesses),
        key=said["key"],
        facts=form.facts,
        age=age,
        ticket=ticket,
        undoes=undoes,
        by=by,
    )


def _worker_of(code: str, guesses: Guesses) -> Worker:
    """Who has this short code; wrong ones are guesses, for whoever has another's tells things in another's name."""
    guesses.listen()
    try:
        return floor.worker_of(code)
    except Refusal:
        if code.strip():
            guesses.wrong(code.strip().upper())
        raise


@require_http_methods(["GET", "POST"])
@room("tickets")
def floor_page(request: HttpRequest, token: str) -> HttpResponse:
    ticket = _ticket(token)
    warp = _warp(ticket)
    wrong, status = "", 422
    if request.method == "POST":
        form = FloorForm(request.POST)
        if form.is_valid():
            try:
                guesses = guesses_of(FLOOR_CODE, request)
                event = told(form, warp=warp, ticket=ticket, by=request.user, guesses=guesses)
            except Refusal as refusal:
                wrong = refusal.message
            except TooMuch as too_much:
                wrong, status = str(too_much.detail), 429
            else:
                request.session[MEMORY] = event.worker.code
                if event.refused:
                    messages.error(request, _("Not done: %(why)s") % {"why": event.why_refused})
                else:
                    messages.success(request, _("Written down: %(what)s.") % {"what": floor.said_of(event)})
                return redirect("floor", token=token)
        else:
            wrong = " ".join(str(error) for errors in form.errors.values() for error in errors)
    now = floor.now_of(warp)
    likely = NEXT[now.state]
    return render(
        request,
        "planning/floor.html",
        {
            "title": warp.called,
            "ticket": ticket,
            "ticket_state": state_of(ticket),
            "now": now,
            "loom": floor.loom_for(warp, ticket),
            "likely": likely,
            "others": [act for act in ACTS if act not in likely],
            "next_acts": {state: list(acts) for state, acts in NEXT.items()},
            "last_said": floor.said_of(now.last) if now.last else "",
            "reasons": [reason for reason, _label in Stop.REASONS],
            "worker": request.POST.get("worker") or request.session.get(MEMORY, ""),
            "typed": request.POST,
            "key": uuid4().hex,
            "wrong": wrong,
        },
        status=status if wrong else 200,
    )


@require_GET
@login_not_required
def floor_worker(request: HttpRequest) -> HttpResponse:
    """The script that keeps the floor's pages in a phone. Its scope is the folder that it is served from."""
    source, version = _worker()
    consts = f"const VERSION = {json.dumps(version)};\nconst EMPTY = {json.dumps(reverse('floor_empty'))};\n"
    answer = HttpResponse(consts + source, content_type="text/javascript; charset=utf-8")
    answer["Cache-Control"] = "no-cache"
    return answer


# What the floor's pages are drawn with: another content of any of them is another version.
DRAWN_WITH = ("mill/floor_worker.js", "mill/floor.js", "mill/book.js", "mill/mill.css")


@cache
def _worker() -> tuple[str, str]:
    contents = [Path(str(finders.find(name))).read_bytes() for name in DRAWN_WITH]
    return contents[0].decode(), hashlib.sha256(b"".join(contents)).hexdigest()[:12]


@require_GET
@login_not_required
def floor_empty(request: HttpRequest) -> HttpResponse:
    """What a phone without a connection shows for a page that it has never opened."""
    return render(request, "planning/floor_empty.html", {"title": _("No connection")})


@require_GET
@room("looms")
def floor_looms(request: HttpRequest) -> HttpResponse:
    """Every warp on a loom or on its way there, for who has no paper at hand."""
    warps = (
        Warp.objects.open()
        .filter(tickets__withdrawn_at__isnull=True, tickets__isnull=False)
        .select_related("loom")
        .prefetch_related("tickets", "stops")
        .distinct()
        .order_by("loom__code", "number")
    )
    rows = [
        {
            "warp": warp,
            # An overtaken one still leads to its warp; its page says not to work from it.
            "ticket": max(
                (one for one in warp.tickets.all() if not one.withdrawn_at),
                key=lambda one: (not one.overtaken_at, one.number),
            ),
            "stop": next((stop for stop in warp.stops.all() if stop.stops_at is None), None),
            "hangs": warp.state in plans.IN_LOOM,
        }
        for warp in warps
    ]
    return render(request, "planning/floor_looms.html", {"title": _("Floor"), "rows": rows})


COLUMNS = [
    Column(gettext_lazy("When"), lambda e: e.happened_at, "happened_at", shown=lambda e: moment(e.happened_at)),
    Column(gettext_lazy("Warp"), lambda e: e.warp.number, "warp__number", is_number=True),
    Column(gettext_lazy("Loom"), lambda e: e.loom.code if e.loom else "", "loom__code"),
    Column(gettext_lazy("Told"), floor.said_of),
    Column(gettext_lazy("Who"), lambda e: e.worker.name, "worker__name"),
    Column(gettext_lazy("Not done because"), lambda e: e.refused, shown=lambda e: told_again(e.refused)),
    Column(gettext_lazy("Taken back"), lambda e: _("taken back") if hasattr(e, "undone_by") else ""),
    Column(gettext_lazy("Came"), lambda e: e.received_at, "received_at", shown=lambda e: moment(e.received_at)),
]


@require_GET
@room("looms")
def floor_events(request: HttpRequest) -> HttpResponse:
    """Everything that the floor has told, taken back or not, done or not."""
    rows = FloorEvent.objects.select_related("warp", "loom", "worker", "undoes", "undone_by").order_by("-pk")
    return listing(
        request,
        rows,
        columns=COLUMNS,
        name="floor_events",
        title=_("Told by the floor"),
        extra={"when_empty": _("Nobody has told anything yet."), "back": (reverse("floor_looms"), _("Floor"))},
        row_class=lambda e: "barred" if e.refused else "taken-back" if hasattr(e, "undone_by") else "",
    )


DAYS = (7, 28, 91)
# What is woven by whom or what: the head of its column, its title, and what is read out.
GROUPED = {
    "loom": (gettext_noop("Loom"), gettext_noop("By loom"), gettext_noop("Woven by loom")),
    "cloth": (gettext_noop("Cloth"), gettext_noop("By cloth"), gettext_noop("Woven by cloth")),
    "weaver": (gettext_noop("Weaver"), gettext_noop("By weaver"), gettext_noop("Woven by weaver")),
    "shift": (gettext_noop("Shift"), gettext_noop("By shift"), gettext_noop("Woven by shift")),
}


@require_GET
@room("looms")
def actuals_page(request: HttpRequest) -> HttpResponse:
    """What was really woven, why looms stood, when each beam is out and what is late by that."""
    asked = request.GET.get("days", "")
    days = int(asked) if asked in map(str, DAYS) else 28
    groups = actuals.groups_of(days=days)
    return render(
        request,
        "planning/floor_actuals.html",
        {
            "title": _("Woven"),
            "days": days,
            "choices": DAYS,
            "run_outs": actuals.run_outs(),
            "groups": [(*(_(words) for words in GROUPED[name]), rows) for name, rows in groups.items()],
            "offers": actuals.offers(groups["loom"]),
        },
    )


@require_POST
@room("looms")
def efficiency_take(request: HttpRequest, code: str) -> HttpResponse:
    loom = get_object_or_404(Loom, code=code)
    form = EfficiencyForm(request.POST)
    if form.is_valid():
        taken = actuals.take_efficiency(loom, efficiency_pct=form.cleaned_data["efficiency_pct"], by=request.user)
        said = _("Loom %(code)s is reckoned at %(pct)s %% from now on.")
        messages.success(request, said % {"code": code, "pct": num(taken.efficiency_pct)})
    else:
        messages.error(request, " ".join(str(e) for errors in form.errors.values() for e in errors))
    return redirect("actuals")


urlpatterns = [
    path("woven/", actuals_page, name="actuals"),
    path("woven/<str:code>/efficiency/", efficiency_take, name="efficiency_take"),
    path("floor/worker.js", floor_worker, name="floor_worker"),
    path("t/worker.js", floor_worker, name="paper_worker"),
    path("floor/no-connection/", floor_empty, name="floor_empty"),
    path("floor/", floor_looms, name="floor_looms"),
    path("floor/told/", floor_events, name="floor_events"),
    path("floor/<str:token>/", floor_page, name="floor"),
]
