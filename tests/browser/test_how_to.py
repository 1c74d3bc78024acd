"""Each how-to is taken its way through a real browser at an open example mill, pressing what it says."""

from contextlib import contextmanager

import pytest

from mill.how_to import TASKS
from tests.browser.pressing import in_language, speak, take
from tests.conftest import CHROMIUM, CHROMIUM_FLAGS, HINT
from tests.started import Started, free_port

pytestmark = pytest.mark.browser


@contextmanager
def opened(folder):
    started = Started(folder / "book", free_port())
    try:
        started.line()
        yield f"http://127.0.0.1:{started.port}"
    finally:
        started.process.terminate()
        started.process.communicate(timeout=30)


@pytest.fixture(scope="module")
def candlebeck(tmp_path_factory):
    with opened(tmp_path_factory.mktemp("how-to")) as address:
        yield address


@pytest.fixture(scope="module")
def german_candlebeck(tmp_path_factory):
    """A mill of its own: what one reader's tasks have used up, another's can't have again."""
    with opened(tmp_path_factory.mktemp("how-to-de")) as address:
        yield address


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
def seen(browser):
    """Open a page so many pixels wide; every task is done in the one mill, so each is done once."""
    contexts = []

    def make(width_px, mill):
        contexts.append(browser.new_context(base_url=mill, viewport={"width": width_px, "height": 800}))
        page = contexts[-1].new_page()
        page.set_default_timeout(20_000)
        return page

    yield make
    for context in contexts:
        context.close()


def done(page, steps):
    page.goto("/")
    for n, step in enumerate(steps, start=1):
        try:
            take(page, step)
        except Exception as wrong:
            said = page.locator("body").inner_text()[:900]
            raise AssertionError(f"step {n}, at {page.url}: {step.say}\n{wrong}\n{said}") from wrong
        assert page.locator("ul.errors").count() == 0, page.locator("ul.errors").first.inner_text()


@pytest.mark.parametrize("task", TASKS, ids=lambda task: task.slug)
def test_a_task_can_be_done_as_it_is_said(seen, candlebeck, axe, task):
    page = seen(1280, candlebeck)
    done(page, task.steps)
    axe(page)


@pytest.mark.slow
@pytest.mark.parametrize("task", TASKS, ids=lambda task: task.slug)
def test_a_task_can_be_done_as_it_is_said_in_german(seen, german_candlebeck, axe, task):
    page = seen(1280, german_candlebeck)
    speak(page, "de")
    done(page, in_language(task, "de"))
    axe(page)


@pytest.mark.parametrize("address", ["/how-to/", "/how-to/words/", *(f"/how-to/{task.slug}/" for task in TASKS)])
def test_what_is_said_reads_on_a_phone(seen, candlebeck, axe, address):
    page = seen(360, candlebeck)
    page.goto(address)
    axe(page)
    assert not page.evaluate("document.documentElement.scrollWidth > window.innerWidth")
