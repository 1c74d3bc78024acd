"""Feeds by secret address: the plan in force as calendars, and lists as CSV for spreadsheets that read them again."""

from collections.abc import Iterable, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.db.models import Q, QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe
from icalendar import Calendar, Event

from inventory.views.lots import LOT_COLUMNS, shown_lots
from mill.desk import room
from mill.limits import FEED, answers_too_much, guesses_of
from mill.listing import Column, as_csv
from mill.models import Mill
from mill.refusal import Refusal
from mill.templatetags.mill import hours
from planning.forms.feeds import FeedForm
from planning.models import Closure, FeedLink, OrderLine, PlanRun, Slot
from planning.services import feeds
from planning.services.retelling import listed
from planning.views.looms import with_parts
from planning.views.orders import LINE_COLUMNS, with_plan

READ_AGAIN = timedelta(minutes=30)


def feed_address(request: HttpRequest, link: FeedLink, secret: str) -> str:
    """Where a program reads it; the address itself lets it in."""
    if link.what == FeedLink.SHED:
        address = reverse("shed_feed", args=[secret])
    elif link.loom is not None:
        address = reverse("loom_feed", args=[secret, link.loom.code])
    else:
        address = reverse("csv_feed", args=[secret, link.what])
    return request.build_absolute_uri(address)


def _let_in(request: HttpRequest, what: str, token: str) -> FeedLink:
    """Raises Http404 for an address that opens nothing, and TooMuch for whoever tries many."""
    guesses = guesses_of(FEED, request)
    guesses.listen()
    link = feeds.opened_by(token, what=what)
    if link is None:
        guesses.wrong(token)
        raise Http404
    return link


@login_not_required
@require_safe
@answers_too_much
def shed_feed(request: HttpRequest, token: str) -> HttpResponse:
    _let_in(request, FeedLink.SHED, token)
    return _calendar(Mill.the_one().name, Slot.objects.all(), Closure.objects.select_related("loom"), request)


@login_not_required
@require_safe
@answers_too_much
def loom_feed(request: HttpRequest, token: str, code: str) -> HttpResponse:
    loom = _let_in(request, FeedLink.LOOM, token).loom
    if loom is None or loom.code != code:
        raise Http404
    closures = Closure.objects.filter(Q(loom=loom) | Q(loom=None)).select_related("loom")
    return _calendar(f"Loom {code}, {Mill.the_one().name}", loom.slots.all(), closures, request)


SLOT_COLUMNS = [
    Column("Loom", lambda s: s.loom.code),
    Column("Place", lambda s: s.position),
    Column("Warp", lambda s: s.warp.number),
    Column("Cloth", lambda s: listed(list(dict.fromkeys(part.spec.cloth.name for part in s.warp.parts.all())))),
    Column(
        "Customer", lambda s: listed(list(dict.fromkeys(part.line.order.customer.name for part in s.warp.parts.all())))
    ),
    Column("State", lambda s: s.warp.state),
    Column("Set-up", lambda s: s.setup),
    Column("Set-up", lambda s: s.setup_min, unit="min"),
    Column("Set-up from", lambda s: s.setup_starts_at),
    Column("Weaving from", lambda s: s.weaving_starts_at),
    Column("Weaving to", lambda s: s.weaving_stops_at),
    Column("Late", lambda s: s.late_min, unit="min"),
    Column("Why", lambda s: s.why),
    Column("Late", lambda s: s.days_late, unit="days"),
]


def _rows(what: str) -> tuple[QuerySet[Any], Sequence[Column]]:
    """What a CSV feed has: the rows and columns of the page that shows the same."""
    if what == FeedLink.ORDERS:
        return with_plan(OrderLine.objects.open().order_by("due_on", "pk")), LINE_COLUMNS
    if what == FeedLink.LOTS:
        in_store: QuerySet[Any] = shown_lots()
        return in_store.filter(on_hand_g__gt=0), LOT_COLUMNS
    slots = Slot.objects.filter(run__state=PlanRun.IN_FORCE).select_related("warp", "loom")
    return slots.prefetch_related(with_parts()), SLOT_COLUMNS


CSV_FEEDS = {FeedLink.ORDERS, FeedLink.LOTS, FeedLink.PLAN}


@login_not_required
@require_safe
@answers_too_much
def csv_feed(request: HttpRequest, token: str, what: str) -> HttpResponse:
    _let_in(request, what if what in CSV_FEEDS else "", token)
    rows, columns = _rows(what)
    return as_csv(rows, columns, what)


