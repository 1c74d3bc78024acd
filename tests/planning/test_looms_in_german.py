"""The looms' pages in German: whole, and what is kept in English said again with the figures and days of the page."""

import re
from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db import transaction
from django.utils import timezone

from mill import jobs, language
from mill.countries import NAMES
from mill.models import Job
from mill.public_days import countries
from planning.models import Closure, Loom, PlanRun, Slot, Warp
from planning.services import actuals, floor, improving, looms, plans, retelling, working_out
from planning.services import board as moving
from planning.shed_plan import Cost
from tests.german import forgotten
from tests.make import make_line, make_loom, make_spec, make_warp
from tests.planning.floor_walk import make_worker, weaving_warp

# What each kind of place may hold, as it is kept.
SAMPLES = {
    "day": "Tue 24 Nov",
    "at": "Thu 3 Dec 06:15",
    "time": "3 days 4 h",
    "warps": "warps 1, 2, 3 and 4 more",
    "warp": "12",
    "setup": "draw-in",
    "material": "warp yarn Y1 2/15",
    "how": "Put first on loom R2",
    "when": "5 h sooner",
    "weeks": "over the next 6 weeks",
    "who": "tuners",
    "shares": "looms 71 %, warping 40 %",
    "more": "3 h more set-up",
    "looms": "loom R1: it needs a jacquard; loom R2: it needs 212.5 cm in the reed; the loom has 190.0 cm",
    "misfit": "it needs 20 shafts; the loom has 16",
    "why": "Gearbox",
}


@pytest.mark.parametrize("form", retelling.FORMS)
def test_each_sentence_of_a_plan_is_told_again_from_how_it_is_kept(form):
    names = re.findall(r"%\((\w+)\)s", form)
    kept = form % {name: SAMPLES.get(name.partition("_")[0], "7") for name in names}
    assert retelling.retold(kept) == kept
    with language.speaking("de"):
        said = retelling.retold(kept)
    assert said != kept
    english = r"Tue|Dec|Nov 0|days|more|loom\b|warps?\b|sooner|draw-in|weeks|tuner|yarn|needs"
    assert not re.search(english, said), said


def test_what_stands_in_a_sentence_is_told_again_too():
    with language.speaking("de"):
        assert (
            retelling.retold("Loom R2 is busy with warps 1, 2 and 3 until Thu 3 Dec 06:15.")
            == "Webstuhl R2 ist mit Ketten 1, 2 und 3 belegt bis Do, 3. Dez 06:15."
        )
        two = retelling.retold("Warp 4 on loom R2: 2 days 3 h less weighted lateness, set-up as before. As told.")
        assert (
            two == "Kette 4 auf Webstuhl R2: 2 Tage 3 h weniger gewichtete Verspätung, Vorrichtung wie zuvor. As told."
        )
        misfit = "No loom takes it: loom R1: it needs 212.5 cm in the reed; the loom has 190.0 cm."
        assert retelling.retold(misfit).endswith(
            "Webstuhl R1: sie braucht 212,5 cm im Blatt; der Webstuhl hat 190,0 cm."
        )
        assert retelling.retold("The spinner's van broke down.") == "The spinner's van broke down."


pytestmark = pytest.mark.django_db


def late_warp(due_on: date, **changes) -> Warp:
    spec = make_spec()
    return make_warp(spec=spec, lines=[make_line(spec=spec, due_on=due_on)], **changes)


