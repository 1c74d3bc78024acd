"""Each how-to is taken its way through a real browser at an open example mill, pressing what it says."""

import re
from datetime import timedelta

import pytest
from django.utils import timezone

from mill.how_to import FIRST, TASKS, Step
from tests.conftest import CHROMIUM, CHROMIUM_FLAGS, HINT
from tests.started import Started, free_port

pytestmark = pytest.mark.browser
DAYS = re.compile(r"in (\d+) days")


@pytest.fixture(scope="module")
def candlebeck(tmp_path_factory):
    started = Started(tmp_path_factory.mktemp("how-to") / "book", free_port())
    try:
        started.line()
        yield f"http://127.0.0.1:{started.port}"
    finally:
        started.process.terminate()
        started.process.communicate(timeout=30)


@pytest.fixture(scope="module")
def browser():
    if not CHROMIUM.exists():
        pytest.skip(HINT)
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=str(CHROMIUM), args=CHROMIUM_FLAGS)
        yield browser
        browser.close()


@pytest.fixture
def seen(browser, candlebeck):
    """Open a page so many pixels wide; every task is done in the one mill, so each is done once."""
    contexts = []

    def make(width_px):
        contexts.append(browser.new_context(base_url=candlebeck, viewport={"width": width_px, "height": 800}))
        page = contexts[-1].new_page()
        page.set_default_timeout(20_000)
        return page

    yield make
    for context in contexts:
        context.close()


def write(page, label, value):
    field = page.locator("main").get_by_label(re.compile(rf"^\s*{re.escape(label)}")).first
    if value == FIRST:
        options = field.locator("option")
        value = next(o for n in range(options.count()) if (o := options.nth(n).get_attribute("value")))
        field.select_option(value)
        return
    if found := DAYS.fullmatch(value):
        day = timezone.localdate() + timedelta(days=int(found[1]))
        kind = field.get_attribute("type")
        field.fill(f"{day}T06:00" if kind == "datetime-local" else f"{day}")
    elif field.evaluate("field => field.tagName") == "SELECT":
        field.select_option(label=value)
    else:
        field.fill(value)


def take(page, step: Step):
    for label, value in step.write:
        write(page, label, value)
    for label in step.tick:
        boxes = page.locator("main input[type=checkbox]")
        (boxes if label == FIRST else page.get_by_label(re.compile(rf"^\s*{re.escape(label)}"))).first.check()
    if step.press:
        # The very words, else a name that begins with them: a loom's link also says its kind.
        for name in (step.press, re.compile(rf"^\s*{re.escape(step.press)}")):
            there = [page.get_by_role(role, name=name, exact=True) for role in ("button", "link")]
            there = there[0].or_(there[1])
            if there.count():
                break
        there.first.click()
    if step.then:
        page.locator("body").get_by_text(step.then).first.wait_for()


@pytest.mark.parametrize("task", TASKS, ids=lambda task: task.slug)
def test_a_task_can_be_done_as_it_is_said(seen, axe, task):
    page = seen(1280)
    page.goto("/")
    for n, step in enumerate(task.steps, start=1):
        try:
            take(page, step)
        except Exception as wrong:
            said = page.locator("body").inner_text()[:900]
            raise AssertionError(f"step {n}, at {page.url}: {step.say}\n{wrong}\n{said}") from wrong
        assert page.locator("ul.errors").count() == 0, page.locator("ul.errors").first.inner_text()
    axe(page)


@pytest.mark.parametrize("address", ["/how-to/", "/how-to/words/", *(f"/how-to/{task.slug}/" for task in TASKS)])
def test_what_is_said_reads_on_a_phone(seen, axe, address):
    page = seen(360)
    page.goto(address)
    axe(page)
    assert not page.evaluate("document.documentElement.scrollWidth > window.innerWidth")
