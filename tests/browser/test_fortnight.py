"""A fortnight of the example mill through the floor's page on a phone, for three days without a connection, taps
doubled, answers lost; its pieces then finished and sent on their pages. A clerk with a pencil agrees to the gram and
the pick."""

import json
from collections import Counter, defaultdict
from datetime import date, datetime, timedelta
from decimal import Decimal
from io import StringIO
from itertools import count

import pytest
from django.core.management import call_command
from django.utils import timezone
from playwright.sync_api import expect

from inventory.models import YarnLot
from inventory.services import check_invariants
from mill import jobs
from mill.signs import NARROW_SPACE
from planning.models import Closure, FloorEvent, Loom, OrderLine, Piece, PlanRun, Slot, Stop, Warp, WarpHold
from planning.services import working_out
from tests.browser.clerk import Beam, Clerk, LoomOnTheWall, open_minutes
from tests.browser.line import Line
from tests.conftest import opened

pytestmark = pytest.mark.browser

MONDAY = date(2026, 11, 9)
# Written on the wall of the weaving shed, by the names of the patterns.
ON_THE_WALL = {
    "One shift": {day: [(360, 840)] for day in range(5)},
    "Two shifts": {day: [(360, 1320)] for day in range(5)},
    "Two shifts and Saturday": {**{day: [(360, 1320)] for day in range(5)}, 5: [(360, 720)]},
    "Day work": {**{day: [(450, 990)] for day in range(4)}, 4: [(450, 780)]},
}


