"""What every test may ask for: a signed-in desk, a real browser at three widths, and the accessibility rules."""

import os
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import hypothesis
import pytest
from axe_playwright_python.sync_playwright import Axe
from django.conf import settings
from django.core.cache import caches
from django.test import Client

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

# The same examples in every run of the checks, so that what fails there fails here.
hypothesis.settings.register_profile("checks", derandomize=True, deadline=None, database=None)
hypothesis.settings.register_profile("desk", deadline=None)
hypothesis.settings.load_profile("checks" if os.environ.get("CI") else "desk")

# Tests keep what they write to themselves, whatever book is open beside them.
TESTS_DATA = Path(tempfile.mkdtemp(prefix="shedbook-tests-"))
settings.DATA_DIR = TESTS_DATA
settings.BACKUPS_DIR = TESTS_DATA / "backups"
settings.STATIC_ROOT = TESTS_DATA / "static"
settings.STATIC_ROOT.mkdir()
# A planner signs in in a millisecond instead of a third of a second.
settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--of-the-database", action="store_true", help="only tests that ask a database; the rest end alike on any"
    )


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if not config.getoption("--of-the-database"):
        return
    asks = [
        item
        for item in items
        if item.get_closest_marker("django_db")
        or {"db", "transactional_db", "live_server"} & set(getattr(item, "fixturenames", ()))
    ]
    kept = set(asks)
    config.hook.pytest_deselected(items=[item for item in items if item not in kept])
    items[:] = asks


@pytest.fixture(scope="session", autouse=True)
def ledger_is_flushed() -> None:
    from tests.inventory.ledger_flush import let_tests_flush_the_ledger

    let_tests_flush_the_ledger()


@pytest.fixture(autouse=True)
def counters_begin_anew() -> None:
    """Each test is a new minute: what the one before asked for is not counted to it."""
    for counters in caches.all(initialized_only=True):
        counters.clear()


def pytest_unconfigure() -> None:
    shutil.rmtree(TESTS_DATA, ignore_errors=True)


@pytest.fixture(scope="session")
def django_db_modify_db_settings() -> None:
    """SQLite in a file: the live server and the second connections of the tests need one they can share."""
    database = settings.DATABASES["default"]
    if database["ENGINE"].endswith("sqlite3"):
        database.setdefault("TEST", {})["NAME"] = str(TESTS_DATA / "tests.sqlite3")
    elif worker := os.environ.get("PYTEST_XDIST_WORKER"):
        database.setdefault("TEST", {})["NAME"] = f"test_{database['NAME']}_{worker}"


# At the desk


@pytest.fixture
def planner(db: None, django_user_model: Any) -> Any:
    """Whoever plans the mill: may do everything."""
    return django_user_model.objects.create_user(
        "planner", password="only for tests", first_name="Planner", is_staff=True, is_superuser=True
    )


@pytest.fixture
def desk(planner: Any) -> Client:
    """A test client at which the planner sits, signed in."""
    client = Client()
    client.force_login(planner)
    return client


# In the browser

CHROMIUM = Path("/usr/bin/chromium")
CHROMIUM_FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
WIDTHS_PX = {"phone": (360, 740), "desk": (1280, 900), "wide": (1920, 1080)}
HINT = "There is no Chromium at /usr/bin/chromium: sudo apt-get install --no-install-recommends chromium"


@pytest.fixture(scope="module")
def chromium() -> Iterator["Browser"]:
    """The browser of this machine. By module, for while it is open Django takes the thread for an asynchronous one."""
    if not CHROMIUM.exists():
        if os.environ.get("REQUIRE_BROWSER") == "1":
            pytest.fail(HINT)
        pytest.skip(HINT)
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=str(CHROMIUM), args=CHROMIUM_FLAGS)
        yield browser
        browser.close()


@contextmanager
def opened(browser: "Browser", width: str, *, at: str, client: Client, **options: Any) -> Iterator["Page"]:
    """A page at that width with the client's sign-in; complains at the end of script errors and broken content rules."""
    width_px, height_px = WIDTHS_PX[width]
    is_phone = width == "phone"
    context = browser.new_context(
        base_url=at,
        viewport={"width": width_px, "height": height_px},
        has_touch=is_phone,
        is_mobile=is_phone,
        locale="en-GB",
        timezone_id="Europe/London",
        **options,
    )
    for name, cookie in client.cookies.items():
        context.add_cookies([{"name": name, "value": cookie.value, "url": at}])
    page = context.new_page()
    page.set_default_timeout(15_000)
    complaints: list[str] = []
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on(
        "console",
        lambda said: complaints.append(said.text) if "Content Security Policy" in said.text else None,
    )
    yield page
    context.close()
    assert complaints == []


@pytest.fixture
def phone_page(chromium: "Browser", live_server: Any, desk: Client) -> Iterator["Page"]:
    with opened(chromium, "phone", at=live_server.url, client=desk) as page:
        yield page


@pytest.fixture
def desk_page(chromium: "Browser", live_server: Any, desk: Client) -> Iterator["Page"]:
    with opened(chromium, "desk", at=live_server.url, client=desk) as page:
        yield page


@pytest.fixture
def wide_page(chromium: "Browser", live_server: Any, desk: Client) -> Iterator["Page"]:
    with opened(chromium, "wide", at=live_server.url, client=desk) as page:
        yield page


@pytest.fixture(params=sorted(WIDTHS_PX))
def page(request: pytest.FixtureRequest, chromium: "Browser", live_server: Any, desk: Client) -> Iterator["Page"]:
    """The same test at each of the three widths."""
    with opened(chromium, request.param, at=live_server.url, client=desk) as page:
        yield page


@pytest.fixture(scope="session")
def axe() -> Callable[["Page"], None]:
    """Assert that a page breaks none of the rules of WCAG 2.2 AA that a machine can tell."""
    rules = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"], "resultTypes": ["violations"]}

    def check(page: "Page") -> None:
        found = Axe().run(page, options=rules).response
        assert found["passes"], "no rule applied: is the page empty?"
        assert [
            f"{broken['id']}: {broken['help']}: {node['html'][:200]}"
            for broken in found["violations"]
            for node in broken["nodes"]
        ] == []

    return check
