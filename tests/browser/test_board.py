"""The loom board in a real browser: dragged, moved by keys, pinned, accepted, undone; and no rule broken."""

import re
from datetime import timedelta
from io import BytesIO

import pytest
from django.utils import timezone
from pypdf import PdfReader

from mill import jobs
from mill.models import Job
from planning.models import Loom, PlanRun, Warp
from planning.services import improving, looms, plans
from tests.make import make_loom
from tests.planning.busy_mill import make_busy_mill

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def mill(transactional_db):
    make_busy_mill(looms=3, warps=9, cloths=2, starts=timezone.localdate())
    # A loom too narrow for any of them.
    Loom.objects.filter(code="3").update(reed_space_cm=100, kind="Narrow loom")
    return plans.put_in_force(plans.make_plan(), by=None)


def bar(page, number):
    return page.locator(f"#warp-{number} .weaving")


def last_on(run, code):
    return run.slots.filter(loom__code=code).latest("position").warp.number


def drag(page, start, x, y, *, drop=True):
    box = start.bounding_box()
    page.mouse.move(box["x"] + min(6, box["width"] / 2), box["y"] + box["height"] / 2)
    page.mouse.down()
    page.mouse.move(box["x"] + 30, box["y"] + 20, steps=3)
    page.mouse.move(x, y, steps=6)
    if drop:
        page.mouse.up()


def line_of(page, code):
    return page.locator(f'.leafline[data-loom="{code}"]').bounding_box()


def test_closed_time_is_as_high_as_a_loom_whose_words_take_several_lines(page, mill):
    Loom.objects.filter(code="2").update(kind="wide power loom with a dobby of twenty-four shafts and six boxes")
    looms.hold_loom(Loom.objects.get(code="2"), reason="the dobby is away for its knives and hooks", by=None)
    page.goto("/looms/board/?span=week")
    line = page.locator('.leafline[data-loom="2"]')
    assert line.bounding_box()["height"] > 60
    within = line.evaluate("line => line.clientHeight")
    for drawn in (".shut", "line.monday", ".now"):
        assert line.locator(drawn).first.bounding_box()["height"] == pytest.approx(within, abs=1), drawn


def test_a_warp_dragged_to_another_loom_is_tried_on_a_copy_and_put_in_force(wide_page, mill, axe):
    page = wide_page
    page.goto("/looms/board/?span=quarter")
    number = last_on(mill, "2")
    there = line_of(page, "1")
    drag(page, bar(page, number), there["x"] + there["width"] * 0.9, there["y"] + 20)
    page.wait_for_url(re.compile("plan="))
    assert page.locator(f'.leafline[data-loom="1"] #warp-{number}').count() == 1
    assert f"Warp {number} on loom 1" in page.locator(".whatif").inner_text()
    assert f"Warp {number} on loom 1" in page.locator("#board-heard").inner_text()
    # What it does stands there before anybody confirms it.
    page.locator("#plan-effects .figures").wait_for()
    said = page.locator("#plan-effects").inner_text()
    assert "Set-up" in said
    assert "ticket" in said
    axe(page)
    page.get_by_role("button", name="Put it in force").click()
    page.wait_for_url(re.compile(r"/looms/board/$"))
    assert last_on(PlanRun.objects.get(state=PlanRun.IN_FORCE), "1") == number
    # And back: the plan before is brought back, timed afresh.
    page.goto("/looms/")
    page.get_by_role("button", name="Undo").click()
    page.wait_for_load_state()
    assert last_on(PlanRun.objects.get(state=PlanRun.IN_FORCE), "2") == number


def test_an_impossible_drop_says_why_and_springs_back(desk_page, mill):
    page = desk_page
    page.goto("/looms/board/?span=quarter")
    number = last_on(mill, "2")
    home = bar(page, number).bounding_box()
    there = line_of(page, "3")
    drag(page, bar(page, number), there["x"] + 300, there["y"] + 20)
    page.locator("#board-said:not(:empty)").wait_for()
    assert re.search(r"Loom 3 can't take warp \d+: .* cm", page.locator("#board-said").inner_text())
    page.locator(".ghost").wait_for(state="detached")
    assert bar(page, number).bounding_box() == home
    assert PlanRun.objects.count() == 1
    hangs = Warp.objects.get(state=Warp.WEAVING).number
    there = line_of(page, "2")
    drag(page, bar(page, hangs), there["x"] + 300, there["y"] + 20)
    page.get_by_text("does not move any more").wait_for()


def test_arrow_keys_do_what_dragging_does(desk_page, mill):
    page = desk_page
    page.goto("/looms/board/?span=quarter")
    number = last_on(mill, "2")
    turn = mill.slots.get(warp__number=number).position
    page.locator(f"#warp-{number}").focus()
    page.keyboard.press("ArrowLeft")
    page.wait_for_url(re.compile("plan="))
    page.locator(f'#warp-{number}[data-turn="{turn - 1}"]').wait_for()
    # The same warp is in hand still: up goes to the loom above.
    page.wait_for_function(f"document.activeElement.id === 'warp-{number}'")
    page.keyboard.press("ArrowUp")
    page.locator(f'.leafline[data-loom="1"] #warp-{number}').wait_for()
    page.wait_for_function("!document.getElementById('board').hasAttribute('aria-busy')")
    page.keyboard.press("ArrowUp")
    page.get_by_text("There is no loom beyond this one").wait_for()
    page.get_by_role("button", name="Take the move back").click()
    page.get_by_text("The move is taken back").wait_for()
    assert page.locator(f'.leafline[data-loom="2"] #warp-{number}').count() == 1


