"""What `mill/security.md` says of redirects, hosts, caches, cookies and uploads, tried from outside."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from inventory.models import Fibre
from mill import roles
from planning.csv_book import BYTES_MAX
from planning.models import PlanRun
from planning.services import feeds, plans
from tests.make import make_loom, make_person

PASSWORD = "four cones of fell wool"
pytestmark = pytest.mark.django_db


@pytest.fixture
def rowan():
    return make_person("rowan", roles.READER, password=PASSWORD)


# Redirects


@pytest.mark.parametrize(
    "elsewhere",
    [
        "https://elsewhere.example/",
        "//elsewhere.example/",
        "///elsewhere.example/",
        "https:elsewhere.example",
        "\\\\elsewhere.example",
        "javascript:alert(1)",
        "http://testserver@elsewhere.example/",
    ],
)
def test_nothing_that_is_asked_for_leads_to_another_house(desk, rowan, elsewhere):
    said = {"username": "rowan", "password": PASSWORD, "next": elsewhere}
    assert Client().post("/sign-in/", said)["Location"] == "/"
    signed_in = Client()
    signed_in.force_login(rowan)
    assert signed_in.post("/sign-out/", {"next": elsewhere})["Location"] == "/sign-in/"
    make_loom()
    run = plans.make_plan()
    decided = desk.post(f"/looms/plans/{run.pk}/decide/", {"then": elsewhere, "act": "put in force"})
    assert decided["Location"] == "/looms/"
    assert PlanRun.objects.get().state == PlanRun.IN_FORCE


def test_an_address_that_begins_like_a_house_stays_in_this_one():
    """A path of two slashes is a host to a browser that is sent there."""
    answer = Client().get("//elsewhere.example/orders")
    assert not answer.get("Location", "").startswith("//")
    assert Client().get("/orders/", {"then": "//elsewhere.example"})["Location"].startswith("/sign-in/?next=/orders/")


# What a page may load


def test_the_reader_of_the_api_alone_writes_styles_into_its_page(desk):
    reader = desk.get("/api/description/")
    assert "style-src 'self' 'unsafe-inline'" in reader.headers["Content-Security-Policy"]
    assert "script-src" not in reader.headers["Content-Security-Policy"]
    assert "https://" not in reader.content.decode()
    assert "unsafe" not in desk.get("/mill/tokens/").headers["Content-Security-Policy"]


# Hosts


def test_a_forwarded_host_is_not_believed(desk):
    made = desk.post("/mill/feeds/", {"what": "shed", "label": "x"}, HTTP_X_FORWARDED_HOST="elsewhere.example")
    assert made.context["address"].startswith("http://testserver/")


# Caches and cookies


def test_no_shared_cache_keeps_an_answer(desk, planner):
    _, secret = feeds.make_link(what="orders", label="x", by=planner)
    for address in ("/", "/orders/", "/orders/?csv=1", "/api/looms/", "/api/none/", f"/feeds/{secret}/orders.csv"):
        said = desk.get(address).headers["Cache-Control"]
        assert {"private", "no-store"} & {word.strip() for word in said.split(",")}, f"{address}: {said}"
    assert "no-store" in desk.get("/mill/tokens/").headers["Cache-Control"]


def test_a_sign_in_is_a_new_session_in_a_cookie_that_no_script_reads(rowan):
    client = Client()
    client.get("/sign-in/")
    client.session.save()
    client.cookies["sessionid"] = planted = "a" * 32
    answer = client.post("/sign-in/", {"username": "rowan", "password": PASSWORD})
    cookie = answer.cookies["sessionid"]
    assert cookie.value != planted
    assert cookie["httponly"]
    assert cookie["samesite"] == "Lax"
    # A working day.
    assert cookie["max-age"] == 14 * 3600


# Uploads


def test_a_file_that_is_too_large_is_refused_on_the_page_and_over_the_api(desk):
    large = b"name,regain_pct,regain_authority\n" + b"x" * BYTES_MAX
    page = desk.post("/import/fibres/", {"file": SimpleUploadedFile("fibres.csv", large), "decimal": "point"})
    assert page.status_code == 422
    assert "MB are taken at once" in page.content.decode()
    answer = desk.post("/api/imports/fibres/", {"csv": large.decode()}, content_type="application/json")
    assert answer.status_code == 400
    assert not Fibre.objects.exists()


def test_more_than_a_request_may_hold_is_refused_and_not_read(desk, settings):
    settings.DATA_UPLOAD_MAX_MEMORY_SIZE = 10_000
    said = {"code": "KELD", "name": "x" * 20_000}
    answer = desk.post("/api/customers/", said, content_type="application/json")
    assert answer.status_code == 400
    assert answer.headers["Content-Type"] == "application/problem+json"
    assert desk.post("/customers/new/", said).status_code == 400
    settings.DATA_UPLOAD_MAX_NUMBER_FIELDS = 10
    assert desk.post("/customers/new/", {f"f{n}": "1" for n in range(11)}).status_code == 400
