"""The small records, the mill's values, files brought in and jobs, over the API: what their pages do, programs do too."""

from decimal import Decimal

import pytest

from inventory.models import Fibre, Place, Supplier, Trap, Yarn
from mill import jobs
from mill.models import Change, Job, Mill
from planning.models import Beam, Closure, Loom, Machine, Reed, ShiftPattern, Worker
from planning.services import looms
from tests.make import make_beam, make_loom, make_place, make_supplier, make_yarn
from tests.planning.test_importing import text_of

pytestmark = pytest.mark.django_db

# What a program sends, and what of it is then read.
SHED = [
    (Reed, "reeds", {"code": "R63", "dents_per_10cm": "63", "width_cm": "71 in", "quantity": 2}, {"width_cm": "180.3"}),
    (Beam, "beams", {"code": "B9", "width_cm": 180, "barrel_mm": 150, "flange_mm": 600, "tare_kg": 90}, {}),
    (ShiftPattern, "shift-patterns", {"name": "Long", "hours": "Mon-Fri 06:00-22:00"}, {}),
    (
        Closure,
        "closures",
        {"name": "Fair", "starts_at": "2027-02-01T06:00:00Z", "stops_at": "2027-02-03T06:00:00Z"},
        {"loom": None},
    ),
    (Worker, "workers", {"code": "ro", "name": "Rowan Pike", "trade": "weaver"}, {"code": "RO", "is_in_use": True}),
    (Machine, "machines", {"name": "Tub", "step": "scour", "m_per_day": "400 yd"}, {"m_per_day": "365.8"}),
]
STORE = [
    (Supplier, "suppliers", {"code": "LOAN", "name": "Loanhead", "lead_time_days": 35}, {"notes": ""}),
    (Fibre, "fibres", {"name": "ramie", "regain_pct": "8.5", "regain_authority": "the mill's own"}, {}),
    (Place, "places", {"code": "BAY-7", "name": "North wall"}, {"is_dark": False}),
]


def send(desk, address, said, method="post"):
    return getattr(desk, method)(f"/api/{address}", said, content_type="application/json")


@pytest.mark.parametrize(("model", "name", "said", "read"), SHED + STORE, ids=[row[1] for row in SHED + STORE])
def test_a_record_is_written_down_once_found_and_changed(desk, planner, model, name, said, read):
    key = {"Idempotency-Key": "one"}
    for _ in range(2):
        made = desk.post(f"/api/{name}/", said, content_type="application/json", headers=key)
        assert made.status_code == 201, made.content
    row = model.objects.get()
    assert made.json()["id"] == row.pk
    assert made.json().items() >= read.items()
    assert desk.get(f"/api/{name}/").json()["results"] == [made.json()]
    label = next(column for column in ("code", "name") if column in said)
    changed = send(desk, f"{name}/{row.pk}/", {label: "OTHER"}, "patch")
    assert changed.json() == {**made.json(), label: "OTHER"}
    told = Change.objects.filter(kind=model._meta.label_lower).order_by("pk")
    assert [(change.what, change.by) for change in told] == [("+", planner), ("~", planner)]


@pytest.mark.parametrize(("model", "name", "said"), [row[:3] for row in SHED], ids=[row[1] for row in SHED])
def test_a_record_of_the_shed_is_struck_out(desk, model, name, said):
    made = send(desk, f"{name}/", said).json()
    assert desk.delete(f"/api/{name}/{made['id']}/").status_code == 204
    assert not model.objects.exists()


@pytest.mark.parametrize(
    ("name", "said", "field", "why"),
    [
        ("beams", {**SHED[1][2], "flange_mm": 100}, "flange_mm", "can't stand over a barrel of 150 mm"),
        ("shift-patterns", {"name": "Odd", "hours": "noon"}, "hours", "noon"),
        ("closures", {**SHED[3][2], "stops_at": "2027-01-01T06:00:00Z"}, "stops_at", "let it end after that"),
        ("closures", {**SHED[3][2], "starts_at": "0357-02-02T01:50:19Z"}, "starts_at", "from 2000 to 2199"),
        ("closures", {**SHED[3][2], "loom": "99"}, "loom", "99"),
        ("machines", {"name": "Tub", "step": "scour", "m_per_day": 0}, "m_per_day", "too little"),
        ("suppliers", {"code": "", "name": "Loanhead"}, "code", "blank"),
    ],
)
def test_what_is_wrong_with_a_record_is_said_by_field(desk, name, said, field, why):
    answer = send(desk, f"{name}/", said)
    assert answer.status_code == 400
    assert why in answer.json()["errors"][field][0]


