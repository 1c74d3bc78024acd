"""Lots shared out to all warps together: proposed, chosen otherwise, held, refused; the page and the API."""

import re
from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone

from inventory.models import Movement, Reservation, Yarn, YarnLot
from inventory.services import check_invariants, draw_free, quarantine, reserve
from mill import jobs
from mill.refusal import Refusal
from planning.models import Warp, WarpHold
from planning.services import lot_shares, warp_steps, warp_yarn, warps
from planning.services.lot_shares import NOTHING, Share
from planning.services.warps import Share as Pieces
from tests.make import make_beam, make_delivery, make_line, make_lot, make_spec, make_supplier, make_yarn

pytestmark = pytest.mark.django_db

ADDRESS = "/yarn/share-out/"


@pytest.fixture(autouse=True)
def the_ledger_holds():
    yield
    check_invariants()


@pytest.fixture
def tweed(db):
    """A tweed of one yarn in the warp, another in the weft."""
    yarns = {"A": make_yarn(code="MOSS", name="Moss"), "B": make_yarn(code="CREAM", name="Cream")}
    return make_spec(yarns=yarns, warp_order="A4", weft_order="B4")


def put_on(spec, *, pieces=2, days=60, **facts):
    make_beam()
    line = make_line(spec=spec, pieces=pieces, due_on=timezone.localdate() + timedelta(days), **facts)
    warp = warps.make_warp([Pieces(line, pieces)], by=None)
    jobs.settle()
    return warp


def takes_g(warp, use="warp"):
    return warp.yarns.get(use=use).issue_g


def moss():
    return Yarn.objects.get(code="MOSS")


def cream():
    return Yarn.objects.get(code="CREAM")


def plainly(answer):
    text = answer if isinstance(answer, str) else answer.content.decode()
    """Thousands not set apart, so that a figure reads as it is written in Python."""
    return text.replace("\u202f", "").replace("&#x27;", "'").replace("’", "'")


def lines_of(yarn, **facts):
    (shares,) = lot_shares.propose(yarns=[yarn.pk], **facts)
    return {line.warp.number: line for line in shares.lines}


def shares_of(*lines):
    return [
        Share(line.waiting.key, tuple((take.lot.pk, take.grams, take.pieces) for take in line.choice.takes))
        for line in lines
    ]


@pytest.fixture
def two_warps(tweed):
    """Two warps: the first wanted takes less, and would take the older dye lot that the other alone can have."""
    small, large = put_on(tweed, pieces=2, days=60), put_on(tweed, pieces=4, days=70)
    make_lot(label="OLD", yarn=moss(), grams=takes_g(large), dye_lot="881", received_on=date(2025, 1, 6))
    make_lot(label="NEW", yarn=moss(), grams=takes_g(small), dye_lot="904", received_on=date(2025, 6, 2))
    return small, large


# Proposed


def test_the_dye_lot_that_only_one_warp_can_have_is_left_for_it(two_warps):
    small, large = two_warps
    alone = next(state for state in warp_yarn.states(small) if state.need.use == "warp")
    assert alone.choice.dye_lots == ("881",), "for itself the older one"
    lines = lines_of(moss())
    assert lines[small.number].choice.dye_lots == ("904",)
    assert lines[large.number].choice.dye_lots == ("881",)
    assert plainly(lines[small.number].choice.why) == (
        f"Dye lot 904 has {takes_g(small)} g free and is used up; dye lot 881 is older, but goes to {large}."
    )
    (shares,) = lot_shares.propose(yarns=[moss().pk])
    assert shares.shared.is_proven
    assert (shares.short, shares.left_g, shares.free_g) == (0, takes_g(small) + takes_g(large), shares.left_g)


def test_what_is_held_stays_held_and_is_not_offered(two_warps, planner):
    small, large = two_warps
    reserve(lot=YarnLot.objects.get(label="OLD"), grams=1000, for_what="A sample", by=planner)
    lines = lines_of(moss())
    assert lines[small.number].choice.dye_lots == ("904",)
    assert lines[large.number].choice.short_g == 1000