def _calendar(name: str, slots: QuerySet[Slot], closures: Iterable[Closure], request: HttpRequest) -> HttpResponse:
    run = PlanRun.objects.filter(state=PlanRun.IN_FORCE).defer("explained").first()
    calendar = Calendar()
    calendar.add("prodid", "-//Shedbook//Looms//EN")
    calendar.add("version", "2.0")
    calendar.add("x-wr-calname", name)
    calendar.add("refresh-interval", READ_AGAIN, parameters={"VALUE": "DURATION"})
    stamp = (run and (run.retimed_at or run.in_force_from)) or datetime(2000, 1, 1, tzinfo=UTC)
    for slot in slots.filter(run=run, run__isnull=False).select_related("warp", "loom").prefetch_related(with_parts()):
        for event in _events(slot, request):
            event.add("dtstamp", stamp.astimezone(UTC))
            event.add("sequence", run.pk if run else 0)
            calendar.add_component(event)
    for closure in closures:
        where = f"Loom {closure.loom}" if closure.loom else "The mill"
        event = _event(f"closure-{closure.pk}", f"{where} stands: {closure.name}", closure.starts_at, closure.stops_at)
        event.add("dtstamp", stamp.astimezone(UTC))
        calendar.add_component(event)
    return HttpResponse(calendar.to_ical(), content_type="text/calendar; charset=utf-8")


def _events(slot: Slot, request: HttpRequest) -> Iterable[Event]:
    """Its set-up, when it has one still to do, and its weaving. The warp names them, so that they move with it."""
    parts = list(slot.warp.parts.all())
    cloths = listed(list(dict.fromkeys(part.spec.cloth.name for part in parts)))
    customers = listed(list(dict.fromkeys(part.line.order.customer.name for part in parts)))
    address = request.build_absolute_uri(reverse("warp", args=[slot.warp.number]))
    if slot.setup_min:
        event = _event(
            f"warp-{slot.warp.number}-set-up",
            f"Loom {slot.loom}: {slot.setup} of {slot.warp}",
            slot.setup_starts_at,
            slot.setup_stops_at,
        )
        event.add("description", f"{slot.setup} {hours(slot.setup_min)}, {cloths} for {customers}")
        event.add("url", address)
        yield event
    event = _event(
        f"warp-{slot.warp.number}-weaving",
        f"Loom {slot.loom}: {slot.warp}, {cloths}" + (", late" if slot.late_min else ""),
        slot.weaving_starts_at,
        slot.weaving_stops_at,
    )
    late = f" Late, finished {slot.days_late} days after it is due: {slot.why}" if slot.late_min else ""
    event.add("description", f"{cloths} for {customers}.{late}")
    event.add("url", address)
    yield event


def _event(uid: str, summary: str, starts_at: datetime, stops_at: datetime) -> Event:
    event = Event()
    event.add("uid", f"{uid}@shedbook")
    event.add("summary", summary)
    event.add("dtstart", starts_at.astimezone(UTC))
    event.add("dtend", stops_at.astimezone(UTC))
    return event


@require_http_methods(["GET", "POST"])
@room("mill")
def feeds_page(request: HttpRequest) -> HttpResponse:
    """One's own feeds, and everybody's to who runs the book. A new one's address is shown in the answer, once."""
    begins = {name: request.GET[name] for name in ("what", "loom") if name in request.GET}
    form = FeedForm(request.POST or None, initial=begins)
    made, address = None, ""
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        try:
            made, secret = feeds.make_link(what=said["what"], loom=said["loom"], label=said["label"], by=request.user)
        except Refusal as refusal:
            form.add_error(refusal.field, refusal.message)
        else:
            address, form = feed_address(request, made, secret), FeedForm()
    rows = [(link, feeds.is_open(link)) for link in feeds.seen_by(request.user)]
    context = {"title": _("Feeds"), "form": form, "made": made, "address": address, "feeds": rows}
    answer = render(request, "planning/feeds.html", context)
    answer["Cache-Control"] = "no-store"
    return answer


@require_POST
@room("mill")
def feed_withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    link = get_object_or_404(feeds.seen_by(request.user), pk=pk)
    feeds.withdraw_link(link, by=request.user)
    messages.success(
        request, _("The feed for %(label)s is withdrawn: its address answers nobody any more.") % {"label": link.label}
    )
    return redirect("feeds")


urlpatterns = [
    path("calendar/<str:token>/shed.ics", shed_feed, name="shed_feed"),
    path("calendar/<str:token>/loom/<str:code>.ics", loom_feed, name="loom_feed"),
    path("feeds/<str:token>/<str:what>.csv", csv_feed, name="csv_feed"),
    path("mill/feeds/", feeds_page, name="feeds"),
    path("mill/feeds/<int:pk>/withdraw/", feed_withdraw, name="feed_withdraw"),
]
