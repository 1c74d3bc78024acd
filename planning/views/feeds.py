"""The plan in force as calendars: one for each loom and one for the shed, read by any calendar program."""

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta

from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.db.models import Prefetch, Q, QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import path, reverse
from django.views.decorators.http import require_GET, require_POST
from icalendar import Calendar, Event

from mill.desk import room
from mill.limits import FEED, answers_too_much, guesses_of
from mill.models import Mill
from mill.templatetags.mill import hours
from planning.models import Closure, Loom, PlanRun, Slot, WarpPart
from planning.services import feeds
from planning.services.explaining import listed

READ_AGAIN = timedelta(minutes=30)


def feed_address(request: HttpRequest, code: str | None) -> str:
    """Where a calendar program reads a loom, or the shed; the address itself lets it in."""
    what = code or feeds.SHED
    name, words = ("loom_feed", [feeds.token(what), code]) if code else ("shed_feed", [feeds.token(what)])
    return request.build_absolute_uri(reverse(name, args=words))


def _let_in(request: HttpRequest, what: str, token: str) -> None:
    """Raises Http404 for an address that opens nothing, and TooMuch for whoever tries many."""
    guesses = guesses_of(FEED, request)
    guesses.listen()
    if not feeds.opens(what, token):
        guesses.wrong(request.path)
        raise Http404


@login_not_required
@require_GET
@answers_too_much
def shed_feed(request: HttpRequest, token: str) -> HttpResponse:
    _let_in(request, feeds.SHED, token)
    return _calendar(Mill.the_one().name, Slot.objects.all(), Closure.objects.select_related("loom"), request)


@login_not_required
@require_GET
@answers_too_much
def loom_feed(request: HttpRequest, token: str, code: str) -> HttpResponse:
    _let_in(request, code, token)
    loom = get_object_or_404(Loom, code=code)
    closures = Closure.objects.filter(Q(loom=loom) | Q(loom=None)).select_related("loom")
    return _calendar(f"Loom {code}, {Mill.the_one().name}", loom.slots.all(), closures, request)


def _calendar(name: str, slots: QuerySet[Slot], closures: Iterable[Closure], request: HttpRequest) -> HttpResponse:
    run = PlanRun.objects.filter(state=PlanRun.IN_FORCE).defer("explained").first()
    calendar = Calendar()
    calendar.add("prodid", "-//Shedbook//Looms//EN")
    calendar.add("version", "2.0")
    calendar.add("x-wr-calname", name)
    calendar.add("refresh-interval", READ_AGAIN, parameters={"VALUE": "DURATION"})
    stamp = run.in_force_from if run and run.in_force_from else datetime(2000, 1, 1, tzinfo=UTC)
    for slot in (
        slots.filter(run=run, run__isnull=False)
        .select_related("warp", "loom")
        .prefetch_related(
            Prefetch("warp__parts", WarpPart.objects.select_related("line__order__customer", "spec__cloth"))
        )
    ):
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
    event.add("description", f"{cloths} for {customers}." + (f" Late: {slot.why}" if slot.late_min else ""))
    event.add("url", address)
    yield event


def _event(uid: str, summary: str, starts_at: datetime, stops_at: datetime) -> Event:
    event = Event()
    event.add("uid", f"{uid}@shedbook")
    event.add("summary", summary)
    event.add("dtstart", starts_at.astimezone(UTC))
    event.add("dtend", stops_at.astimezone(UTC))
    return event


@require_POST
@room("looms")
def feeds_renew(request: HttpRequest) -> HttpResponse:
    feeds.change_key(by=request.user)
    messages.success(request, "The calendars have new addresses. Whoever had the old ones must be given the new.")
    return redirect("looms")


urlpatterns = [
    path("calendar/<str:token>/shed.ics", shed_feed, name="shed_feed"),
    path("calendar/<str:token>/loom/<str:code>.ics", loom_feed, name="loom_feed"),
    path("looms/calendars/renew/", feeds_renew, name="feeds_renew"),
]