def test_a_need_that_is_held_in_part_asks_for_the_rest_of_its_dye_lot(two_warps, planner):
    _, large = two_warps
    warp_yarn.hold_lot(large, lot=YarnLot.objects.get(label="OLD"), use="warp", grams=500, by=planner)
    line = lines_of(moss())[large.number]
    assert line.waiting.left_g == takes_g(large) - 500
    assert line.choice.dye_lots == ("881",)
    assert line.choice.why.endswith("; what is held for it is of this dye lot.")


def test_the_order_and_its_weight_decide_who_goes_short(tweed):
    heavy, light = put_on(tweed, days=70, weight=3), put_on(tweed, days=60)
    make_lot(yarn=moss(), grams=takes_g(heavy))
    lines = lines_of(moss())
    assert [lines[warp.number].is_met for warp in (heavy, light)] == [True, False]


def test_only_weft_is_still_held_once_the_warp_yarn_is_drawn(tweed, planner):
    warp = put_on(tweed)
    make_lot(yarn=moss(), grams=90_000)
    warp_yarn.hold_yarn(warp, by=planner)
    warp_steps.draw_yarn(warp, by=planner)
    jobs.settle()
    found, _ = lot_shares.waiting()
    assert [one.need.use for one in found] == ["weft"]


def test_a_warp_that_is_being_worked_out_is_named_and_left_out(two_warps):
    small, large = two_warps
    small.worked.__class__.objects.filter(warp=small).update(is_stale=True)
    found, stale = lot_shares.waiting()
    assert stale == [small]
    assert {one.need.warp for one in found} == {large}


def test_yarn_is_wanted_on_the_day_on_which_it_is_drawn(tweed):
    warp = put_on(tweed, days=60)
    (waits,) = [one for one in lot_shares.waiting()[0] if one.need.use == "warp"]
    # Not on a loom yet: ten finishing days, as fourteen of the calendar, and a week of weaving before it is due.
    assert waits.wanted_on == warp.parts.get().line.due_on - timedelta(14 + 7)


# What ends a shortage


def test_a_shortage_names_who_holds_the_yarn_and_which_delivery_ends_it(two_warps, planner):
    _, large = two_warps
    old = YarnLot.objects.get(label="OLD")
    reserve(lot=old, grams=1500, for_what="A sample", by=planner)
    other = put_on(large.parts.get().spec, pieces=1)
    held_g = takes_g(other)
    warp_yarn.hold_lot(other, lot=old, use="warp", grams=held_g, by=planner)
    wanted_on = lines_of(moss())[large.number].waiting.wanted_on
    make_delivery(yarn=moss(), number="SMALL", ordered_g=5000, expected_on=wanted_on - timedelta(9))
    make_delivery(yarn=moss(), number="RIGHT", ordered_g=90_000, expected_on=wanted_on + timedelta(3))
    shortage = lines_of(moss())[large.number].shortage
    assert shortage.short_g == 1500 + held_g
    assert [(one.for_what, one.dye_lot, one.grams, one.would_do) for one in shortage.holders] == [
        (f"{other}, warp yarn", "881", held_g, False),
        ("A sample", "881", 1500, False),
    ]
    assert shortage.holders[0].lines == [str(part.line) for part in other.parts.all()]
    assert (shortage.cure.numbers, shortage.cure.late_days, shortage.order) == (["RIGHT"], 3, None)


def test_letting_go_of_enough_would_do(two_warps, planner):
    _, large = two_warps
    reserve(lot=YarnLot.objects.get(label="OLD"), grams=1500, for_what="A sample", by=planner)
    (holder,) = lines_of(moss())[large.number].shortage.holders
    assert holder.would_do


def test_without_a_delivery_it_says_what_to_order_and_when_it_would_come(tweed):
    yarn = moss()
    yarn.supplier, yarn.min_order_g = make_supplier(lead_time_days=28), 0
    yarn.save(update_fields=["supplier", "min_order_g"])
    warp = put_on(tweed, days=60)
    shortage = lines_of(yarn)[warp.number].shortage
    today = timezone.localdate()
    late_days = max(0, (today + timedelta(28) - (today + timedelta(60 - 21))).days)
    assert (shortage.order.grams, shortage.order.is_one_dye_lot, shortage.order.comes_on, shortage.order.late_days) == (
        takes_g(warp),
        True,
        today + timedelta(28),
        late_days,
    )


