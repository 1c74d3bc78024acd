"""Two people at one record: the second to write sees both versions, nothing is written over, nothing typed is lost."""

import re
from dataclasses import replace
from datetime import datetime
from html import unescape
from html.parser import HTMLParser
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.contrib.auth import get_user_model
from django.db import transaction
from django.test import Client
from django.urls import get_resolver, reverse

from mill import changes, meanwhile, people, roles
from mill.models import Mill, Person
from mill.refusal import Refusal
from planning.models import Closure, Loom, Machine, Reed, Worker
from planning.services import cloths, looms, orders, warps
from tests.inventory.test_pages import text_of
from tests.make import (
    make_beam,
    make_cloth,
    make_colourway,
    make_customer,
    make_delivery,
    make_fibre,
    make_line,
    make_loom,
    make_order,
    make_place,
    make_shift,
    make_spec,
    make_supplier,
    make_trap,
    make_warp,
    make_yarn,
)

pytestmark = pytest.mark.django_db


class Written(HTMLParser):
    """What a browser without a script would send of the first form of a page's body."""

    def __init__(self) -> None:
        super().__init__()
        self.sent: dict[str, Any] = {}
        self.select = self.textarea = ""
        self.n_forms = 0
        self.is_inside = False

    def handle_starttag(self, tag: str, attrs: Any) -> None:
        facts = dict(attrs)
        if tag == "main":
            self.n_forms = 0
        if tag == "form":
            self.n_forms += 1
            self.is_inside = self.n_forms == 1
        if not self.is_inside:
            return
        name = facts.get("name", "")
        if tag == "input" and name and (facts.get("type") not in {"checkbox", "radio"} or "checked" in facts):
            if name == "both":
                self.sent.setdefault(name, []).append(facts["value"])
            else:
                self.sent[name] = facts.get("value", "on" if facts.get("type") == "checkbox" else "")
        elif tag == "select":
            self.select = name
        elif tag == "option" and self.select and ("selected" in facts or self.select not in self.sent):
            self.sent[self.select] = facts.get("value", "")
        elif tag == "textarea":
            self.textarea, self.sent[name] = name, ""

    def handle_endtag(self, tag: str) -> None:
        if tag == "select":
            self.select = ""
        elif tag == "textarea":
            self.sent[self.textarea] = self.sent[self.textarea].removeprefix("\n")
            self.textarea = ""
        elif tag == "form":
            self.is_inside = False

    def handle_data(self, data: str) -> None:
        if self.textarea:
            self.sent[self.textarea] += data


def typed(response, **changes: str) -> dict[str, Any]:
    page = response.content.decode()
    reader = Written()
    reader.feed(page[page.index("<main") :])
    return reader.sent | changes


def at(day: int) -> datetime:
    return datetime(2027, 2, day, 6, tzinfo=ZoneInfo("Europe/London"))


def make_mill() -> Mill:
    mill = Mill.the_one()
    mill.save()
    return mill


def make_person() -> Person:
    return people.take_in(name="Rowan", sign_in="rowan", password="", held=[roles.READER], by=None).told_as


