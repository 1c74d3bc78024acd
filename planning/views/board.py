"""The loom board: a plan as a leaf of the day-book, and as a table; warps moved on it by hand."""

import re
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import cached_property
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop, ngettext
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from inventory.models import Yarn
from mill.desk import room
from mill.fields import whole
from mill.models import Mill
from mill.refusal import N_, Refusal
from mill.signs import written_now
from mill.templatetags.mill import hours, moment, said
from planning import board as board_room
from planning.board import Bar, Mark
from planning.forms.looms import PlaceForm
from planning.models import Closure, Cloth, Customer, Loom, PlanRun, Slot, Warp, WarpPart, WarpYarn
from planning.services import board, clock, plans, retelling
from planning.views.looms import plan_in_force
from planning.worktime import DAY_MIN, WEEK_MIN, calendar_of

# So many looms are printed on one sheet; each number has its size in the style sheet.
PRINTED = (16, 20, 26, 32, 48)
# Days on the leaf, and from how many minutes on closed time is drawn: nights on a quarter's leaf are not.
SPANS = {
    gettext_noop("week"): (7, 60),
    gettext_noop("fortnight"): (14, 7 * 60),
    gettext_noop("quarter"): (91, DAY_MIN),
}


# How far a leaf may lie from today: no plan reaches further, and the calendar itself ends.
YEARS = timedelta(days=3_650)


@dataclass(frozen=True)
class Leaf:
    """What the address asks for: which plan, from which Monday, how many days, and which warps are meant."""

    run: PlanRun
    span: str
    first: date
    cloth: str
    customer: str
    yarn: str
    is_table: bool

    @property
    def days(self) -> int:
        return SPANS[self.span][0]

    @property
    def minutes(self) -> int:
        return self.days * DAY_MIN

    @cached_property
    def epoch(self) -> datetime:
        return timezone.make_aware(datetime.combine(self.first, datetime.min.time()))

    def shows(self, slot: Slot) -> bool:
        ends = self.epoch + timedelta(minutes=self.minutes)
        return slot.weaving_stops_at > self.epoch and slot.setup_starts_at < ends

    @property
    def is_narrowed(self) -> bool:
        return bool(self.cloth or self.customer or self.yarn)

    def address(self, **changes: Any) -> str:
        """The board with some of it changed; what is not said stays as it is."""
        words = {
            "plan": None if self.run.state == PlanRun.IN_FORCE else self.run.pk,
            "span": self.span,
            "from": self.first.isoformat(),
            "cloth": self.cloth,
            "customer": self.customer,
            "yarn": self.yarn,
            "view": "table" if self.is_table else "",
        } | changes
        query = QueryDict(mutable=True)
        query.update({name: str(word) for name, word in words.items() if word})
        return f"{reverse('board')}?{query.urlencode()}"


def leaf_of(words: Mapping[str, str]) -> Leaf | None:
    """The leaf that a request asks for; None when there is no plan to show."""
    asked = words.get("plan", "")
    run = get_object_or_404(PlanRun, pk=_number(asked)) if asked else plan_in_force()
    if run is None:
        run = PlanRun.objects.filter(state=PlanRun.OFFERED).first()
    if run is None:
        return None
    span = words.get("span", "fortnight")
    today = timezone.localdate()
    try:
        first = date.fromisoformat(words.get("from", ""))
    except ValueError:
        first = today
    first = min(max(first, today - YEARS), today + YEARS)
    return Leaf(
        run=run,
        span=span if span in SPANS else "fortnight",
        first=first - timedelta(days=first.weekday()),
        cloth=words.get("cloth", ""),
        customer=words.get("customer", ""),
        yarn=words.get("yarn", ""),
        is_table=words.get("view") == "table",
    )


@require_GET
@room("looms")
def board_page(request: HttpRequest) -> HttpResponse:
    leaf = leaf_of(request.GET)
    if leaf is None:
        messages.info(request, _("There is no plan yet: the board shows one as soon as the looms are planned."))
        return redirect("looms")
    return render(request, "planning/board.html", page_of(leaf))