def test_the_warps_own_page_says_the_same_of_what_is_short(two_warps, planner, desk):
    _, large = two_warps
    reserve(lot=YarnLot.objects.get(label="OLD"), grams=1500, for_what="A sample", by=planner)
    delivery = make_delivery(yarn=moss(), number="D77", ordered_g=90_000, expected_on=timezone.localdate())
    page = plainly(desk.get(reverse("warp_yarn", args=[large.number])))
    assert "1500 g short" in page
    assert "A sample holds 1.50 kg of dye lot 881" in page
    assert "would do, were it let go" in page
    assert f'<a href="{reverse("delivery", args=[delivery.pk])}">Delivery D77</a>' in page
    assert "in time" in page
    said = desk.get(f"/api/warps/{large.number}/").json()["yarns"][0]["shortage"]
    assert (said["short_g"], said["cure"]["deliveries"]) == (1500, ["D77"])


def test_the_warps_own_page_says_what_is_better_for_all(two_warps, desk):
    small, large = two_warps
    page = plainly(desk.get(reverse("warp_yarn", args=[small.number])))
    assert "Decided with all other warps it takes dye lot 904." in page
    assert f"dye lot 881 is older, but goes to {large}." in page
    assert "Decided with all other warps" not in plainly(desk.get(reverse("warp_yarn", args=[large.number])))


# Chosen otherwise


def test_another_dye_lot_says_what_it_would_mean(two_warps):
    small, large = two_warps
    said = {option.dye_lot: plainly(option.consequence) for option in lines_of(moss())[small.number].options}
    wanting = takes_g(small)
    assert said["881"].endswith(f"g free, but {large} has it: {wanting} g would be wanting there; came 06.01.2025")
    (shares,) = lot_shares.propose(yarns=[moss().pk], chosen={(small.number, "warp", moss().pk): "881"})
    assert [plainly(said) for said in shares.changes] == [
        f"{small} takes dye lot 881 instead of 904.",
        f"{large} is {takes_g(large) - wanting} g short.",
        f"Dye lot 881 leaves {takes_g(large) - wanting} g instead of 0 g.",
        f"Dye lot 904 leaves {wanting} g instead of 0 g.",
    ]
    assert shares.short == 1


def test_nothing_yet_leaves_the_yarn_to_the_others(tweed):
    sooner, later = put_on(tweed, days=60), put_on(tweed, days=70)
    make_lot(yarn=moss(), grams=takes_g(later), dye_lot="881")
    (shares,) = lot_shares.propose(yarns=[moss().pk], chosen={(sooner.number, "warp", moss().pk): NOTHING})
    assert [line.is_met for line in shares.lines] == [False, True]
    assert shares.lines[0].choice is None
    assert shares.lines[0].options, "what it might take is still said"
    assert [plainly(said) for said in shares.changes] == [
        f"{later} is no longer short: it takes dye lot 881.",
        f"Nothing is held for {sooner}.",
    ]


# Holding


def test_just_what_was_seen_is_held_and_a_second_tap_holds_nothing(two_warps, planner):
    small, large = two_warps
    shares = shares_of(*lines_of(moss()).values())
    held = lot_shares.hold_shares(shares, by=planner)
    assert (held.lines, held.grams, held.already) == (2, takes_g(small) + takes_g(large), 0)
    assert {
        (hold.warp.number, hold.reservation.lot.label): warp_yarn.remaining_g(hold) for hold in WarpHold.objects.all()
    } == {(small.number, "NEW"): takes_g(small), (large.number, "OLD"): takes_g(large)}
    before = Movement.objects.count()
    again = lot_shares.hold_shares(shares, by=planner)
    assert (again.lines, again.grams, again.already) == (0, 0, 2)
    assert Movement.objects.count() == before