def test_what_stands_on_a_record_keeps_it_from_being_struck_out(desk):
    loom = make_loom()
    answer = desk.delete(f"/api/shift-patterns/{loom.shift_pattern.pk}/")
    assert answer.status_code == 400
    assert "can't be struck out" in answer.json()["detail"]


# Looms


def test_a_loom_is_written_down_changed_held_and_let_go(desk, planner):
    ShiftPattern.objects.create(name="Day", hours="Mon-Fri 06:00-14:00")
    said = {
        "code": "9",
        "kind": "dobby rapier",
        "reed_space_cm": "75 in",
        "shafts": 16,
        "max_flange_mm": 800,
        "ppm": 120,
        "efficiency_pct": "82.5",
        "shift_pattern": "Day",
    }
    made = send(desk, "looms/", said)
    assert made.status_code == 201, made.content
    assert (made.json()["reed_space_cm"], made.json()["hours"]) == ("190.5", "Mon-Fri 06:00-14:00")
    assert send(desk, "looms/9/", {"ppm": 130}, "patch").json()["ppm"] == 130
    held = send(desk, "looms/9/hold/", {"reason": "new heald frames"}).json()
    assert (held["is_held"], held["held_reason"]) == (True, "new heald frames")
    assert send(desk, "looms/9/let-go/", {}).json()["is_held"] is False
    told = Change.objects.filter(kind="planning.loom").values_list("what", "by")
    assert sorted(told) == [("+", planner.pk), *[("~", planner.pk)] * 3]


def test_a_loom_without_shafts_or_jacquard_is_refused_on_the_page_and_over_the_api(desk):
    loom = make_loom(is_jacquard=True, shafts=0)
    answer = send(desk, f"looms/{loom.code}/", {"is_jacquard": False}, "patch")
    assert answer.status_code == 400
    assert "lifts by shafts" in answer.json()["errors"]["shafts"][0]
    form = desk.get(f"/looms/{loom.code}/edit/").context["form"]
    typed = {name: form[name].value() for name in form.fields if form[name].value() not in (None, True, False)}
    page = desk.post(f"/looms/{loom.code}/edit/", typed)
    assert "lifts by shafts" in page.content.decode()
    assert Loom.objects.get().is_jacquard


# Yarns, traps, triggers


def test_a_yarn_is_written_down_by_its_count_as_bought(desk):
    make_supplier(code="LOAN")
    Fibre.objects.create(name="wool", regain_pct=Decimal(17), regain_authority="EU 1007/2011 Annex IX")
    said = {
        "code": "GREY-2",
        "name": "Slate",
        "count_as_bought": "2/12 nw",
        "supplier": "LOAN",
        "regain_pct": "17",
        "regain_authority": "EU 1007/2011 Annex IX",
        "fibres": [{"fibre": "wool", "share_pct": 100}],
    }
    made = send(desk, "yarns/", said)
    assert made.status_code == 201, made.content
    # 2 x 885.812 / 12 = 147.635; ASTM D2260-03(2013) table 1.
    assert made.json()["count_tex"].startswith("147.635")
    address = f"yarns/{made.json()['id']}/"
    changed = send(desk, address, {"name": "Dark slate"}, "patch").json()
    assert (changed["name"], changed["fibres"]) == ("Dark slate", [{"fibre": "wool", "share_pct": "100.00"}])
    answer = send(desk, address, {"fibres": [{"fibre": "wool", "share_pct": 80}]}, "patch")
    assert "come to 80 %" in answer.json()["detail"]
    assert send(desk, address, {"count_as_bought": "thick"}, "patch").json()["errors"]["count_as_bought"]
    assert Yarn.objects.get().count_tex == Decimal(made.json()["count_tex"])