def page_of(leaf: Leaf) -> dict[str, Any]:
    """All that the board shows: one number of queries, however many looms and warps."""
    run = leaf.run
    slots = list(run.slots.select_related("warp__pin_loom", "loom"))
    on = _on_warps(run)
    meant = _meant(leaf, slots, on)
    frozen = _frozen(slots)
    pins = run.explained.get("pins", {})
    queues: dict[int, list[Slot]] = defaultdict(list)
    turns = {slot.pk: turn for slot, turn in board.turns_of(one for one in slots if _is_open(one))}
    for slot in slots:
        number = str(slot.warp.number)
        slot.about = Told(  # type: ignore[attr-defined]
            slot,
            on=on[slot.warp_id],
            late=_late(slot),
            pin=_pin(slot.warp, pins.get(number)),
            is_frozen=slot.warp_id in frozen,
            is_meant=slot.warp_id in meant,
            turn=turns.get(slot.pk),
        )
        queues[slot.loom_id].append(slot)
    looms = sorted(Loom.objects.select_related("shift_pattern"), key=lambda loom: _as_counted(loom.code))
    in_force = run if run.state == PlanRun.IN_FORCE else plan_in_force()
    return {
        "title": _("Loom board"),
        "leaf": leaf,
        "run": run,
        "is_in_force": run.state == PlanRun.IN_FORCE,
        "is_by_hand": "follows" in run.explained,
        "said": retelling.retold(run.explained.get("said", "")),
        "looms": looms,
        "rows": sorted(
            (slot for slot in slots if slot.warp_id in meant),
            key=lambda slot: (_as_counted(slot.loom.code), slot.position),
        ),
        "lines": [] if leaf.is_table else _lines(leaf, looms, queues),
        "head": None if leaf.is_table else mark_safe(_head(leaf)),  # noqa: S308 - escaped where it is drawn
        "inks": mark_safe(board_room.PATTERNS),  # noqa: S308 - a constant
        "changed": len(board.what_is_different(run, in_force)),
        "choices": _choices(),
        "addresses": _addresses(leaf),
        "meant": len(meant),
        "n_warps": len(slots),
        "fits": next((most for most in PRINTED if len(looms) <= most), PRINTED[-1]),
    }


def _as_counted(code: str) -> list[tuple[int, int, str]]:
    """Loom 2 before loom 10: numbers in a code count as numbers."""
    return [(0, int(part), "") if part.isdecimal() else (1, 0, part) for part in re.split(r"(\d+)", code) if part]


@dataclass(frozen=True, slots=True)
class OnWarp:
    """What lies on a warp, and for whom."""

    cloth: str
    cloth_name: str
    customer: str
    customer_name: str


def _on_warps(run: PlanRun) -> Mapping[int, list[OnWarp]]:
    """By warp, in the order of weaving. Read bare: of some hundred warps the records take longer than the board."""
    found: dict[int, list[OnWarp]] = defaultdict(list)
    rows = WarpPart.objects.filter(warp__slots__run=run).order_by("warp", "position")
    for warp, *on in rows.values_list(
        *("warp_id", "spec__cloth__code", "spec__cloth__name", "line__order__customer__code"),
        "line__order__customer__name",
    ):
        found[warp].append(OnWarp(*on))
    return found