def test_stock_that_is_gone_meanwhile_refuses_all_of_it(two_warps, planner):
    _, large = two_warps
    shares = shares_of(*lines_of(moss()).values())
    draw_free(lot=YarnLot.objects.get(label="OLD"), grams=10, for_what="A sample", by=planner)
    left = takes_g(large) - 10
    with pytest.raises(Refusal) as refused:
        lot_shares.hold_shares(shares, by=planner)
    assert plainly(refused.value.message) == plainly(
        f"Lot OLD has {left} g free now; {takes_g(large)} g were to be held of it. Look at the shares as they are now."
    )
    assert not WarpHold.objects.exists()


def test_a_lot_in_quarantine_meanwhile_is_refused(two_warps, planner):
    shares = shares_of(*lines_of(moss()).values())
    quarantine(lot=YarnLot.objects.get(label="NEW"), reason="moth", by=planner)
    with pytest.raises(Refusal, match=r"Lot NEW is in quarantine. Choose another lot"):
        lot_shares.hold_shares(shares, by=planner)
    assert not WarpHold.objects.exists()


def test_a_need_that_changed_meanwhile_is_refused(two_warps, planner):
    small, _ = two_warps
    shares = shares_of(lines_of(moss())[small.number])
    warp_yarn.hold_lot(small, lot=YarnLot.objects.get(label="NEW"), use="warp", grams=100, by=planner)
    with pytest.raises(Refusal, match=r"takes .* g now; .* g were to be held"):
        lot_shares.hold_shares(
            [Share(shares[0].key, ((YarnLot.objects.get(label="OLD").pk, takes_g(small), ()),))], by=planner
        )
    Warp.objects.filter(pk=small.pk).update(state=Warp.YARN_DRAWN)
    with pytest.raises(Refusal, match=f"{small} is yarn drawn; warp yarn is not held for it any more"):
        lot_shares.hold_shares(shares, by=planner)


def test_a_warp_taken_apart_meanwhile_is_refused(two_warps, planner):
    small, _ = two_warps
    shares = shares_of(lines_of(moss())[small.number])
    warps.take_apart(small, by=planner)
    with pytest.raises(Refusal, match=f"Warp {small.number} has been taken apart meanwhile"):
        lot_shares.hold_shares(shares, by=planner)