# The form's address by its name, a record, the address's argument, and two fields: what another writes into the first
# and what is typed here into the first and the second.
FORMS = {
    "order_edit": (make_order, "number", ("note", "by rail", "by road"), ("reference", "PO 7")),
    "line_edit": (make_line, None, ("note", "by rail", "by road"), ("weight", "4")),
    "customer_edit": (make_customer, "code", ("name", "Hollin", "Hollis"), ("notes", "pays late")),
    "cloth_edit": (make_cloth, "code", ("name", "Fell", "Moor"), None),
    "colourway_rename": (make_colourway, None, ("name", "Peat", "Moss"), None),
    "loom_edit": (make_loom, "code", ("ppm", "230", "240"), ("kind", "Rapier")),
    "reed": (
        lambda: Reed.objects.create(code="R1", dents_per_10cm="60", width_cm="200"),
        "pk",
        ("as_bought", "15s", "16s"),
        ("quantity", "3"),
    ),
    "beam": (make_beam, "pk", ("tare_kg", "96.5", "97.5"), ("barrel_mm", "170")),
    "shift_pattern": (make_shift, "pk", ("hours", "Mon-Fri 06:00-14:00", "Mon-Fri 06:00-18:00"), ("name", "Day")),
    "closure": (
        lambda: Closure.objects.create(name="Fair", starts_at=at(1), stops_at=at(3)),
        "pk",
        ("stops_at", "2027-02-04T06:00", "2027-02-05T06:00"),
        ("name", "Spring fair"),
    ),
    "worker": (
        lambda: Worker.objects.create(code="RO", name="Rowan", trade="weaver"),
        "pk",
        ("name", "Rowan Pike", "Rowan Pyke"),
        ("trade", "warper"),
    ),
    "machine": (
        lambda: Machine.objects.create(name="Tub", step="scour", m_per_day=400),
        "pk",
        ("m_per_day", "420", "450"),
        ("name", "Long tub"),
    ),
    "mill": (make_mill, "", ("thrums_m", "1.4", "1.6"), ("knots_per_min", "5")),
    "store_triggers": (make_mill, "", ("store_lure_days", "50", "60"), ("store_soon_days", "9")),
    "yarn_edit": (make_yarn, "code", ("name", "Peat", "Moss"), ("regain_pct", "16")),
    "delivery": (make_delivery, "pk", ("ordered_g", "21", "22"), ("dye_lot", "4711")),
    "place_edit": (make_place, "pk", ("name", "North", "South"), ("code", "N1")),
    "trap": (make_trap, "pk", ("lure_renewed_on", "2026-02-01", "2026-02-02"), ("code", "TN")),
    "supplier": (make_supplier, "pk", ("lead_time_days", "30", "40"), ("name", "Loanhead")),
    "fibre": (make_fibre, "pk", ("regain_pct", "16", "18.25"), ("regain_authority", "ours")),
    "person": (make_person, "user", ("name", "Rowan Pike", "Rowan Pyke"), ("held", roles.WARPER)),
}


def address_of(name, row):
    match name:
        case "line_edit":
            return reverse(name, args=[row.order.number, row.position])
        case "person":
            return reverse(name, args=[row.user_id])
        case "colourway_rename":
            return reverse(name, args=[row.cloth.code, row.pk])
        case _:
            by = FORMS[name][1]
            return reverse(name, args=[getattr(row, by)] if by else [])


@pytest.fixture
def ann(db):
    user = get_user_model().objects.create_user("ann", first_name="Ann", last_name="Weir", is_superuser=True)
    client = Client()
    client.force_login(user)
    return client


def ours(sent: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in sent.items() if name != "csrfmiddlewaretoken"}


def version(row) -> tuple:
    return tuple(row.history.order_by("history_id").values_list("history_id", "history_user"))


def opened_by_both(name, desk, ann):
    """A form that the desk has open, filled in, while Ann writes the first of two fields: the record and what is sent."""
    make, _, (first, theirs, mine), second = FORMS[name]
    row = make()
    address = address_of(name, row)
    sent = typed(desk.get(address), **{first: mine}, **(dict([second]) if second else {}))
    assert ann.post(address, typed(ann.get(address)) | {first: theirs}).status_code == 302
    return row, sent


def address_now(name, row):
    return address_of(name, type(row).objects.get(pk=row.pk))


