"""Tickets: frozen when issued, overtaken by what comes later, never changed."""

from datetime import date, timedelta

import pytest
from django.db import transaction
from django.utils import timezone

from inventory import services as inventory
from mill import jobs
from mill.qr import qr_svg
from mill.refusal import Refusal
from planning.models import JobTicket, Warp, WarpFigures, WarpHold
from planning.services import looms, plans, tickets, working_out
from planning.ticket import from_json
from planning.views.tickets import alike_sections
from tests.make import make_beam, make_line, make_loom, make_spec, make_warp

pytestmark = pytest.mark.django_db


def hold(warp: Warp, planner, *, use: str = "warp") -> None:
    """All the yarn of one use held, from one new lot a yarn."""
    for need in warp.yarns.filter(use=use).select_related("yarn"):
        label = f"{use[:2]}{need.yarn.code}"
        received = inventory.receive(
            yarn=need.yarn, grams=need.issue_g + 5000, label=label, dye_lot=f"dye {label}", by=planner
        )
        reservation = inventory.reserve(lot=received.lot, grams=need.issue_g + 2000, for_what=str(warp), by=planner)
        WarpHold.objects.create(warp=warp, yarn=need.yarn, use=use, reservation=reservation)


@pytest.fixture
def warp(planner):
    """A warp that a ticket can be issued for: worked out, on a loom by the plan, with a beam and its yarn held."""
    spec = make_spec()
    make_loom(code="7")
    warp = make_warp(spec=spec, lines=[make_line(spec=spec, due_on=date(2027, 3, 1))], beam=make_beam(code="W1"))
    with transaction.atomic():
        working_out.warps_changed([warp.pk])
    jobs.settle()
    hold(warp, planner)
    hold(warp, planner, use="weft")
    plans.put_in_force(plans.make_plan(), by=planner)
    jobs.settle()
    return warp


def test_a_ticket_has_the_figures_of_its_warp_frozen(warp, planner):
    ticket = tickets.issue_ticket(warp, by=planner)
    assert ticket.figures == WarpFigures.objects.get(warp=warp).figures
    figures = from_json(ticket.figures)
    assert figures.loom_code == "7"
    assert figures.beam_code == "W1"
    assert figures.beam_gross_kg > 95
    assert {lot["dye_lot"] for lot in ticket.extras["lots"]["warp"]} == {
        f"dye wa{need.yarn.code}" for need in warp.yarns.filter(use="warp")
    }


def test_a_second_tap_issues_nothing(warp, planner):
    assert tickets.issue_ticket(warp, by=planner) == tickets.issue_ticket(warp, by=planner)
    assert JobTicket.objects.count() == 1


def test_a_later_change_overtakes_the_ticket_and_leaves_its_figures(warp, planner):
    from mill.models import Mill

    ticket = tickets.issue_ticket(warp, by=planner)
    before = ticket.figures
    mill = Mill.the_one()
    mill.thrums_m += 1
    looms.write_down(mill, by=None)
    jobs.settle()
    ticket.refresh_from_db()
    assert ticket.overtaken_at is not None
    assert ticket.figures == before
    newer = tickets.issue_ticket(warp, by=planner)
    assert newer.number == ticket.number + 1
    assert from_json(newer.figures).warp_length_m == from_json(before).warp_length_m + 1


def test_a_new_ticket_takes_the_place_of_one_that_still_held(warp, planner):
    first = tickets.issue_ticket(warp, by=planner)
    Warp.objects.filter(pk=warp.pk).update(note="mind the left selvedge")
    second = tickets.issue_ticket(warp, by=planner)
    first.refresh_from_db()
    assert first.overtaken_why == f"Ticket {second.number} takes its place."


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda warp: WarpFigures.objects.filter(warp=warp).update(is_stale=True), "still being worked out"),
        (lambda warp: Warp.objects.filter(pk=warp.pk).update(beam=None), "has no beam yet"),
        (lambda warp: Warp.objects.filter(pk=warp.pk).update(state=Warp.WOVEN_OUT), "not yet woven out"),
        (lambda warp: warp.slots.all().delete(), "has no loom yet"),
        (lambda warp: WarpHold.objects.filter(warp=warp, use="warp").delete(), r"takes \d+ g of .* 0 g"),
    ],
)
def test_a_warp_that_is_not_ready_gets_a_sentence_and_no_ticket(warp, planner, spoil, said):
    spoil(warp)
    with pytest.raises(Refusal, match=said):
        tickets.issue_ticket(warp, by=planner)
    assert not JobTicket.objects.exists()