def test_two_dye_lots_in_a_warp_or_in_a_piece_are_refused_whoever_asks(tweed, planner):
    warp = put_on(tweed, pieces=2)
    labels = {}
    for yarn, use in ((moss(), "warp"), (cream(), "weft")):
        for dye_lot in ("881", "904"):
            labels[use, dye_lot] = make_lot(yarn=yarn, grams=60_000, dye_lot=dye_lot)
    grams = takes_g(warp)
    mixed = ((labels["warp", "881"].pk, grams - 100, ()), (labels["warp", "904"].pk, 100, ()))
    with pytest.raises(Refusal, match=r"would be of dye lots 881 and 904. A warp takes one"):
        lot_shares.hold_shares([Share((warp.number, "warp", moss().pk), mixed)], by=planner)
    grams = takes_g(warp, "weft")
    piece = [grams - grams // 2, grams // 2]
    key = (warp.number, "weft", cream().pk)
    one, two = labels["weft", "881"].pk, labels["weft", "904"].pk
    for takes, match in (
        (((one, piece[0] + 50, (1,)), (two, piece[1] - 50, (2,))), "The weft changes where a piece ends"),
        (((one, piece[0], (1,)), (two, piece[1], (1,))), "piece 1 would be of dye lots 881 and 904"),
        (((one, piece[0], ()), (two, piece[1], ())), "give each piece all that it takes"),
    ):
        with pytest.raises(Refusal, match=match):
            lot_shares.hold_shares([Share(key, takes)], by=planner)
    assert not WarpHold.objects.exists()
    lot_shares.hold_shares([Share(key, ((one, piece[0], (1,)), (two, piece[1], (2,))))], by=planner)
    assert {hold.reservation.lot.dye_lot for hold in warp.holds.all()} == {"881", "904"}


def test_another_yarns_lot_and_a_need_named_twice_are_refused(two_warps, planner):
    small, _ = two_warps
    (share,) = shares_of(lines_of(moss())[small.number])
    other = make_lot(yarn=cream(), grams=90_000)
    with pytest.raises(Refusal, match=f"Lot {other} has 0 g free now|is of another yarn"):
        lot_shares.hold_shares([Share(share.key, ((other.pk, takes_g(small), ()),))], by=planner)
    with pytest.raises(Refusal, match=r"stands twice"):
        lot_shares.hold_shares([share, share], by=planner)
    with pytest.raises(Refusal, match=r"Nothing is ticked"):
        lot_shares.hold_shares([], by=planner)


# The page


def sheet_of(page, **changes):
    """What the page's form would send, every box that is ticked ticked."""
    data = {}
    for name, value in re.findall(r'<input type="hidden" name="((?:lots|was)-[^"]+)" value="([^"]*)"', page):
        data[name] = value
    for name in re.findall(r'<select name="(dye-lot-[^"]+)"', page):
        data[name] = data[f"was-{name.removeprefix('dye-lot-')}"]
    data["hold"] = re.findall(r'name="hold" value="([^"]+)"[^>]*checked', page)
    return data | changes


def test_the_page_explains_each_line_and_holds_what_is_ticked(two_warps, desk):
    small, large = two_warps
    page = plainly(desk.get(ADDRESS))
    assert f"Dye lot 904 has {takes_g(small)} g free and is used up; dye lot 881 is older, but goes to {large}." in page
    assert "No other way is better." in page
    # The weft's yarn isn't there at all.
    assert "0 g are free" in page
    data = sheet_of(page)
    assert data["hold"] == [f"{warp.number}-warp-{moss().pk}" for warp in (small, large)]
    answer = desk.post(ADDRESS, data | {"hold_ticked": "yes"}, follow=True)
    kg = (Decimal(takes_g(small) + takes_g(large)) / 1000).quantize(Decimal("0.01"))
    assert f"{kg} kg are held for 2 lines." in plainly(answer)
    assert WarpHold.objects.count() == 2
    answer = desk.post(ADDRESS, data | {"hold_ticked": "yes"}, follow=True)
    assert "All that was ticked is held already." in plainly(answer)
    assert WarpHold.objects.count() == 2


def test_a_choice_is_shown_with_what_it_means_before_it_is_held(two_warps, desk):
    small, large = two_warps
    key = f"{small.number}-warp-{moss().pk}"
    data = sheet_of(plainly(desk.get(ADDRESS)), **{f"dye-lot-{key}": "881"})
    answer = desk.post(ADDRESS, data | {"hold_ticked": "yes"})
    page = plainly(answer)
    assert "Nothing is held yet: a dye lot was chosen." in page
    assert f"<li>{large} is {takes_g(large) - takes_g(small)} g short.</li>" in page
    assert not WarpHold.objects.exists()
    answer = desk.post(ADDRESS, sheet_of(page) | {"hold_ticked": "yes"}, follow=True)
    assert "kg are held for 1 line." in plainly(answer)
    assert WarpHold.objects.get().reservation.lot.label == "OLD"


def test_what_was_unticked_stays_so_while_choices_are_looked_at(two_warps, desk):
    _, large = two_warps
    data = sheet_of(plainly(desk.get(ADDRESS)))
    data["hold"] = [f"{large.number}-warp-{moss().pk}"]
    page = plainly(desk.post(ADDRESS, data | {"look": "yes"}))
    assert sheet_of(page)["hold"] == data["hold"]


def test_a_refusal_is_said_and_a_broken_sheet_does_no_harm(two_warps, desk, planner):
    data = sheet_of(plainly(desk.get(ADDRESS)))
    draw_free(lot=YarnLot.objects.get(label="OLD"), grams=10, for_what="A sample", by=planner)
    answer = desk.post(ADDRESS, data | {"hold_ticked": "yes"}, follow=True)
    assert "Look at the shares as they are now." in plainly(answer)
    broken = {name: "x:y" if name.startswith("lots-") else value for name, value in data.items()}
    assert "can't be read any more" in plainly(desk.post(ADDRESS, broken | {"hold_ticked": "yes"}, follow=True))
    assert "Nothing is ticked" in plainly(desk.post(ADDRESS, {"hold_ticked": "yes", "hold": "1-x-2"}, follow=True))
    assert not WarpHold.objects.exists()


def test_the_sheet_is_narrowed_by_yarn_warp_and_what_is_short(two_warps, desk):
    small, _ = two_warps

    def yarns(**words):
        page = plainly(desk.get(ADDRESS, words))
        return {yarn.code for yarn in (moss(), cream()) if f'id="yarn-{yarn.pk}"' in page}

    assert yarns() == {"MOSS", "CREAM"}
    assert yarns(yarn="mos") == {"MOSS"}
    assert yarns(show="short") == {"CREAM"}
    assert yarns(warp=small.number) == {"MOSS", "CREAM"}
    assert yarns(warp=9999) == set()
    assert yarns(yarn="mos", warp="x") == {"MOSS", "CREAM"}, "what can't be read narrows nothing"
    for page in ("2", "x", "-1", "99999999"):
        assert desk.get(ADDRESS, {"page": page}).status_code == 200


def test_when_all_is_held_the_page_says_so(desk):
    assert "Yarn is held for every warp that takes any." in plainly(desk.get(ADDRESS))


def test_ten_times_the_warps_take_no_more_queries(desk, tweed, planner, django_assert_max_num_queries):
    def more(n):
        for _ in range(n):
            put_on(tweed)

    more(2)
    lot = make_lot(yarn=moss(), grams=900_000)
    reserve(lot=make_lot(yarn=cream(), grams=900), grams=900, for_what="A sample", by=planner)
    make_delivery(yarn=cream())
    desk.get(ADDRESS)
    with django_assert_max_num_queries(40) as few:
        desk.get(ADDRESS)
    more(18)
    reserve(lot=lot, grams=900, for_what="Another sample", by=planner)
    with django_assert_max_num_queries(len(few)):
        desk.get(ADDRESS)


# The API


def test_the_api_proposes_holds_and_says_what_a_choice_means(two_warps, desk):
    small, large = two_warps
    said = {one["yarn"]: one for one in desk.get("/api/lot-shares/", {"yarn": "moss"}).json()}
    assert set(said) == {"MOSS"}
    line = said["MOSS"]["lines"][0]
    assert (line["warp"], line["use"], line["is_met"], line["shortage"]) == (small.number, "warp", True, None)
    assert line["takes"] == [{"lot": "NEW", "dye_lot": "904", "grams": takes_g(small), "pieces": []}]
    assert said["MOSS"]["is_proven"] is True
    chosen = [{"warp": small.number, "use": "warp", "yarn": "MOSS", "dye_lot": "881"}]
    (meant,) = desk.post("/api/lot-shares/what-if/", {"chosen": chosen}, content_type="application/json").json()
    assert plainly(meant["changes"][1]) == f"{large} is {takes_g(large) - takes_g(small)} g short."
    shares = [
        {"warp": one["warp"], "use": one["use"], "yarn": "MOSS", "takes": one["takes"]} for one in said["MOSS"]["lines"]
    ]
    for expected in ((2, 0), (0, 2)):
        answer = desk.post("/api/lot-shares/", {"shares": shares}, content_type="application/json")
        assert (answer.json()["lines"], answer.json()["already"]) == expected
    assert Reservation.objects.count() == 2
    (short,) = desk.get("/api/lot-shares/", {"show": "short"}).json()
    assert (short["yarn"], short["short"]) == ("CREAM", 2)
    assert short["lines"][0]["shortage"]["order"]["is_one_dye_lot"] is False


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"warp": 9999}, "Warp 9999 has been taken apart"),
        ({"yarn": "NONE"}, "There is no yarn NONE in the book"),
        ({"takes": [{"lot": "NONE", "grams": 5}]}, "There is no yarn lot NONE in the book"),
        ({"takes": [{"lot": "NEW", "grams": 5}]}, "were to be held"),
        ({"use": "weft"}, "takes none of this yarn in the weft any more"),
    ],
)
def test_the_api_refuses_in_a_sentence(two_warps, desk, changes, says):
    small, _ = two_warps
    share = {"warp": small.number, "use": "warp", "yarn": "MOSS", "takes": [{"lot": "NEW", "grams": takes_g(small)}]}
    answer = desk.post("/api/lot-shares/", {"shares": [share | changes]}, content_type="application/json")
    assert answer.status_code == 400
    assert says in answer.json()["detail"]
    assert not WarpHold.objects.exists()