@pytest.mark.parametrize("name", FORMS)
def test_the_second_sees_both_versions_and_chooses_field_by_field(desk, ann, name):
    row, sent = opened_by_both(name, desk, ann)
    _, _, (first, _, _), second = FORMS[name]
    address, stood = address_now(name, row), version(row)
    theirs = typed(desk.get(address))[first]

    page = desk.post(address, sent)
    html = page.content.decode()
    assert "Ann Weir wrote here while you had it open" in html
    assert re.search(r"Ann Weir, \w{3} \d+ \w{3}", unescape(html)), "who wrote it, and when, beside the field"
    offered = dict(re.findall(r'name="take-(\w+)" value="(\w+)" checked', html))
    assert offered == ({second[0]: "mine"} if second else {}), "what only this hand changed; what both did is asked"
    shown = typed(page)
    assert {name: shown.get(name) for name in ours(sent)} == ours(sent), "nothing typed is lost"

    again = desk.post(address, shown)
    assert "Choose one." in again.content.decode()
    shown = typed(again)
    assert {name: shown.get(name) for name in ours(sent)} == ours(sent)
    assert version(row) == stood, "nothing is written without a choice"

    assert desk.post(address, shown | {f"take-{first}": "stands"}).status_code == 302
    now = typed(desk.get(address_now(name, row)))
    assert now[first] == theirs, "theirs stands in the field where that was chosen"
    if second:
        assert now[second[0]] == sent[second[0]]


@pytest.mark.parametrize("name", ["line_edit", "mill", "yarn_edit"])
def test_all_of_mine_is_taken_when_that_is_said(desk, ann, name):
    row, sent = opened_by_both(name, desk, ann)
    _, _, (first, _, _), second = FORMS[name]
    address = address_now(name, row)
    assert desk.post(address, typed(desk.post(address, sent), whole="mine")).status_code == 302
    now = typed(desk.get(address_now(name, row)))
    assert (now[first], now[second[0]]) == (sent[first], sent[second[0]])


# Forms that change no record that stands, or that have their own way.
OTHERWISE = {
    "own_password": "one's own, which nobody else changes",
    "own_language": "one's own, which nobody else changes",
    "cloth_revise": "a revision more, by its own test below",
    "warp_note": "its form stands on the warp's page, by its own test below",
    "line_call_off": "an act, not a form over a record",
    "warp_beam": "an act: one beam is chosen",
    "warp_place": "an act: one place is chosen",
    "line_reverse": "the ledger is only added to",
    "lot_write": "the ledger is only added to",
    "place_count": "the ledger is only added to",
}


def test_every_form_over_a_record_is_here():
    """A page that is a form and carries an argument stands above, or says why not; and so do the small records."""
    patterns = {p.name: p for p in _patterns(get_resolver())}
    over_records = {name for name in roles.FORMS if patterns[name].pattern.regex.groups and not name.endswith("_new")}
    assert over_records <= FORMS.keys() | OTHERWISE.keys()


def _patterns(resolver):
    for pattern in resolver.url_patterns:
        if hasattr(pattern, "url_patterns"):
            yield from _patterns(pattern)
        else:
            yield pattern


def test_what_others_wrote_elsewhere_in_the_record_stays_and_is_not_asked_about(desk, planner):
    loom = make_loom(code="7")
    sent = typed(desk.get("/looms/7/edit/"), ppm="240")
    looms.hold_loom(loom, reason="no bearing", by=planner)
    assert desk.post("/looms/7/edit/", sent).status_code == 302
    loom.refresh_from_db()
    assert (loom.ppm, loom.is_held, loom.held_reason) == (240, True, "no bearing")


def test_the_same_written_by_both_is_no_quarrel(desk, ann):
    supplier = make_supplier()
    address = reverse("supplier", args=[supplier.pk])
    sent = typed(desk.get(address), name="Loanhead")
    ann.post(address, sent)
    assert desk.post(address, sent).status_code == 302


def test_what_is_changed_a_third_time_while_one_chooses_is_asked_again(desk, ann):
    supplier = make_supplier(name="Spinner")
    address = reverse("supplier", args=[supplier.pk])
    sent = typed(desk.get(address), name="Mine")
    ann.post(address, typed(ann.get(address), name="Hers"))
    shown = typed(desk.post(address, sent))
    ann.post(address, typed(ann.get(address), name="Hers again"))
    page = desk.post(address, shown | {"take-name": "mine"})
    assert "Hers again" in page.content.decode()
    supplier.refresh_from_db()
    assert supplier.name == "Hers again"