class Told:
    """What a bar and a row of the table say of a warp in its place, in the same words.

    turn    0 for the first that its loom weaves from now on; None for one that is woven out
    """

    def __init__(
        self,
        slot: Slot,
        *,
        on: list[OnWarp],
        late: str,
        pin: str,
        is_frozen: bool,
        is_meant: bool,
        turn: int | None,
    ) -> None:
        self.late, self.pin, self.is_frozen, self.is_meant, self.turn = late, pin, is_frozen, is_meant, turn
        self.slot = slot
        self.cloths = retelling.said_list(list(dict.fromkeys(one.cloth_name for one in on)) or [_("no cloth")])
        self.customers = retelling.said_list(list(dict.fromkeys(one.customer_name for one in on)) or [_("nobody")])

    @property
    def in_loom(self) -> bool:
        return self.slot.warp.state in plans.IN_LOOM

    def __str__(self) -> str:
        slot = self.slot
        on = {"cloths": self.cloths, "customers": self.customers, "loom": slot.loom}
        told = [_("%(warp)s, %(cloths)s for %(customers)s, loom %(loom)s") % {"warp": slot.warp.called, **on}]
        if slot.setup_min:
            setup = {"setup": said(slot.setup), "time": hours(slot.setup_min), "at": moment(slot.setup_starts_at)}
            told.append(_("%(setup)s %(time)s from %(at)s") % setup)
        weaving = {"first": moment(slot.weaving_starts_at), "last": moment(slot.weaving_stops_at)}
        told.append(_("weaving %(first)s to %(last)s") % weaving)
        if self.turn is None:
            told.append(said(slot.warp.state))
        if self.in_loom:
            told.append(_("%(state)s now") % {"state": said(slot.warp.state)})
        if self.late:
            told.append(_("late %(late)s") % {"late": self.late})
        if self.pin:
            told.append(self.pin)
        if self.is_frozen:
            told.append(_("starts soon: stays"))
        return ", ".join(told)


def _frozen(slots: Iterable[Slot]) -> set[int]:
    """Warps that the plan in force starts so soon that planning leaves them where they are: on no loom that is held."""
    until = timezone.now() + timedelta(days=Mill.the_one().freeze_days)
    soon = Slot.objects.filter(run__state=PlanRun.IN_FORCE, weaving_starts_at__lt=until, loom__is_held=False)
    stays = set(soon.values_list("warp_id", flat=True))
    waits = (slot for slot in slots if _is_open(slot) and slot.warp.state not in plans.IN_LOOM)
    return {slot.warp_id for slot in waits if slot.warp_id in stays}


def _is_open(slot: Slot) -> bool:
    """Not woven out. As SlotQuerySet.open(), of slots that are read already."""
    return slot.warp.state != Warp.WOVEN_OUT


def _late(slot: Slot) -> str:
    if not slot.late_min or not _is_open(slot):
        return ""
    return _("%(n)s d") % {"n": slot.days_late}


def _pin(warp: Warp, by_this_plan: str | None) -> str:
    if warp.pin_loom:
        form = _("pinned to loom %(loom)s from %(at)s") if warp.pin_starts_at else _("pinned to loom %(loom)s")
        return form % {"loom": warp.pin_loom, "at": moment(warp.pin_starts_at)}
    return _("pinned to loom %(loom)s with this plan") % {"loom": by_this_plan} if by_this_plan else ""


def _meant(leaf: Leaf, slots: Iterable[Slot], on: Mapping[int, list[OnWarp]]) -> set[int]:
    """The warps that the sieve leaves: of a cloth, for a customer, with a yarn."""
    meant = {slot.warp_id for slot in slots}
    if leaf.cloth:
        meant = {pk for pk in meant if any(one.cloth == leaf.cloth for one in on[pk])}
    if leaf.customer:
        meant = {pk for pk in meant if any(one.customer == leaf.customer for one in on[pk])}
    if leaf.yarn:
        meant &= set(WarpYarn.objects.filter(yarn__code=leaf.yarn).values_list("warp_id", flat=True))
    return meant


def _choices() -> list[dict[str, Any]]:
    """The sieve: its words, and what each may be."""
    return [
        {
            "name": "cloth",
            "label": _("Cloth"),
            "rows": [(c.code, str(c)) for c in Cloth.objects.filter(is_in_use=True)],
        },
        {"name": "customer", "label": _("Customer"), "rows": [(c.code, c.name) for c in Customer.objects.all()]},
        {
            "name": "yarn",
            "label": _("Yarn"),
            "rows": [(y.code, f"{y.code} {y.name}") for y in Yarn.objects.order_by("code")],
        },
    ]