class Clock:
    """The mill's clock, moved by hand: for the mill and for the phone."""

    def __init__(self) -> None:
        self.moment = self.at(0, 6)

    def at(self, day: int, hour: int, minute: int = 0) -> datetime:
        """So many working days after the first Monday."""
        on = MONDAY + timedelta(days=day // 5 * 7 + day % 5)
        return timezone.make_aware(datetime(on.year, on.month, on.day, hour, minute))

    def __call__(self) -> datetime:
        return self.moment


@pytest.fixture
def clock(monkeypatch):
    clock = Clock()
    monkeypatch.setattr(timezone, "now", clock)
    return clock


@pytest.fixture
def mill(live_server, clock, planner):
    call_command("example_mill", on=MONDAY, stdout=StringIO())
    return planner


@pytest.fixture
def line(live_server):
    with Line(int(live_server.url.rpartition(":")[2])) as line:
        yield line


# What happens


def fortnight() -> list[tuple[int, int, int, int, str, dict]]:
    """Day, hour, minute, warp, what is told, its facts; as somebody walks through the shed."""
    told: list[tuple[int, int, int, int, str, dict]] = []

    def tell(day: int, clock: str, warp: int, kind: str, **facts: str) -> None:
        hour, minute = map(int, clock.split(":"))
        told.append((day, hour, minute, warp, kind, facts))

    reasons = ["warp break", "weft break", "tuner", "no weft", "fault taken out", "no weaver", "cleaning", "other"]
    turn = count()

    def stop(day: int, warp: int, clock: str, minutes: int) -> None:
        hour, minute = map(int, clock.split(":"))
        until = hour * 60 + minute + minutes
        tell(day, clock, warp, "stopped", reason=reasons[next(turn) % len(reasons)])
        tell(day, f"{until // 60}:{until % 60:02d}", warp, "running")

    # Loom J2 stood with a broken warp overnight; its two pieces come off, and it is out.
    tell(0, "6:20", 74, "running")
    for day, length in ((1, "52.85"), (3, "52.40")):
        stop(day, 74, "7:05", 18 + day)
        tell(day, "13:31", 74, "piece off", length_m=length)
    tell(3, "13:45", 74, "warp out")
    tell(3, "13:50", 74, "yarn returned", lot="L1279", grams="812")
    # Loom D3 has one piece to go.
    stop(0, 76, "9:12", 41)
    tell(0, "17:03", 76, "piece off", length_m="64.15")
    tell(0, "17:10", 76, "warp out")
    tell(0, "17:21", 76, "yarn returned", lot="L1258", grams="1043")
    tell(0, "17:22", 76, "yarn returned", lot="L1257", grams="260")
    # Loom D1: a piece a day; then the next warp is tied in, and its weft comes from the store in three lots.
    for day, length in enumerate(("57.30", "62.51", "62.80", "61.95", "62.44")):
        stop(day, 78, "8:40", 12 + 5 * day)
        if day == 2:
            tell(day, "14:00", 78, "picks", picks="460000")
        tell(day, "16:11", 78, "piece off", length_m=length)
    tell(4, "16:31", 78, "warp out")
    tell(4, "16:44", 78, "yarn returned", lot="L1224", grams="655")
    tell(5, "8:02", 83, "gaited")
    tell(5, "10:04", 83, "started")
    for minute, lot in enumerate(("L1282", "L1239", "L1259")):
        tell(5, f"10:1{minute}", 83, "weft changed", lot=lot)
    for day, length in ((7, "57.95"), (9, "58.10")):
        stop(day, 83, "12:15", 35)
        tell(day, "19:07", 83, "piece off", length_m=length)
    tell(8, "14:00", 83, "picks", picks="98765")
    # Loom W3 stood for want of weft.
    tell(0, "7:02", 79, "running")
    for day, length in ((1, "63.72"), (3, "64.02"), (6, "63.95"), (8, "63.60")):
        stop(day, 79, "15:20", 27)
        tell(day, "20:13", 79, "piece off", length_m=length)
    tell(8, "20:30", 79, "warp out")
    tell(8, "20:41", 79, "yarn returned", lot="L1248", grams="97")
    # Loom J1, one shift: the rest of nine pieces.
    for day in range(8):
        stop(day, 77, "10:33", 9 + day)
        tell(day, "13:04", 77, "piece off", length_m=f"63.{80 + day}")
    tell(7, "13:20", 77, "warp out")
    tell(7, "13:31", 77, "yarn returned", lot="L1212", grams="1888")
    # Loom W1: a warp from the warping mill to its last piece.
    tell(0, "9:01", 84, "wound")
    tell(1, "8:31", 84, "gaited")
    tell(1, "10:02", 84, "started")
    tell(1, "10:09", 84, "weft changed", lot="L1284")
    for day, length in ((3, "61.55"), (5, "61.90"), (7, "61.70")):
        stop(day, 84, "11:24", 22)
        tell(day, "18:09", 84, "piece off", length_m=length)
        if day == 3:
            tell(day, "18:20", 84, "weft changed", lot="L1285")
    tell(7, "18:25", 84, "warp out")
    tell(7, "18:36", 84, "yarn returned", lot="L1285", grams="402")
    return sorted(told, key=lambda one: one[:3])


OFFLINE = {2, 3, 4}
LOST = 6


def clerk_of(since: datetime) -> Clerk:
    """What is on the walls and in the book when the fortnight begins."""
    first = timezone.make_aware(datetime(2026, 10, 1))
    closures = [
        (c.loom_id, timezone.localtime(c.starts_at), timezone.localtime(c.stops_at)) for c in Closure.objects.all()
    ]
    looms = {}
    for loom in Loom.objects.select_related("shift_pattern"):
        closed = [(starts, stops) for which, starts, stops in closures if which in (None, loom.pk)]
        # The wall's clock has no summer time: minutes are counted on the clock itself.
        naive = [(starts.replace(tzinfo=None), stops.replace(tzinfo=None)) for starts, stops in closed]
        opened_at = open_minutes(first.replace(tzinfo=None), 60, ON_THE_WALL[loom.shift_pattern.name], naive)
        looms[loom.code] = LoomOnTheWall(loom.ppm, opened_at, first.replace(tzinfo=None))
    beams = {}
    for warp in Warp.objects.open().select_related("loom"):
        slot = Slot.objects.filter(run__state=PlanRun.IN_FORCE, warp=warp).select_related("loom").first()
        where = warp.loom or (slot and slot.loom)
        settings = [
            p.spec.loom_picks_per_cm
            for p in warp.parts.select_related("spec").order_by("position")
            for _ in range(p.pieces)
        ]
        beams[warp.number] = Beam(where.code if where else "", settings)
    clerk = Clerk(looms, beams, since)
    for lot in YarnLot.objects.with_balance():
        clerk.lots_g[lot.label] = lot.on_hand_g
    for hold in WarpHold.objects.filter(is_drawn=False).select_related("reservation__lot", "warp"):
        held = sum(line.held_change_g for line in hold.reservation.movements.all())
        clerk.held_g[hold.warp.number, hold.reservation.lot.label] = held
    for event in FloorEvent.objects.select_related("warp").order_by("pk"):
        clerk.hear(event.warp.number, wall(event.happened_at), event.kind, **event.facts)
    return clerk


def wall(moment: datetime) -> datetime:
    return timezone.localtime(moment).replace(tzinfo=None)


# At the phone

BUTTONS = {
    "wound": "Wound, it is on its beam",
    "started": "Started, first picks checked",
    "running": "It runs again",
    "piece off": "Piece off",
    "picks": "Counter read",
    "warp out": "Warp out, nothing left on the beam",
    "weft changed": "Weft changed",
    "yarn returned": "Yarn returned",
}
FIELDS = {
    "piece off": {"length_m": "#length_m"},
    "picks": {"picks": "#picks"},
    "weft changed": {"lot": "#weft_lot"},
    "yarn returned": {"lot": "#back_lot", "grams": "#grams"},
}


class Phone:
    def __init__(self, page, line: Line, tokens: dict[int, str]) -> None:
        self.page, self.line, self.tokens = page, line, tokens
        self.shows = 0

    def show(self, warp: int) -> None:
        """The page of the warp, opened afresh when another was open."""
        if self.shows != warp:
            self.page.goto(f"/floor/{self.tokens[warp]}/")
            expect(self.page.locator("h1")).to_contain_text(f"Warp {warp}")
            self.shows = warp

    def tap(self, warp: int, kind: str, facts: dict, *, code: str) -> None:
        self.show(warp)
        self.page.get_by_label("Your short code").fill(code)
        for fact, place in FIELDS.get(kind, {}).items():
            self._unfold(self.page.locator(place))
            self.page.fill(place, facts[fact])
        name = facts["reason"].capitalize() if kind == "stopped" else BUTTONS.get(kind, "")
        button = (
            self.page.get_by_role("button", name="Gaited")
            if kind == "gaited"
            else self.page.get_by_role("button", name=name, exact=True)
        )
        self._unfold(button)
        # Gloves: every tap is two. Nobody is at the next button within half a second.
        button.dblclick()
        self.page.wait_for_timeout(450)

    def _unfold(self, one) -> None:
        if not one.is_visible():
            self.page.locator("details.others > summary").click()

    def kept(self) -> list[dict]:
        return json.loads(self.page.evaluate("localStorage.getItem('shedbook-floor-taps') ?? '[]'"))

    def is_sent(self) -> None:
        expect(self.page.locator("[data-unsent]")).to_be_hidden(timeout=60_000)


def test_a_fortnight_of_the_example_mill_agrees_with_a_clerk_to_the_gram_and_the_pick(
    chromium, live_server, desk, mill, clock, line
):
    clerk = clerk_of(wall(clock.at(0, 0)))
    turns = {slot.warp_id: (slot.loom_id, slot.position) for slot in Slot.objects.filter(run__state=PlanRun.IN_FORCE)}
    before = set(FloorEvent.objects.values_list("pk", flat=True))
    with opened(chromium, "desk", at=live_server.url, client=desk) as page:
        for number in (83, 84):
            page.goto(f"/warps/{number}/")
            page.get_by_role("button", name="Issue a ticket", exact=True).first.click()
            page.wait_for_url("**/tickets/*/")
    tokens = {w.number: w.tickets.latest("pk").token for w in Warp.objects.filter(tickets__isnull=False)}
    weave(chromium, desk, clock, line, clerk, tokens)
    told = FloorEvent.objects.exclude(pk__in=before)
    assert [(event.warp.number, event.kind, event.refused) for event in told.exclude(refused="")] == []
    assert told.count() == len(fortnight()) + 2
    clock.moment = clock.at(9, 21)
    agrees_about_the_floor(clerk, desk)
    # What was planned keeps its turn; its times have followed the floor.
    for slot in Slot.objects.filter(run__state=PlanRun.IN_FORCE):
        assert turns[slot.warp_id] == (slot.loom_id, slot.position)
    run = PlanRun.objects.get(state=PlanRun.IN_FORCE)
    assert run.retimed_at >= clock.at(9, 19)
    out = Slot.objects.get(run=run, warp__number=84)
    assert out.weaving_stops_at == clock.at(7, 18, 25)
    with opened(chromium, "desk", at=live_server.url, client=desk) as page:
        finish_and_send(page, clock, clerk)
    check_invariants()
    assert [*working_out.audit_differences()] == []


def weave(chromium, desk, clock, line, clerk, tokens) -> None:
    codes = ("UNA", "TOM", "IDA", "KIT")
    with opened(chromium, "phone", at=line.url, client=desk) as page:
        phone = Phone(page, line, tokens)
        page.clock.set_fixed_time(clock.moment)
        # Once over the list of looms: every page is in the phone from then on.
        page.goto("/floor/")
        expect(page.locator(".floor[data-kept]")).to_be_attached(timeout=60_000)
        is_off = False
        for n, (day, hour, minute, warp, kind, facts) in enumerate(fortnight()):
            if day in OFFLINE and not is_off:
                line.cut()
                is_off = True
                phone.shows = 0
            if is_off and day not in OFFLINE:
                is_off = back_again(phone, clock, line, day)
            clock.moment = clock.at(day, hour, minute)
            page.clock.set_fixed_time(clock.moment)
            line.loses_answers = day == LOST and kind == "piece off"
            phone.tap(warp, kind, facts, code=codes[n % 4])
            clerk.hear(warp, wall(clock.moment), kind, **facts)
            if is_off:
                expect(page.locator("[data-as-of]")).to_be_visible()
                continue
            if line.loses_answers:
                page.wait_for_timeout(1500)
                assert line.n_lost
                line.loses_answers = False
            phone.is_sent()
            if kind == "piece off" and (warp, facts["length_m"]) == (78, "57.30"):
                wrong_loom(phone, clock, page)
            jobs.settle()
        page.wait_for_timeout(200)


def back_again(phone: Phone, clock: Clock, line: Line, day: int) -> bool:
    """Friday evening: everything of three days is sent, in the order in which it was told."""
    kept = phone.kept()
    # More than are sent at once.
    assert len(kept) == sum(day in OFFLINE for day, *_ in fortnight()) > 20
    assert not FloorEvent.objects.filter(happened_at__gte=clock.at(2, 0)).exists()
    clock.moment = clock.at(4, 21)
    phone.page.clock.set_fixed_time(clock.moment)
    line.mend()
    phone.is_sent()
    jobs.settle()
    assert FloorEvent.objects.filter(happened_at__gte=clock.at(2, 0)).count() == len(kept)
    return False


def wrong_loom(phone: Phone, clock: Clock, page) -> None:
    """A counter read on the wrong loom is taken back; both stay in the book and neither counts."""
    clock.moment += timedelta(minutes=3)
    page.clock.set_fixed_time(clock.moment)
    phone.tap(78, "picks", {"picks": "700000"}, code="TOM")
    phone.is_sent()
    take_back = page.get_by_role("button", name=f"Take back: 700{NARROW_SPACE}000 picks")
    expect(take_back).to_be_attached()
    phone._unfold(take_back)
    page.get_by_label("Why the last thing told is wrong").fill("the loom beside it")
    take_back.click()
    phone.is_sent()


# What the clerk says of it


def agrees_about_the_floor(clerk: Clerk, desk) -> None:
    pieces = {piece.number: piece for piece in Piece.objects.filter(warp__number__in=clerk.beams)}
    assert {number: piece.grey_length_m for number, piece in pieces.items()} == clerk.metres
    assert {number: piece.picks for number, piece in pieces.items()} == clerk.picks
    for warp in Warp.objects.filter(number__in=clerk.beams):
        beam = clerk.beams[warp.number]
        assert (warp.state == Warp.WOVEN_OUT) is beam.is_out, warp
        if warp.loom and not beam.is_out:
            assert warp.picks_woven == clerk.picks_of(warp.number), warp
    stops = Counter()
    for stop in Stop.objects.select_related("warp"):
        stops[stop.warp.number, wall(stop.starts_at), stop.stops_at and wall(stop.stops_at), stop.reason] += 1
    theirs = Counter()
    for number, beam in clerk.beams.items():
        open_one = [(beam.stopped, None, beam.reason)] if beam.stopped else []
        theirs.update((number, *stop) for stop in [*beam.stops, *open_one])
    assert stops == theirs
    rows = {row["name"]: row for row in desk.get("/api/floor/woven/", {"days": 12}).json() if row["by"] == "loom"}
    assert set(rows) == set(clerk.woven)
    for loom, tally in clerk.woven.items():
        row = rows[loom]
        assert (row["picks"], row["meant_min"], row["waited_min"], row["ran_min"]) == (
            tally["picks"],
            tally["meant"],
            tally["waited"],
            tally["ran"],
        ), loom
        assert Decimal(row["efficiency_pct"]) == clerk.efficiency_pct(loom), loom
        assert {stood["reason"]: stood["minutes"] for stood in row["stood"]} == dict(clerk.stood[loom]), loom
    for lot in YarnLot.objects.with_balance():
        assert lot.on_hand_g == clerk.lots_g[lot.label], lot


# Finished and sent, on the pages

# Two pieces for one customer; two and four, of two cloths, for another.
TO_SEND = {"NETH": ["74-1", "74-2"], "EVER": ["76-1", "76-2", "79-1", "79-2", "79-3", "79-4"]}


def act(page, number: str, label: str, button: str, said: dict[str, str], tick: str = "") -> None:
    page.goto(f"/pieces/{number}/")
    opened_by_itself = page.locator("details[open]", has=page.locator("summary", has_text=label))
    if not opened_by_itself.count():
        page.locator("summary", has_text=label).click()
    for name, value in said.items():
        page.fill(f"[name='{name}']", value)
    if tick:
        page.check(f"[name='{tick}']")
    page.get_by_role("button", name=button, exact=True).click()
    expect(page.locator(".messages .success")).to_be_visible()


def judge(page, number: str, verdict: str, said: dict[str, str], step: str = "") -> None:
    page.goto(f"/pieces/{number}/")
    page.locator("summary", has_text="Judge it").click()
    page.check(f"[name='judge-verdict'][value='{verdict}']")
    for name, value in said.items():
        page.fill(f"[name='{name}']", value)
    if step:
        page.select_option("[name='judge-from_step']", label=step)
    page.get_by_role("button", name="That is the verdict", exact=True).click()
    expect(page.locator(".messages .success")).to_be_visible()


def through_all_steps(page, numbers: list[str]) -> int:
    """Whatever steps wait, pieces of several orders sewn together; how many batches it took."""
    batches = 0
    while True:
        page.goto("/finishing/")
        found = None
        for number in numbers:
            box = page.get_by_label(f"Put in {number}", exact=True)
            if box.count():
                found = page.locator("form", has=box)
                break
        if found is None:
            return batches
        for number in numbers:
            box = found.get_by_label(f"Put in {number}", exact=True)
            if box.count():
                box.check()
        found.get_by_role("button", name="Sew together").click()
        page.wait_for_url("**/finishing/batches/*/")
        page.get_by_role("button", name="It is out").click()
        page.wait_for_url("**/finishing/")
        batches += 1


def finish_and_send(page, clock: Clock, clerk: Clerk) -> None:
    numbers = [number for sent in TO_SEND.values() for number in sent]
    clock.moment = clock.at(10, 9)
    for n, number in enumerate(numbers):
        grey = clerk.metres[number]
        said = {
            "perch-length_m": str(grey),
            "perch-width_cm": "166.5",
            "perch-mending_min": "40" if n % 3 == 0 else "0",
        }
        act(page, number, "Grey perch", "It has been perched", said)
        if n % 3 == 0:
            act(page, number, "Mended", "Write the minutes down", {"mend-minutes": "37"}, tick="mend-is_mended")
    assert through_all_steps(page, numbers) >= 3
    lengths: dict[str, Decimal] = {}
    masses: dict[str, int] = {}
    for n, number in enumerate(numbers):
        lengths[number] = (clerk.metres[number] * Decimal("0.94")).quantize(Decimal("0.01")) + Decimal(n) / 100
        masses[number] = 24_000 + 137 * n
        measured = {
            "measure-length_m": str(lengths[number]),
            "measure-width_cm": "150.4",
            "measure-mass_g": f"{masses[number]} g",
        }
        act(page, number, "Measured finished", "Write the measures down", measured)
        act(
            page,
            number,
            "Faults",
            "Count the points",
            {"faults-faults": f"{n + 2} m 80 mm float\n{n + 9} m hole 10 mm"},
        )
        if number == "79-2":
            # Creased: through the press once more, and measured again.
            judge(page, number, "re-finish", {"judge-why": "creased"}, step="press")
            through_all_steps(page, [number])
            act(page, number, "Measured finished", "Write the measures down", measured)
        if number == "74-2":
            judge(page, number, "mend again", {"judge-why": "a float", "judge-mending_min": "15"})
            act(page, number, "Mended", "Write the minutes down", {"mend-minutes": "12"}, tick="mend-is_mended")
        judge(page, number, "pass", {})
    for customer, sent in TO_SEND.items():
        page.goto(f"/dispatch/new/{customer}/")
        for box in page.locator("[name=pieces]").all():
            box.uncheck()
        for number in sent:
            page.check(f"[aria-label='Send {number}']")
        # Twice, as an impatient hand does.
        page.get_by_role("button", name="Send them").dblclick()
        page.wait_for_url("**/dispatch/*/")
        in_the_book(page.url, page, sent, lengths, masses)


def in_the_book(url: str, page, sent: list[str], lengths: dict[str, Decimal], masses: dict[str, int]) -> None:
    """The packing list, as the book keeps it and as its page says it."""
    number = url.rstrip("/").rpartition("/")[2]
    rows = page.request.get(f"/api/dispatches/{number}/").json()["pieces"]
    assert {row["piece"]: (Decimal(row["length_m"]), row["mass_g"]) for row in rows} == {
        name: (lengths[name], masses[name]) for name in sent
    }
    text = " ".join(page.inner_text("main").replace("\u202f", "").split())
    total_m, total_g = sum(lengths[name] for name in sent), sum(masses[name] for name in sent)
    assert f"{len(sent)} pieces, {total_m} m, {total_g / 1000:.1f} kg net" in text
    by_line = defaultdict(list)
    for name in sent:
        by_line[Piece.objects.get(number=name).line_id].append(lengths[name])
    for line in OrderLine.objects.filter(pk__in=by_line):
        came, ordered = sum(by_line[line.pk]), line.pieces * line.length_m
        off = came - ordered
        word = "short" if off < 0 else "over"
        is_within = abs(off) * 100 <= ordered * line.tolerance_pct
        assert f"{came.normalize():f} m for {ordered.normalize():f} m ordered" in text
        assert f"{abs(off).normalize():f} m {word}, {'within' if is_within else 'beyond'}" in text
        assert line.state == OrderLine.SENT