def test_a_withdrawn_ticket_says_why(warp, planner):
    ticket = tickets.issue_ticket(warp, by=planner)
    with pytest.raises(Refusal, match="Say why"):
        tickets.withdraw_ticket(ticket, by=planner, why=" ")
    tickets.withdraw_ticket(ticket, by=planner, why="wrong customer")
    ticket.refresh_from_db()
    assert ticket.withdrawn_why == "wrong customer"


def test_tickets_of_a_day_are_those_whose_work_begins_then(warp, planner):
    slot = warp.slots.get()
    begins = slot.winding_on or timezone.localdate(slot.setup_starts_at)
    issued, refused = tickets.issue_tickets_of(begins, by=planner)
    assert [ticket.warp for ticket in issued] == [warp]
    assert refused == []
    assert tickets.issue_tickets_of(begins + timedelta(days=300), by=planner) == ([], [])


def test_neighbouring_sections_that_are_alike_are_one_row(warp, planner):
    figures = from_json(tickets.issue_ticket(warp, by=planner).figures)
    rows = alike_sections(figures.sections)
    assert sum(row["section"].ends for row in rows) <= figures.ends
    assert len(rows) <= len(figures.sections)


def test_the_qr_code_is_drawn_without_style_attributes():
    assert "style=" not in qr_svg("https://book.mill.example/t/abc/")


def test_pages_and_api_show_what_was_frozen(desk, warp, planner):
    ticket = tickets.issue_ticket(warp, by=planner)
    figures = from_json(ticket.figures)
    page = desk.get(f"/tickets/{ticket.number}/").content.decode()
    paper = desk.get(f"/tickets/{ticket.number}/print/").content.decode()
    for text in (page, paper):
        assert f"{figures.warp_length_m} m" in text
        assert f"{figures.beam_gross_kg} kg" in text
    answer = desk.get(f"/api/tickets/{ticket.number}/").json()
    assert answer["figures"]["warp_length_m"] == str(figures.warp_length_m)
    assert desk.get(f"/t/{ticket.token}/").status_code == 200
    assert desk.get("/t/nonsense/").status_code == 404
    assert desk.get(f"/tickets/day/{ticket.day.isoformat()}/").content.count(b'class="ticket"') == 1


def test_an_overtaken_ticket_says_so_on_screen_on_paper_and_when_scanned(desk, warp, planner):
    ticket = tickets.issue_ticket(warp, by=planner)
    Warp.objects.filter(pk=warp.pk).update(note="changed")
    tickets.issue_ticket(warp, by=planner)
    for address in (f"/tickets/{ticket.number}/", f"/tickets/{ticket.number}/print/", f"/t/{ticket.token}/"):
        assert b"OVERTAKEN" in desk.get(address).content
    assert "Don’t work from this ticket" in desk.get(f"/t/{ticket.token}/").content.decode()
    assert f"/tickets/{ticket.number}/".encode() not in desk.get(
        f"/tickets/day/{ticket.day.isoformat()}/"
    ).content.replace(b"Back", b"")


def test_the_tickets_list_takes_as_many_queries_for_ten_as_for_one(desk, warp, planner, django_assert_max_num_queries):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    tickets.issue_ticket(warp, by=planner)
    with CaptureQueriesContext(connection) as one:
        desk.get("/tickets/")
    for n in range(9):
        Warp.objects.filter(pk=warp.pk).update(note=f"note {n}")
        tickets.issue_ticket(warp, by=planner)
    with django_assert_max_num_queries(len(one)):
        assert desk.get("/tickets/").status_code == 200