def _addresses(leaf: Leaf) -> dict[str, Any]:
    step = timedelta(days=28 if leaf.span == "quarter" else leaf.days)
    return {
        "earlier": leaf.address(**{"from": (leaf.first - step).isoformat()}),
        "later": leaf.address(**{"from": (leaf.first + step).isoformat()}),
        "today": leaf.address(**{"from": ""}),
        "spans": [(name, leaf.address(span=name), name == leaf.span) for name in SPANS],
        "other_view": leaf.address(view="" if leaf.is_table else "table"),
        "in_force": leaf.address(plan=None),
        "all_meant": leaf.address(cloth="", customer="", yarn=""),
        "here": leaf.address(),
    }


# The leaf


def _marks(leaf: Leaf) -> list[Mark]:
    days = [leaf.first + timedelta(days=n) for n in range(leaf.days)]
    if leaf.span == "quarter":
        return [
            Mark(n * DAY_MIN, _day_said(on, is_short=False, is_named=False), is_heavy=True)
            for n, on in enumerate(days)
            if on.weekday() == 0
        ]
    is_short = leaf.span != "week"
    return board_room.day_marks([(_day_said(on, is_short=is_short), on.weekday() == 0) for on in days])


def _day_said(on: date, *, is_short: bool, is_named: bool = True) -> str:
    """Mon 24 Nov, Mon 24 where days stand close, 24 Nov where only Mondays are named."""
    now = written_now()
    day = _("%(weekday)s %(day)s") if is_short else _("%(weekday)s %(day)s %(month)s")
    if not is_named:
        day = _("%(day)s %(month)s")
    return day % {"weekday": now.weekdays[on.weekday()], "day": on.day, "month": now.months[on.month - 1]}


def _now(leaf: Leaf) -> int:
    return clock.to_minute(timezone.now(), epoch=leaf.epoch)


def _head(leaf: Leaf) -> str:
    now = timezone.localtime()
    return board_room.head_svg(
        _marks(leaf), minutes=leaf.minutes, now=_now(leaf), now_label=_("now, %(time)s") % {"time": f"{now:%H:%M}"}
    )


@dataclass(frozen=True)
class Line:
    """A loom's line on the board."""

    loom: Loom
    svg: SafeString
    state: str


def _lines(leaf: Leaf, looms: list[Loom], queues: Mapping[int, list[Slot]]) -> list[Line]:
    marks, now = _marks(leaf), _now(leaf)
    closed = _closed(leaf, looms)
    lines = []
    for loom in looms:
        queue = queues.get(loom.pk, [])
        waits = [slot for slot in queue if _is_open(slot)]
        label = ngettext("Loom %(code)s, %(kind)s: %(n)s warp", "Loom %(code)s, %(kind)s: %(n)s warps", len(waits)) % {
            "code": loom.code,
            "kind": loom.kind,
            "n": len(waits),
        }
        svg = board_room.row_svg(
            [_bar(leaf, slot) for slot in queue if leaf.shows(slot)],
            label=label,
            closed=closed[loom.pk],
            marks=marks,
            minutes=leaf.minutes,
            now=now,
        )
        lines.append(Line(loom, mark_safe(svg), _state(loom, waits)))  # noqa: S308 - escaped where it is drawn
    return lines


def _state(loom: Loom, waits: list[Slot]) -> str:
    if loom.is_held:
        return _("held: %(reason)s") % {"reason": loom.held_reason}
    if not waits:
        return _("nothing planned")
    return "" if waits[0].warp.state in plans.IN_LOOM else _("stands")