def test_fibres_of_a_yarn_are_part_of_what_stands(desk, ann):
    """They are rows of their own; a yarn whose fibres were changed is another version of it."""
    yarn, wool, nylon = make_yarn(), make_fibre(name="wool"), make_fibre(name="nylon")
    address = reverse("yarn_edit", args=[yarn.code])
    sent = typed(desk.get(address), fibre_0=str(wool.pk), share_0="100")
    theirs = {"fibre_0": str(wool.pk), "share_0": "80", "fibre_1": str(nylon.pk), "share_1": "20"}
    assert ann.post(address, typed(ann.get(address)) | theirs).status_code == 302
    page = desk.post(address, sent)
    assert "Ann Weir wrote here" in page.content.decode()
    assert {str(s.fibre): s.share_pct for s in yarn.shares.all()} == {"wool": 80, "nylon": 20}
    assert "Fibres: 80 % wool, 20 % nylon" in desk.get(changes.page_of("inventory.yarn", yarn.pk)).content.decode()


def test_roles_that_two_give_one_person_are_shown_by_name(desk, ann):
    rowan = make_person().user
    address = reverse("person", args=[rowan.pk])
    sent = typed(desk.get(address), held=roles.FINISHER)
    ann.post(address, typed(ann.get(address)) | {"held": [roles.WARPER, roles.WEAVER]})
    page = desk.post(address, sent)
    said = text_of(page)
    assert "When you opened it reader" in said
    assert "Stands now warper, weaver or tuner" in said
    assert "Yours finisher" in said
    assert desk.post(address, typed(page) | {"take-held": "stands"}).status_code == 302
    assert {group.name for group in rowan.groups.all()} == {roles.WARPER, roles.WEAVER}


def test_a_person_of_whom_the_account_does_not_tell_yet_is_changed(desk, planner):
    stranger = get_user_model().objects.create_user("stranger")
    address = reverse("person", args=[stranger.pk])
    assert desk.post(address, typed(desk.get(address), name="Merle", held=roles.READER)).status_code == 302
    assert stranger.told_as.name == "Merle"


def test_a_warps_note_is_shown_beside_the_one_written_meanwhile(desk, ann):
    warp = make_warp()
    address, page_of = reverse("warp_note", args=[warp.number]), reverse("warp", args=[warp.number])
    assert desk.get(address)["Location"] == page_of, "a page read again after a no is the warp's own"
    opened = re.search(r'name="opened" value="(\d+)"', desk.get(page_of).content.decode())[1]
    assert ann.post(address, {"opened": opened, "note": "Mind the selvedge."}).status_code == 302
    page = desk.post(address, {"opened": opened, "note": "Peat in bag 3."})
    html = page.content.decode()
    assert "Ann Weir wrote here while you had it open" in html
    assert "Mind the selvedge." in html
    assert "Peat in bag 3." in html
    warp.refresh_from_db()
    assert warp.note == "Mind the selvedge."
    shown = re.search(r'name="shown" value="(\d+)"', html)[1]
    sent = {"opened": opened, "shown": shown, "both": ["note"], "take-note": "mine", "note": "Peat in bag 3."}
    assert desk.post(address, sent).status_code == 302
    warp.refresh_from_db()
    assert warp.note == "Peat in bag 3."


def test_a_note_is_written_though_the_warp_has_moved_on(desk, planner):
    warp = make_warp()
    opened = meanwhile.version_of(warp)
    warps.lock_warp(warp, is_locked=True, by=planner)
    address = reverse("warp_note", args=[warp.number])
    assert desk.post(address, {"opened": opened, "note": "Peat in bag 3."}).status_code == 302
    warp.refresh_from_db()
    assert (warp.note, warp.is_locked) == ("Peat in bag 3.", True)
    too_long = desk.post(address, {"opened": meanwhile.version_of(warp), "note": "x" * 201})
    assert "at most 200" in too_long.content.decode()