@pytest.fixture
def shed(planner) -> PlanRun:
    """Loom 7 weaves and stands for a weft break; late warps wait for 8, one fits no loom; a plan is in force."""
    spec = make_spec()
    line = make_line(spec=spec, pieces=4, due_on=timezone.localdate() - timedelta(days=30))
    warp = weaving_warp(planner, spec=spec, lines=[line], loom=make_loom(code="7"))
    una = make_worker(name="Loom hand")
    for hours, kind, facts in (
        (72, "piece off", {"length_m": Decimal("60.5")}),
        (1, "piece off", {"length_m": Decimal("60.5")}),
        (0.5, "stopped", {"reason": "weft break"}),
    ):
        told = floor.tell(
            warp, kind=kind, worker=una, key=f"{kind} {hours}", by=planner, facts=facts, age=timedelta(hours=hours)
        )
        assert told.refused == ""
    make_loom(code="8")
    wide = late_warp(timezone.localdate())
    waiting = [late_warp(timezone.localdate() + timedelta(days=n)) for n in range(3)]
    with transaction.atomic():
        working_out.warps_changed([one.pk for one in (*waiting, wide)])
    jobs.settle()
    wide.worked.reed_width_cm = Decimal("312.5")
    wide.worked.save()
    run = plans.make_plan(rule="best", by=planner)
    assert run.left_out
    return plans.put_in_force(run, by=planner)


OWN = (
    r"Name|Jacquard|Plan( \d+)?|\d+ Shade.*|.*Cloth \d+.*|.*O\d+.*|.*h \d\d min|.* h|(\d+ )?min"
    r"|Loom hand|Dobby rapier|Mon-Fri .*|Two shifts|\d+ (Tweed|Dobby) .*"
)


@pytest.mark.slow
def test_the_pages_of_the_looms_are_whole_in_german(desk, planner, shed):
    warp = Warp.objects.get(state=Warp.WEAVING)
    held = make_loom(code="9")
    looms.hold_loom(held, reason="Shade 9", by=planner)
    offered = plans.make_plan(rule="setups_first", by=planner)
    waiting = Slot.objects.filter(run=shed, warp__state=Warp.PLANNED).select_related("warp", "loom").latest("position")
    other = Loom.objects.get(code="7" if waiting.loom.code == "8" else "8")
    by_hand = moving.move(shed, waiting.warp, loom=other, pin=True, by=planner)
    assert warp.loom is not None
    job = improving.ask_without(
        warp.loom, until=timezone.now() + timedelta(days=2), why="Shade 8", only_try=True, by=planner
    )
    cost = Cost(**{name: value for name, value in shed.cost.items() if name != "total"})
    Job.objects.filter(pk=job.pk).update(
        state=Job.RUNNING,
        progress_note=improving.note_of(cost, elapsed_s=3, seconds=5),
    )
    pages = ["/looms/", "/looms/7/", "/looms/8/", "/looms/9/", "/looms/7/edit/", "/looms/new/", "/looms/plans/"]
    pages += ["/woven/", "/woven/?days=91", f"/looms/plans/looking/{job.pk}/"]
    pages += [f"/looms/plans/{run.pk}/" for run in (shed, offered, by_hand)]
    for plan in ("", f"plan={by_hand.pk}&"):
        pages += [f"/looms/board/?{plan}span=quarter", f"/looms/board/?{plan}view=table", f"/looms/board/?{plan}"]
    assert actuals.run_outs()
    assert not forgotten(desk, planner, pages, own=OWN)


@pytest.mark.slow
def test_public_holidays_are_looked_up_and_written_in_german(desk, planner):
    address = "/mill/public-holidays/?country=AT&part=9&year=2027"
    # Some countries are called alike in both.
    alike = "|".join(re.escape(name) for name in NAMES)
    assert not forgotten(desk, planner, [address, "/mill/public-holidays/"], own=alike)
    page = desk.get(address).content.decode()
    assert "Österreich</option>" in page
    assert "<td>Fronleichnam</td>" in page
    assert "Do, 27. Mai 2027" in page
    wrong = desk.get("/mill/public-holidays/?country=AT&part=X&year=2027").content.decode()
    assert "Österreich hat in den Tafeln keinen Teil „X“" in wrong
    answer = desk.post(
        "/mill/public-holidays/", {"country": "AT", "part": "9", "year": "2027", "day": "2027-05-27"}, follow=True
    )
    assert Closure.objects.get().name == "Fronleichnam"
    assert "1 Schließtag eingetragen." in answer.content.decode()


def test_every_country_of_the_tables_has_its_name_to_be_translated():
    assert set(NAMES) == set(countries().values())