def _bar(leaf: Leaf, slot: Slot) -> Bar:
    epoch, told = leaf.epoch, slot.about  # type: ignore[attr-defined]
    return Bar(
        warp=str(slot.warp.number),
        turn=0 if told.turn is None else told.turn,
        setup_starts=clock.to_minute(slot.setup_starts_at, epoch=epoch),
        setup_stops=clock.to_minute(slot.setup_stops_at, epoch=epoch),
        starts=clock.to_minute(slot.weaving_starts_at, epoch=epoch),
        stops=clock.to_minute(slot.weaving_stops_at, epoch=epoch),
        name=f"{slot.warp.number} {told.cloths}",
        about=str(told),
        address=reverse("warp", args=[slot.warp.number]),
        late=_("late %(late)s") % {"late": told.late} if told.late else "",
        pin=told.pin,
        is_frozen=told.is_frozen,
        in_loom=told.in_loom,
        is_faint=leaf.is_narrowed and not told.is_meant,
    )


def _closed(leaf: Leaf, looms: list[Loom]) -> dict[int, list[tuple[int, int]]]:
    """By loom: the spans of the leaf in which it stands, shifts and closures together."""
    closures: list[Closure] = [*Closure.objects.all(), *board.assumed(leaf.run).closed]
    patterns = clock.hours_by_pattern(closures, epoch=leaf.epoch)
    horizon = -(-leaf.minutes // WEEK_MIN) * WEEK_MIN
    closed: dict[int, list[tuple[int, int]]] = {}
    drawn: dict[tuple[int, tuple[tuple[int, int], ...]], list[tuple[int, int]]] = {}
    for loom in looms:
        key = (loom.shift_pattern_id, clock.loom_closed(loom, closures, epoch=leaf.epoch))
        if key not in drawn:
            hours_of = patterns[loom.shift_pattern_id]
            calendar = calendar_of(hours_of.weekly, (*hours_of.closed, *key[1]), horizon)
            drawn[key] = board_room.closed_between(calendar.spans, minutes=leaf.minutes, at_least=SPANS[leaf.span][1])
        closed[loom.pk] = drawn[key]
    return closed


# Moving


@require_POST
@room("looms")
def board_move(request: HttpRequest) -> HttpResponse:
    """A warp to a loom: at a moment of the leaf (dragged), or to a turn (keys and the form)."""
    words = request.POST
    leaf = leaf_of(words)
    if leaf is None:
        raise Http404
    wants_leaf = request.headers.get("X-Board") == "leaf"
    try:
        run = board.move(
            leaf.run,
            get_object_or_404(Warp, number=_number(words.get("warp"))),
            loom=_loom(words.get("loom", "")),
            at=_moment(leaf, words["minute"]) if words.get("minute") else None,
            turn=_turn(words["turn"]) if words.get("turn") else None,
            pin=bool(words.get("pin")),
            by=request.user,
        )
    except Refusal as refusal:
        if wants_leaf:
            return JsonResponse({"refusal": refusal.message}, status=400)
        messages.error(request, refusal.message)
        return redirect(leaf.address())
    if not wants_leaf:
        messages.success(request, retelling.retold(run.explained["said"]))
        return redirect(leaf.address(plan=run.pk))
    moved = leaf_of({**words.dict(), "plan": str(run.pk)})
    assert moved is not None
    answer = render(request, "planning/_board.html", page_of(moved))
    answer["X-Board-Address"] = moved.address()
    return answer


def _number(text: str | None) -> int:
    number = whole(text)
    if number is None:
        raise Http404
    return number


def _loom(code: str) -> Loom:
    found = Loom.objects.filter(code=code.strip()).first()
    if found is None:
        codes = retelling.Listed(list(Loom.objects.values_list("code", flat=True)), most=8)
        raise Refusal(N_("There is no loom “%(code)s”. The looms are %(codes)s."), code=code, codes=codes)
    return found


def _moment(leaf: Leaf, minute: str) -> datetime:
    try:
        return clock.to_moment(int(minute), epoch=leaf.epoch)
    except (ValueError, OverflowError) as error:
        raise Refusal(N_("“%(minute)s” is no minute of this leaf."), minute=minute) from error


def _turn(text: str) -> int:
    """People count turns from 1."""
    turn = whole(text.strip())
    if not turn:
        raise Refusal(N_("“%(text)s” is no turn on a loom. Write 1 for the warp that is woven first."), text=text)
    return turn - 1


@require_POST
@room("looms")
def board_take_back(request: HttpRequest, pk: int) -> HttpResponse:
    leaf = leaf_of({**request.POST.dict(), "plan": str(pk)})
    assert leaf is not None
    try:
        before = board.take_back(leaf.run, by=request.user)
    except Refusal as refusal:
        messages.error(request, refusal.message)
        return redirect(leaf.address())
    messages.success(request, _("The move is taken back."))
    return redirect(leaf.address(plan=None if before.state == PlanRun.IN_FORCE else before.pk))


# A warp's place


@require_http_methods(["GET", "POST"])
@room("warps")
def warp_place(request: HttpRequest, number: int) -> HttpResponse:
    """Pin a warp to a loom or a moment, take its pin out, or try a move by hand: all without a script."""
    warp = get_object_or_404(Warp.objects.select_related("pin_loom", "loom"), number=number)
    run = plan_in_force()
    form = PlaceForm(request.POST or None, warp=warp)
    if request.method == "POST" and form.is_valid():
        loom, starts_at, turn = (form.cleaned_data[name] for name in ("loom", "starts_at", "turn"))
        try:
            match request.POST.get("act"):
                case "unpin":
                    plans.pin_warp(warp, loom=None, by=request.user)
                    messages.success(
                        request,
                        _("The pin of %(warp)s is taken out: the next plan may put it elsewhere.")
                        % {"warp": warp.called},
                    )
                case "move":
                    if run is None:
                        raise Refusal(
                            N_("No plan is in force: there is nothing to move the warp in. Make a plan first.")
                        )
                    if loom is None:
                        raise Refusal(N_("Choose the loom to move it to."), field="loom")
                    copy = board.move(run, warp, loom=loom, turn=turn and turn - 1, by=request.user)
                    messages.success(request, retelling.retold(copy.explained["said"]))
                    return redirect(f"{reverse('board')}?plan={copy.pk}")
                case _:
                    if loom is None:
                        raise Refusal(N_("Choose the loom to pin it to."), field="loom")
                    plans.pin_warp(warp, loom=loom, starts_at=starts_at, by=request.user)
                    messages.success(
                        request,
                        _("%(warp)s is pinned to loom %(loom)s: the next plan keeps to it.")
                        % {"warp": warp.called, "loom": loom},
                    )
            return redirect("warp_place", number=number)
        except Refusal as refusal:
            form.add_error(refusal.field if refusal.field in form.fields else None, refusal.message)
    slot = warp.slots.filter(run=run).select_related("loom").first() if run else None
    turn = run.slots.open().filter(loom=slot.loom, position__lt=slot.position).count() if run and slot else 0
    return render(
        request,
        "planning/warp_place.html",
        {
            "title": _("The place of warp %(number)s") % {"number": number},
            "warp": warp,
            "slot": slot,
            "turn": turn + 1,
            "form": form,
            "can_move": warp.state not in (*plans.IN_LOOM, Warp.WOVEN_OUT),
            "looms": _fitting(warp),
        },
    )


def _fitting(warp: Warp) -> list[tuple[Loom, str | None]]:
    """Every loom and why the warp can't go on it; none of it while the warp is not worked out."""
    worked = getattr(warp, "worked", None)
    return retelling.fitting(plans.looms_that_fit(warp)) if worked and worked.figures else []


urlpatterns = [
    path("warps/<int:number>/place/", warp_place, name="warp_place"),
    path("looms/board/", board_page, name="board"),
    path("looms/board/move/", board_move, name="board_move"),
    path("looms/board/<int:pk>/take-back/", board_take_back, name="board_take_back"),
]