def test_a_revision_written_meanwhile_is_shown_beside_mine(desk, planner):
    spec = make_spec(cloth=make_cloth(code="HER7"))
    address = reverse("cloth_revise", args=["HER7"])
    sent = typed(desk.get(address), ends_per_dent="3", write="yes")
    draft = cloths.draft_of(spec)
    draft.columns["loom_picks_per_cm"] = draft.columns["loom_picks_per_cm"] + 1
    cloths.revise(spec.cloth, draft, by=planner)
    page = desk.post(address, sent)
    html = page.content.decode()
    assert "revision 2 stands" in text_of(page)
    assert re.search(r"What they changed</h3>\s*<ul><li>[^<]*picks", html, re.I)
    assert re.search(r"What yours would change in it</h3>\s*<ul><li>[^<]*dent", html, re.I)
    assert spec.cloth.specs.count() == 2
    over = re.search(r'name="over" value="([^"]+)"', html)[1]
    again = typed(page)
    again.pop("write", None)
    assert desk.post(address, again | {"over": over}).status_code == 302
    assert [s.ends_per_dent for s in spec.cloth.specs.order_by("revision")][-1] == 3


def test_a_revision_corrected_meanwhile_is_another_though_its_number_is_the_same(desk, planner):
    spec = make_spec(cloth=make_cloth(code="HER7"))
    address = reverse("cloth_revise", args=["HER7"])
    sent = typed(desk.get(address), ends_per_dent="3", correct="yes")
    draft = cloths.draft_of(spec)
    draft.columns["finishing_days"] = draft.columns["finishing_days"] + 1
    cloths.edit_spec(spec, draft, by=planner)
    assert "wrote here while you had it open" in desk.post(address, sent).content.decode()
    spec.refresh_from_db()
    assert (spec.ends_per_dent, spec.finishing_days) != (3, draft.columns["finishing_days"] - 1)


def test_a_record_struck_out_meanwhile_is_not_written_anew(planner):
    Reed.objects.create(code="R1", dents_per_10cm="60", width_cm="200")
    reed, mine = Reed.objects.get(), Reed.objects.get()
    looms.strike_out(reed, by=planner)
    with pytest.raises(Refusal, match=r"R1 \(60 per 10 cm\) has been struck out meanwhile by Planner"):
        looms.write_down(mine, by=planner)
    assert not Reed.objects.exists()


def test_the_version_is_asked_only_inside_the_transaction_that_writes(transactional_db):
    with pytest.raises(AssertionError):
        meanwhile.unmoved(make_supplier(), "1")


# Programs: RFC 9110, sections 8.8.3 (ETag) and 13.1.1 (If-Match), and 15.5.13 for 412.

PATCHED = {
    "customers": (make_customer, "code", {"name": "Hollin"}),
    "order-lines": (make_line, "pk", {"note": "by rail"}),
    "looms": (make_loom, "code", {"kind": "Rapier"}),
    "beams": (make_beam, "pk", {"barrel_mm": 170}),
    "shift-patterns": (make_shift, "pk", {"name": "Day"}),
    "yarns": (make_yarn, "pk", {"name": "Peat"}),
    "deliveries": (make_delivery, "pk", {"dye_lot": "4711"}),
    "suppliers": (make_supplier, "pk", {"name": "Loanhead"}),
    "places": (make_place, "pk", {"name": "North"}),
    "traps": (make_trap, "pk", {"code": "TN"}),
    "fibres": (make_fibre, "pk", {"regain_authority": "ours"}),
    "mill": (make_mill, "", {"thrums_m": "1.6"}),
    "store/triggers": (make_mill, "", {"store_lure_days": 60}),
}