def test_a_warp_is_pinned_where_it_is_put(desk_page, mill):
    page = desk_page
    page.goto("/looms/board/?span=quarter")
    number = last_on(mill, "2")
    page.get_by_label("Pin what I move").check()
    there = line_of(page, "1")
    drag(page, bar(page, number), there["x"] + there["width"] * 0.9, there["y"] + 20)
    page.wait_for_url(re.compile("plan="))
    assert page.locator(f"#warp-{number} .nail").count() == 1
    page.get_by_role("button", name="Put it in force").click()
    page.wait_for_url(re.compile(r"/looms/board/$"))
    assert Warp.objects.get(number=number).pin_loom.code == "1"


def test_a_click_opens_the_warp_and_escape_lets_go(desk_page, mill):
    page = desk_page
    page.goto("/looms/board/?span=quarter")
    number = last_on(mill, "2")
    there = line_of(page, "1")
    drag(page, bar(page, number), there["x"] + 200, there["y"] + 20, drop=False)
    page.keyboard.press("Escape")
    page.mouse.up()
    page.locator(".ghost").wait_for(state="detached")
    assert PlanRun.objects.count() == 1
    page.goto("/looms/board/?span=quarter")
    bar(page, number).click(position={"x": 4, "y": 10})
    page.wait_for_url(re.compile(f"/warps/{number}/"))


def test_the_board_and_its_table_break_no_rule_and_fit_the_width(page, mill, axe):
    for address in ("/looms/board/", "/looms/board/?span=quarter", "/looms/board/?view=table", "/looms/", "/looms/1/"):
        page.goto(address)
        axe(page)
        assert not page.evaluate("document.documentElement.scrollWidth > window.innerWidth"), address


def test_the_leaf_prints_on_one_a3_sheet(wide_page, mill):
    wide_page.goto("/looms/board/?span=quarter")
    pdf = PdfReader(BytesIO(wide_page.pdf(prefer_css_page_size=True)))
    assert len(pdf.pages) == 1
    width, height = (float(side) / 72 * 25.4 for side in pdf.pages[0].mediabox[2:])
    assert (round(width), round(height)) == (420, 297)


@pytest.mark.parametrize("looms", [16, 20, 26, 32, 48])
def test_the_leaf_of_a_large_shed_prints_on_one_a3_sheet_too(wide_page, mill, looms):
    for n in range(4, looms + 1):
        make_loom(code=f"{n}", kind="Wide power shuttle")
    for span in ("fortnight", "quarter"):
        wide_page.goto(f"/looms/board/?span={span}")
        pdf = PdfReader(BytesIO(wide_page.pdf(prefer_css_page_size=True)))
        assert len(pdf.pages) == 1, span


def test_a_breakdown_is_re_planned_by_the_worker_and_taken_or_left(desk_page, mill, axe):
    page = desk_page
    page.goto("/looms/2/")
    page.get_by_label("It stands until").fill(f"{timezone.localdate() + timedelta(days=5)}T10:00")
    page.get_by_label("Why", exact=True).fill("broken crank")
    page.get_by_role("button", name="It stands: re-plan").click()
    page.get_by_text("It waits for the worker").wait_for()
    axe(page)
    job = Job.objects.get(task=improving.TASK)
    Job.objects.filter(pk=job.pk).update(payload=job.payload | {"seconds": 0.2})
    jobs.settle()
    # The page asks again by itself and leads on to the plan.
    page.wait_for_url(re.compile(r"/looms/plans/\d+/$"))
    page.get_by_role("heading", name="What it moves", exact=True).wait_for()
    axe(page)
    page.get_by_role("button", name="Put it in force").click()
    page.wait_for_url(re.compile(r"/looms/$"))
    assert PlanRun.objects.get(state=PlanRun.IN_FORCE).rule == improving.REPLANNED


def test_a_date_is_told_while_an_order_is_typed(desk_page, mill, axe):
    page = desk_page
    page.goto("/promise/")
    page.get_by_label("Cloth and colourway").select_option(index=1)
    page.get_by_label("Finished length").fill("60 yd")
    page.get_by_text("Safe from").wait_for()
    axe(page)
    page.goto("/orders/new/")
    line = page.locator("fieldset", has=page.get_by_text("Line 1"))
    line.get_by_label("Cloth and colourway").select_option(index=1)
    line.get_by_label("Pieces").fill("2")
    line.get_by_label("Finished length").fill("60")
    line.get_by_text("Safe from").wait_for()


def test_a_warp_s_place_breaks_no_rule(page, mill, axe):
    page.goto(f"/warps/{last_on(mill, '2')}/place/")
    axe(page)
    page.locator("#id_loom").select_option(label="1")
    page.get_by_role("button", name="Pin it there").click()
    page.get_by_text("is pinned to loom 1").first.wait_for()
    assert not page.evaluate("document.documentElement.scrollWidth > window.innerWidth")