def test_a_trap_is_hung_moved_and_taken_down(desk):
    make_place(code="BAY-1")
    make_place(code="BAY-2")
    species = Trap._meta.get_field("catches").choices[0][0]
    made = send(
        desk, "traps/", {"code": "T1", "place": "BAY-1", "catches": species, "lure_renewed_on": "2026-11-02"}
    ).json()
    moved = send(desk, f"traps/{made['id']}/", {"place": "BAY-2", "is_hung": False}, "patch").json()
    assert (moved["place"], moved["is_hung"]) == ("BAY-2", False)


def test_the_store_s_triggers_and_the_mill_s_values_are_read_and_set(desk, planner):
    assert send(desk, "store/triggers/", {"store_lure_days": 42}, "patch").json()["store_lure_days"] == 42
    set_to = send(desk, "mill/", {"thrums_m": "4 yd", "tuner_hours": "Mon-Sat 06:00-18:00"}, "patch").json()
    assert (set_to["thrums_m"], set_to["tuner_hours"]) == ("3.66", "Mon-Sat 06:00-18:00")
    assert "lies_open" not in set_to
    assert desk.get("/api/mill/").json() == set_to
    mill = Mill.objects.get()
    assert (mill.store_lure_days, mill.thrums_m) == (42, Decimal("3.66"))
    assert send(desk, "mill/", {"tuner_hours": "now and then"}, "patch").status_code == 400


# Files


def test_a_file_is_checked_brought_in_and_brought_in_again(desk):
    text = text_of("fibres")
    checked = send(desk, "imports/fibres/", {"csv": text, "is_check": True}).json()
    assert checked["new"]
    assert not Fibre.objects.exists()
    assert send(desk, "imports/fibres/", {"csv": text}).json() == {
        **checked,
        "said": f"Fibres: {checked['new']} new, 0 changed, 0 the same.",
        "is_check": False,
    }
    assert Fibre.objects.count() == checked["new"]
    again = send(desk, "imports/fibres/", {"csv": text}).json()
    assert (again["new"], again["same"]) == (0, checked["new"])


def test_what_is_wrong_with_a_file_is_said_by_row_and_column(desk):
    header = text_of("beams").splitlines()[0]
    text = f"{header}\nB1,180,150,600,95,yes\nB2,180,760,180,95,yes\n"
    answer = send(desk, "imports/beams/", {"csv": text})
    assert answer.status_code == 400
    assert "can't stand over a barrel" in answer.json()["errors"]["row 3.flange_mm"][0]
    assert not Beam.objects.exists()
    assert send(desk, "imports/letters/", {"csv": text}).json()["errors"]["kind"]


def test_the_kinds_of_files_say_their_columns(desk):
    kinds = {one["kind"]: one for one in desk.get("/api/imports/").json()}
    assert [column["name"] for column in kinds["reeds"]["columns"] if column["is_needed"]]
    for one in kinds.values():
        header = ",".join(column["name"] for column in one["columns"])
        # Nothing under it: the header alone is read.
        assert "no row under it" in send(desk, f"imports/{one['kind']}/", {"csv": header + "\n"}).json()["detail"]


# Jobs


def test_a_job_is_listed_looked_at_and_stopped(desk, planner):
    job = jobs.ask("planning.improve", {"seconds": 5}, by=planner)
    row = desk.get("/api/jobs/?state=queued").json()["results"][0]
    assert (row["id"], row["asked_by"], row["why_given_up"]) == (job.pk, "planner", "")
    stopped = desk.post(f"/api/jobs/{job.pk}/stop/").json()
    assert (stopped["state"], stopped["why_given_up"]) == (Job.FAILED, "Stopped before it was begun.")
    assert desk.get(f"/api/jobs/{job.pk}/").json() == stopped


def test_the_shed_s_records_and_looms_are_worked_out_again_by_whichever_way_they_change(desk, planner):
    beam, yarn = make_beam(), make_yarn()
    looms.write_down(beam, by=planner)
    by_page = set(Job.objects.values_list("task", flat=True))
    Job.objects.all().delete()
    send(desk, f"beams/{beam.pk}/", {"tare_kg": 80}, "patch")
    assert set(Job.objects.values_list("task", flat=True)) == by_page
    send(desk, f"yarns/{yarn.pk}/", {"name": "Other"}, "patch")
    assert "planning.yarn_changed" in set(Job.objects.values_list("task", flat=True))