def test_a_bad_day_is_refused_in_a_sentence(desk):
    for said in ("", "2026-13-40", "tomorrow"):
        answer = desk.post("/tickets/day/issue/", {"day": said}, follow=True)
        assert answer.status_code == 200
        assert b"Choose the day" in answer.content
    assert desk.get("/tickets/day/", {"day": "2026-99-01"}, follow=True).status_code == 200


def test_every_trade_has_its_sheet_and_the_finisher_one_for_each_line(desk, warp, planner):
    ticket = tickets.issue_ticket(warp, by=planner)
    for papers, label in (
        ("warper", "Warper's"),
        ("tuner", "Tuner's"),
        ("weaver", "Weaver's"),
        ("finisher", "Finisher"),
    ):
        text = desk.get(f"/tickets/{ticket.number}/print/{papers}/").content.decode()
        assert text.count('class="ticket trade"') == 1
        assert label in text
        assert f"/t/{ticket.token}/" not in text.replace("svg", "")  # the code is drawn, not written
    everything = desk.get(f"/tickets/{ticket.number}/print/all/").content.decode()
    assert everything.count("<article") == 5
    assert desk.get(f"/tickets/{ticket.number}/print/cook/").status_code == 404


def test_a_days_batch_is_printed_for_one_trade_or_for_all(desk, warp, planner):
    ticket = tickets.issue_ticket(warp, by=planner)
    on = ticket.day.isoformat()
    assert desk.get("/tickets/day/", {"day": on, "papers": "warper"}).headers["Location"].endswith(f"{on}/warper/")
    assert desk.get(f"/tickets/day/{on}/warper/").content.count(b"<article") == 1
    assert desk.get(f"/tickets/day/{on}/all/").content.count(b"<article") == 5
    assert desk.get("/tickets/day/", {"day": on, "papers": "cook"}).headers["Location"].endswith(f"{on}/job/")


def test_an_overtaken_ticket_is_stamped_on_every_trades_sheet(desk, warp, planner):
    ticket = tickets.issue_ticket(warp, by=planner)
    Warp.objects.filter(pk=warp.pk).update(note="changed")
    tickets.issue_ticket(warp, by=planner)
    assert desk.get(f"/tickets/{ticket.number}/print/all/").content.count(b"OVERTAKEN") == 5


def test_the_next_warps_get_their_tickets_at_once_and_print(desk, warp, planner):
    (slot,) = tickets.without_ticket()
    begins = slot.winding_on or timezone.localdate(slot.setup_starts_at)
    assert [(one.warp, one.begins_on, one.why) for one in tickets.to_issue(until=begins)] == [(warp, begins, "")]
    assert tickets.to_issue(until=begins - timedelta(days=1)) == []
    page = desk.get("/tickets/next/", {"until": begins}).content.decode()
    assert f'value="{warp.number}" checked' in page
    paper = desk.post("/tickets/next/", {"warp": [warp.number, "x", "9" * 12]}, follow=True)
    ticket = JobTicket.objects.get()
    assert paper.redirect_chain == [(f"/tickets/print/?ticket={ticket.number}&papers=job", 302)]
    assert paper.content.count(b'class="ticket"') == 1
    assert desk.get("/tickets/print/", {"ticket": ticket.number, "papers": "all"}).content.count(b"<article") == 5
    assert b"Every warp that is begun by then" in desk.get("/tickets/next/", {"until": begins}).content
    assert desk.get("/tickets/print/").status_code == 200
    assert b"No warp is ticked" in desk.post("/tickets/next/", follow=True).content


def test_a_next_warp_without_yarn_says_so_and_its_ticket_is_refused(desk, warp):
    for kept in WarpHold.objects.filter(warp=warp, use="warp").select_related("reservation"):
        kept.delete()
    page = desk.get("/tickets/next/", {"until": "2027-03-01"}).content.decode()
    assert "0 of 1 can have a ticket" in page
    assert "Hold the yarn first" in page
    assert b"Hold the yarn first" in desk.post("/tickets/next/", {"warp": warp.number}, follow=True).content
    assert not JobTicket.objects.exists()