@pytest.mark.parametrize("name", PATCHED)
def test_a_program_changes_the_version_that_it_read_and_no_other(desk, name):
    make, by, said = PATCHED[name]
    row = make()
    address = f"/api/{name}/{getattr(row, by)}/" if by else f"/api/{name}/"
    tag = desk.get(address)["ETag"]
    assert re.fullmatch(r'"\d+"', tag)
    kind = {"content_type": "application/json"}
    changed = desk.patch(address, said, headers={"If-Match": tag}, **kind)
    assert changed.status_code == 200, changed.content
    assert changed["ETag"] != tag
    refused = desk.patch(address, said, headers={"If-Match": tag}, **kind)
    assert refused.status_code == 412
    assert refused["Content-Type"] == "application/problem+json"
    assert refused["ETag"] == changed["ETag"]
    assert "was changed meanwhile by Planner" in refused.json()["detail"]
    for allowed in ("*", '"1000000", {}'):
        allowed = allowed.format(changed["ETag"])
        assert desk.patch(address, said, headers={"If-Match": allowed}, **kind).status_code == 200
        changed = desk.get(address)
    # A weak tag, and one without its quotes, match nothing: strong comparison, section 13.1.1.
    for wrong in (f"W/{changed['ETag']}", changed["ETag"].strip('"'), '"no tag of ours"'):
        assert desk.patch(address, said, headers={"If-Match": wrong}, **kind).status_code == 412


def test_a_record_is_struck_out_only_as_it_was_read(desk):
    made = make_beam()
    tag = desk.get(f"/api/beams/{made.pk}/")["ETag"]
    desk.patch(f"/api/beams/{made.pk}/", {"barrel_mm": 170}, content_type="application/json")
    assert desk.delete(f"/api/beams/{made.pk}/", headers={"If-Match": tag}).status_code == 412
    tag = desk.get(f"/api/beams/{made.pk}/")["ETag"]
    assert desk.delete(f"/api/beams/{made.pk}/", headers={"If-Match": tag}).status_code == 204


def test_every_change_of_a_record_over_the_api_heeds_if_match(desk):
    """By the API's own description: whatever takes PATCH or PUT says that it does, and what it answers then."""
    paths = desk.get("/api/schema/?format=json").json()["paths"]
    writes = [(path, op) for path, ops in paths.items() for verb, op in ops.items() if verb in {"patch", "put"}]
    assert len(writes) >= len(PATCHED)
    for path, operation in writes:
        assert "If-Match" in {one["name"] for one in operation["parameters"]}, path
        assert "412" in operation["responses"], path
        assert "ETag" in operation["responses"]["200"]["headers"], path


def test_a_revision_is_corrected_as_it_was_read_with_its_yarns_and_route_or_not_at_all(desk, planner):
    spec = make_spec()
    address = f"/api/cloths/{spec.cloth.code}/revisions/{spec.revision}/"
    read = desk.get(address)
    assert read["ETag"] == f'"{cloths.mark_of(spec)}"'
    draft = cloths.draft_of(spec)
    cloths.edit_spec(spec, replace(draft, route=draft.route[:1]), by=planner)
    said = {name: str(value) for name, value in draft.columns.items()} | {
        "route": [{"name": "scour"}],
        "colourways": [
            {"name": one.name, "yarns": {letter: yarn.code for letter, yarn in one.yarns.items()}}
            for one in draft.colourways
        ],
    }
    late = desk.put(address, said, content_type="application/json", headers={"If-Match": read["ETag"]})
    assert late.status_code == 412, late.content
    assert late["ETag"] == desk.get(address)["ETag"] != read["ETag"]


def test_a_patch_leaves_what_it_does_not_name_to_others(planner):
    """Read before the other wrote, written after: only the columns that were sent."""
    loom = make_loom()
    mine = Loom.objects.get(pk=loom.pk)
    looms.hold_loom(loom, reason="no bearing", by=planner)
    mine.ppm = 240
    looms.write_down(mine, by=planner, changed=["ppm"])
    loom.refresh_from_db()
    assert (loom.ppm, loom.is_held) == (240, True)


def test_the_refusal_of_a_verb_is_a_sentence_with_both_versions(planner):
    order = make_order(number="O1")
    seen = meanwhile.version_of(order)
    said = {"customer": order.customer, "placed_on": order.placed_on, "reference": "", "note": ""}
    orders.change_order(order, by=planner, **said | {"note": "by rail"}, seen=seen)
    now = meanwhile.version_of(order)
    with pytest.raises(meanwhile.Meanwhile, match=f"is version {now} now, and this was written from version {seen}"):
        orders.change_order(order, by=planner, **said, seen=seen)
    with transaction.atomic():
        meanwhile.unmoved(order, now)
