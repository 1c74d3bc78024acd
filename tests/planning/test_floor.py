"""The floor: each thing told counts once, does what it says, is kept when it can't be done, and can be taken back."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import IntegrityError, connection, transaction
from django.utils import timezone

from inventory.services import check_invariants
from mill.refusal import Refusal
from mill.signs import NARROW_SPACE
from planning.models import FloorEvent, JobTicket, OrderLine, Piece, Stop, Warp, WarpHold
from planning.services import floor, tickets, warp_steps
from planning.services.woven import counts_of, told_of
from tests.make import make_loom
from tests.planning.floor_walk import make_worker, wound_warp

pytestmark = pytest.mark.django_db


@pytest.fixture
def una():
    return make_worker(code="UNA", name="Una Bell")


@pytest.fixture
def warp(planner) -> Warp:
    return wound_warp(planner, loom=make_loom(code="7"))


@pytest.fixture
def tell(una, planner, warp):
    """Tell of the warp; a key of its own unless one is given."""
    keys = iter(range(1000))

    def say(kind: str, *, key: str = "", age_min: int = 0, undoes: FloorEvent | None = None, **facts) -> FloorEvent:
        return floor.tell(
            warp,
            kind=kind,
            worker=una,
            key=key or f"k{next(keys)}",
            by=planner,
            facts=facts,
            age=timedelta(minutes=age_min),
            undoes=undoes,
        )

    return say


def test_a_warp_goes_by_the_floors_word_from_its_beam_to_woven_out(tell, warp, planner):
    assert tell("gaited").refused == ""
    assert tell("started").refused == ""
    lengths = [Decimal("64.10"), Decimal("63.90")]
    for length_m in lengths:
        assert tell("piece off", length_m=length_m).refused == ""
    assert tell("warp out").refused == ""
    warp.refresh_from_db()
    assert (warp.state, warp.loom.code) == (Warp.WOVEN_OUT, "7")
    assert [piece.grey_length_m for piece in warp.woven_pieces.order_by("cut")] == lengths
    assert {piece.woven_by.name for piece in Piece.objects.all()} == {"Una Bell"}
    assert OrderLine.objects.get().state == OrderLine.GREY


def test_a_counter_of_six_figures_is_read_in_threes():
    told = FloorEvent(kind=FloorEvent.PICKS, facts={"picks": 382_361})
    assert floor.said_of(told) == f"382{NARROW_SPACE}361 picks on the counter"


def test_a_tap_sent_twice_counts_once(tell, warp):
    tell("gaited")
    tell("started")
    assert tell("piece off", key="tap", length_m=Decimal(64)) == tell("piece off", key="tap", length_m=Decimal(64))
    assert warp.woven_pieces.count() == 1


def test_what_can_t_be_done_is_kept_with_the_reason_and_nothing_follows(tell, warp):
    event = tell("piece off", length_m=Decimal(64))
    assert "is wound; a piece is cut off a warp that is weaving" in event.refused
    assert not Piece.objects.exists()
    assert FloorEvent.objects.get() == event


def test_a_stop_lasts_from_its_tap_to_the_next_even_when_the_phone_kept_them(tell, warp):
    tell("gaited")
    tell("started")
    tell("stopped", reason="weft break", age_min=50)
    tell("running", age_min=35)
    stop = Stop.objects.get()
    assert stop.reason == "weft break"
    assert stop.stops_at - stop.starts_at == pytest.approx(timedelta(minutes=15), abs=timedelta(seconds=2))


def test_another_reason_ends_the_first_stop(tell, warp):
    tell("gaited")
    tell("started")
    tell("stopped", reason="warp break", age_min=20)
    tell("stopped", reason="tuner", age_min=5)
    first, second = Stop.objects.order_by("starts_at")
    assert first.stops_at == second.starts_at
    assert second.stops_at is None
    tell("warp out")
    second.refresh_from_db()
    assert second.stops_at is not None


def test_a_phone_that_was_out_of_reach_tells_of_stops_before_those_that_are_known(tell, warp):
    tell("gaited")
    tell("started")
    tell("stopped", reason="tuner", age_min=10)
    # Sent by another phone, after it.
    tell("stopped", reason="weft break", age_min=30)
    tell("running", age_min=25)
    first, second = Stop.objects.order_by("starts_at")
    assert (first.reason, second.reason) == ("weft break", "tuner")
    assert first.stops_at - first.starts_at == pytest.approx(timedelta(minutes=5), abs=timedelta(seconds=2))
    assert second.stops_at is None
    assert floor.now_of(Warp.objects.get(pk=warp.pk)).state == "stands"


def test_after_it_is_out_the_floor_says_what_to_take_back(tell, warp):
    tell("gaited")
    tell("started")
    assert (tell("warp out").refused, tell("warp out").refused) == ("", "")
    said = tell("stopped", reason="tuner").refused
    assert said.endswith("is woven out: its loom can't be stopped. If it is not out, take that back first.")


def test_what_two_phones_told_stands_until_both_take_it_back(tell, warp):
    tell("gaited")
    one, two = tell("started"), tell("started")
    assert tell("undone", undoes=two).refused == ""
    assert Warp.objects.get(pk=warp.pk).state == Warp.WEAVING
    tell("stopped", reason="tuner", age_min=9)
    tell("running", age_min=5)
    again = tell("running", age_min=1)
    tell("undone", undoes=again)
    stop = Stop.objects.get()
    assert stop.stops_at - stop.starts_at == pytest.approx(timedelta(minutes=4), abs=timedelta(seconds=2))
    assert floor.last_standing(warp).kind == "running"
    assert one.refused == ""


def test_a_stop_told_wrongly_and_taken_back_leaves_the_one_before_it_open(tell, warp):
    tell("gaited")
    tell("started")
    tell("stopped", reason="warp break", age_min=20)
    wrong = tell("stopped", reason="cleaning", age_min=5)
    tell("undone", undoes=wrong)
    stop = Stop.objects.get()
    assert (stop.reason, stop.stops_at) == ("warp break", None)


def test_what_the_desk_has_changed_since_is_not_taken_back_from_the_floor(tell, warp, planner):
    gaited = tell("gaited")
    warp_steps.begin_weaving(warp, by=planner)
    assert "is weaving by now, and nobody told it here" in tell("undone", undoes=gaited).refused
    assert Warp.objects.get(pk=warp.pk).state == Warp.WEAVING


def test_a_stop_has_a_reason_of_the_list(tell, warp):
    tell("gaited")
    tell("started")
    assert "Say why the loom stands" in tell("stopped", reason="fed up").refused


def test_yarn_comes_back_to_its_lot_to_the_gram_and_only_once(tell, warp):
    hold = WarpHold.objects.filter(warp=warp, use="weft").select_related("reservation__lot").first()
    lot = hold.reservation.lot
    before = lot.movements.order_by("-seq").first().on_hand_after_g
    tell("yarn returned", key="back", lot=lot.label.lower(), grams=431)
    tell("yarn returned", key="back", lot=lot.label.lower(), grams=431)
    assert lot.movements.order_by("-seq").first().on_hand_after_g == before + 431
    too_much = tell("yarn returned", lot=lot.label, grams=hold.drawn_g)
    assert too_much.refused
    check_invariants()


def test_a_lot_that_is_not_the_warps_is_refused_with_those_that_are(tell, warp):
    event = tell("yarn returned", lot="L999", grams=100)
    assert "Lot L999 is not one of" in event.refused
    assert WarpHold.objects.filter(warp=warp).first().reservation.lot.label in event.refused


def test_the_counter_is_believed_up_to_the_warps_picks(tell, warp):
    tell("gaited")
    tell("started")
    tell("picks", picks=12_000)
    warp.refresh_from_db()
    assert warp.picks_woven == 12_000
    assert "more than" in tell("picks", picks=10 * warp.worked.picks).refused


def test_the_counter_read_last_counts_until_the_pieces_come_to_more(tell, warp, planner):
    def picks():
        return Warp.objects.get(pk=warp.pk).picks_woven

    tell("gaited", age_min=30)
    tell("started", age_min=20)
    tell("picks", picks=60_000, age_min=2)
    tell("picks", picks=12_000, age_min=9)
    assert picks() == 60_000  # A reading that came in late was made before.
    # 64 m at 8.46 picks a cm are 54 144: the counter has gone on into the second piece.
    tell("piece off", length_m=Decimal(64))
    assert picks() == 60_000
    out = tell("warp out")
    warp_steps.step_back(warp, reason="not yet", by=planner)
    assert picks() == 60_000
    assert "is weaving by now" in tell("undone", undoes=out).refused
    assert [count.picks for count in counts_of(told_of(Warp.objects.all()).get())] == [0, 12_000, 60_000, 60_000]
    # 6 000 more was misread; it is less than the piece came to.
    assert floor.said_of(tell("picks", picks=54_500)) == "54\u202f500 picks on the counter"
    assert picks() == 54_500
    assert [count.picks for count in counts_of(told_of(Warp.objects.all()).get())] == [0, 12_000, 54_144, 54_500]


def test_only_the_last_thing_told_is_taken_back_and_both_stay_in_the_book(tell, warp):
    gaited = tell("gaited")
    started = tell("started")
    off = tell("piece off", length_m=Decimal(64))
    assert "Only the last thing told" in tell("undone", undoes=started).refused
    undone = tell("undone", undoes=off, why="the other loom")
    assert undone.refused == ""
    assert not Piece.objects.exists()
    off.refresh_from_db()
    assert off.undone_by == undone
    assert off.facts["piece"] == f"{warp.number}-1"
    tell("undone", undoes=started)
    tell("undone", undoes=gaited)
    warp.refresh_from_db()
    assert (warp.state, warp.loom) == (Warp.WOUND, None)
    assert FloorEvent.objects.count() == 7


@pytest.mark.parametrize("kind", ["stopped", "running", "picks", "warp out", "yarn returned"])
def test_each_thing_taken_back_leaves_all_as_it_was(tell, warp, kind):
    tell("gaited")
    tell("started")
    tell("piece off", length_m=Decimal(64))
    if kind == "running":
        tell("stopped", reason="tuner")
    lot = WarpHold.objects.filter(warp=warp, use="weft").first().reservation.lot

    def state():
        row = Warp.objects.get(pk=warp.pk)
        on_hand = lot.movements.order_by("-seq").first().on_hand_after_g
        return row.state, row.picks_woven, list(Stop.objects.values_list("reason", "stops_at")), on_hand

    before = state()
    facts = {"stopped": {"reason": "tuner"}, "picks": {"picks": 60_000}}.get(kind, {})
    if kind == "yarn returned":
        facts = {"lot": lot.label, "grams": 250}
    event = tell(kind, **facts)
    assert event.refused == ""
    assert state() != before
    assert tell("undone", undoes=event).refused == ""
    assert state() == before
    check_invariants()


def test_weft_that_was_not_changed_after_all_is_held_again_to_the_gram(tell, warp, planner):
    tell("gaited")
    tell("started")
    hold = WarpHold.objects.filter(warp=warp, use="weft").select_related("reservation__lot").first()
    lot = hold.reservation.lot
    draw = lot.movements.get(reservation=hold.reservation, kind="draw")
    warp_steps.take_weft_back(warp, draw=draw, reason="as a test wants it", by=planner)

    def state():
        last = lot.movements.order_by("-seq").first()
        hold.refresh_from_db()
        return last.on_hand_after_g, last.held_after_g, hold.drawn_g, hold.is_drawn

    held = state()
    assert held[2:] == (0, False)
    changed = tell("weft changed", lot=lot.label)
    assert state()[2:] == (-draw.change_g, True)
    assert tell("undone", undoes=changed).refused == ""
    assert state() == held
    again = tell("weft changed", lot=lot.label)
    # Drawn already: changed to without a line in the ledger, and taken back without one.
    twice = tell("weft changed", lot=lot.label)
    assert tell("undone", undoes=twice).refused == ""
    assert (state()[2:], again.refused) == ((-draw.change_g, True), "")
    check_invariants()


def test_nobody_and_nothing_unknown_is_taken_down(warp, una, planner):
    with pytest.raises(Refusal, match="Nobody of the floor has the code XYZ"):
        floor.worker_of("xyz")
    with pytest.raises(Refusal, match="Say who you are"):
        floor.worker_of(" ")
    assert floor.worker_of("una") == una
    with pytest.raises(Refusal, match="is nothing that the floor tells"):
        floor.tell(warp, kind="danced", worker=una, key="k", by=planner)


# What the database itself refuses


@pytest.mark.parametrize(
    "sql",
    [
        "UPDATE planning_floorevent SET kind = 'running' WHERE id = %s",
        'UPDATE planning_floorevent SET facts = \'{"length_m": "99"}\' WHERE id = %s',
        "UPDATE planning_floorevent SET happened_at = '2026-01-01 00:00:00+00' WHERE id = %s",
        "UPDATE planning_floorevent SET refused = 'never', piece_id = NULL WHERE id = %s",
        "DELETE FROM planning_floorevent WHERE id = %s",
    ],
)
def test_what_was_told_is_neither_changed_nor_taken_away_by_any_means(tell, warp, sql):
    tell("gaited")
    tell("started")
    off = tell("piece off", length_m=Decimal(64))
    with (
        pytest.raises(IntegrityError, match="What the floor told is never"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(sql, [off.pk])
    assert FloorEvent.objects.get(pk=off.pk).facts == {"length_m": "64", "piece": f"{warp.number}-1"}


def test_no_column_of_what_was_told_is_left_unguarded():
    """Each is compared by name on SQLite; the piece alone may be let go of, when it is struck out."""
    from tests.inventory.ledger_flush import floor_migration

    columns = {field.column for field in FloorEvent._meta.concrete_fields}
    assert columns - {"piece_id"} == set(floor_migration.COLUMNS)


def test_a_pieces_account_is_not_rewritten_by_any_means(tell, warp):
    tell("gaited")
    tell("started")
    piece = tell("piece off", length_m=Decimal(64)).piece
    with (
        pytest.raises(IntegrityError, match="account is never changed"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute("UPDATE planning_pieceentry SET said = 'nicer' WHERE piece_id = %s", [piece.pk])


# Pages and API


@pytest.fixture
def ticket(warp, planner):
    return tickets.issue_ticket(warp, by=planner)


def test_the_page_tells_without_a_script_and_remembers_who(desk, ticket, warp, una):
    page = desk.get(f"/floor/{ticket.token}/").content.decode()
    assert "holds." in page
    assert page.index('value="gaited"') < page.index("Something else")
    answer = desk.post(f"/floor/{ticket.token}/", {"key": "a", "kind": "gaited", "worker": "una"}, follow=True)
    assert "Written down: gaited" in answer.content.decode()
    assert 'value="UNA"' in answer.content.decode()
    desk.post(f"/floor/{ticket.token}/", {"key": "b", "kind": "started", "worker": "UNA"})
    sent = {"key": "c", "kind": "piece off", "worker": "UNA", "length_m": "70 yd", "grams": "rubbish"}
    desk.post(f"/floor/{ticket.token}/", sent)
    desk.post(f"/floor/{ticket.token}/", sent)
    assert Piece.objects.get().grey_length_m == Decimal("64.01")
    stopped = desk.post(
        f"/floor/{ticket.token}/", {"key": "d", "kind": "stopped:no weft", "worker": "UNA"}, follow=True
    ).content.decode()
    assert "Stands: no weft" in stopped
    assert stopped.index('value="running"') < stopped.index("Something else")


def test_a_refusal_is_shown_and_what_was_typed_stays(desk, ticket, una):
    sent = {"key": "a", "kind": "piece off", "worker": "ZZ", "length_m": "64"}
    refused = desk.post(f"/floor/{ticket.token}/", sent)
    assert refused.status_code == 422
    assert "Nobody of the floor has the code ZZ" in refused.content.decode()
    assert 'value="64"' in refused.content.decode()
    assert "is a mass" in desk.post(f"/floor/{ticket.token}/", sent | {"length_m": "5 kg"}).content.decode()


def test_an_overtaken_paper_says_so_before_anything_else_and_still_takes_what_is_told(desk, ticket, warp, planner, una):
    Warp.objects.filter(pk=warp.pk).update(note="changed")
    tickets.issue_ticket(warp, by=planner)
    page = desk.get(f"/floor/{ticket.token}/").content.decode()
    assert page.index("Don’t work from this paper") < page.index("Your short code")
    assert "Tell what was done" in desk.get(f"/t/{ticket.token}/").content.decode()
    desk.post(f"/floor/{ticket.token}/", {"key": "a", "kind": "gaited", "worker": "UNA"})
    warp.refresh_from_db()
    assert warp.state == Warp.GAITED


def test_a_loom_whose_paper_is_overtaken_is_still_found_by_who_has_no_paper(desk, ticket, warp):
    JobTicket.objects.update(overtaken_at=timezone.now())
    page = desk.get("/floor/").content.decode()
    assert f"/floor/{ticket.token}/" in page
    assert "paper overtaken" in page


def taps(desk, ticket, *events):
    body = {"events": [{"token": ticket.token, "worker": "UNA", **event} for event in events]}
    return desk.post("/api/floor/taps/", body, content_type="application/json")


def test_taps_kept_in_a_phone_are_told_in_their_order_and_count_once(desk, ticket, warp, una):
    kept = [
        {"key": "1", "kind": "gaited", "age_s": 7200},
        {"key": "2", "kind": "started", "age_s": 7100},
        {"key": "3", "kind": "piece off", "length_m": "64.2", "age_s": 60},
        {"key": "4", "kind": "stopped:weft break", "age_s": 30},
        {"key": "5", "kind": "piece off", "length_m": "64", "worker": "NOBODY", "age_s": 0},
    ]
    for _ in range(2):
        told = taps(desk, ticket, *kept).json()
        assert [one["is_kept"] for one in told] == [True, True, True, True, False]
        assert "Nobody of the floor has the code NOBODY" in told[4]["refused"]
    assert FloorEvent.objects.count() == 4
    assert Piece.objects.count() == 1
    gaited = FloorEvent.objects.get(kind="gaited")
    assert timezone.now() - gaited.happened_at > timedelta(seconds=7190)
    shown = desk.get("/api/floor/events/", {"kind": "piece off"}).json()
    assert shown["results"][0]["facts"] == {"length_m": "64.20", "piece": f"{warp.number}-1"}


def test_a_tap_is_taken_back_by_its_key_before_the_phone_has_heard_of_it(desk, ticket, warp, una):
    kept = [
        {"key": "1", "kind": "gaited", "age_s": 60},
        {"key": "2", "kind": "undone", "undoes_key": "1", "why": "the other loom", "age_s": 50},
    ]
    told = taps(desk, ticket, *kept).json()
    assert [one["refused"] for one in told] == ["", ""]
    assert told[1]["said"] == "taken back: gaited"
    assert Warp.objects.get(pk=warp.pk).state == Warp.WOUND


def test_a_tap_that_is_too_long_stays_in_the_phone_and_keeps_no_other_there(desk, ticket, una):
    told = taps(
        desk,
        ticket,
        {
            "key": "1",
            "kind": "yarn returned",
            "back_lot": "http://mill.example/yarn/lots/L-2207-and-more/",
            "grams": "9",
        },
        {"key": "2", "kind": "gaited", "age_s": 10**15},
    ).json()
    assert [one["is_kept"] for one in told] == [False, True]
    assert "at most 30 characters" in told[0]["refused"]


def test_taps_of_a_paper_that_is_not_in_the_book_stay_in_the_phone(desk, ticket, una):
    body = {"events": [{"key": "1", "token": "nonsense", "kind": "gaited", "worker": "UNA"}]}
    (told,) = desk.post("/api/floor/taps/", body, content_type="application/json").json()
    assert told == {"key": "1", "is_kept": False, "said": "", "refused": told["refused"]}
    assert "not in the book" in told["refused"]


def test_what_was_told_can_be_read_and_all_looms_found(desk, ticket, warp, una):
    taps(desk, ticket, {"key": "1", "kind": "gaited"}, {"key": "2", "kind": "started"})
    assert f"/floor/{ticket.token}/" in desk.get("/floor/").content.decode()
    text = desk.get("/floor/told/").content.decode()
    assert "Una Bell" in text
    assert "started" in text
