"""The log: one object a line, each with its request, and nothing in it that is somebody's own."""

import io
import json
import logging
import re

import pytest
from django.contrib.auth.decorators import login_not_required
from django.db import transaction
from django.test import Client
from django.urls import path, reverse

from mill import jobs, logs, tokens
from mill.celery import app
from mill.models import Job
from mill.urls import urlpatterns as addresses
from planning.models import Customer
from tests import tasks  # noqa: F401 - a task that breaks down
from tests.make import make_lot

PASSWORD = "bobbins and a long walk"
OWN = {
    "username": "hazelnutt",
    "first_name": "Hazel Nutbrown",
    "email": "hazel@candlebeck.example",
    "password": PASSWORD,
}
ADDRESS = "203.0.113.77"


@login_not_required
def fault(request, secret):
    try:
        {}[request.GET["q"]]
    except KeyError as unknown:
        raise ValueError(f"{unknown} is not {ADDRESS}") from unknown


urlpatterns = [*addresses, path("fault/<str:secret>/", fault, name="fault")]


@pytest.fixture
def lines():
    """What the log has written since, read as JSON."""
    # Setting the tasks up sets the log up anew.
    app.loader.import_default_modules()
    written = io.StringIO()
    handler = logging.StreamHandler(written)
    handler.setFormatter(logs.JsonLine())
    root, mill = logging.getLogger(), logging.getLogger("mill")
    levels = root.level, mill.level
    root.addHandler(handler)
    root.setLevel(logging.WARNING)
    mill.setLevel(logging.INFO)
    yield lambda: [json.loads(line) for line in written.getvalue().splitlines()]
    root.removeHandler(handler)
    root.setLevel(levels[0])
    mill.setLevel(levels[1])


@pytest.mark.urls("tests.mill.test_logs")
def test_nothing_that_is_somebodys_own_stands_in_the_log(db, django_user_model, lines):
    hazel = django_user_model.objects.create_user(**OWN, is_superuser=True)
    customer = Customer.objects.create(code="NUT", name="Nutbrown and Daughters")
    _, secret = tokens.make_token(name="Hazel's sheet", may_write=True, by=hazel)
    client = Client(REMOTE_ADDR=ADDRESS, raise_request_exception=False)
    said = {"username": OWN["username"], "password": "a guess of Hazel"}
    for _ in range(9):
        client.post("/sign-in/?next=/orders/", said)
    strange = Client(REMOTE_ADDR=ADDRESS, SERVER_NAME="hazel.candlebeck.example")
    strange.get("/")
    Client(REMOTE_ADDR=ADDRESS, enforce_csrf_checks=True).post("/sign-in/", said)
    client.get("/fault/feedkeyfeedkeyfeedkey/", {"q": OWN["first_name"]})
    client.get("/calendar/feedkeyfeedkeyfeedkey/nutbrown.ics")
    client.get("/api/customers/", headers={"Authorization": f"Bearer {secret}"})
    client.get("/api/customers/", headers={"Authorization": f"Bearer {secret}x"})
    client.post("/api/customers/", {"name": 5}, "application/json", headers={"Authorization": f"Bearer {secret}"})
    client.force_login(hazel)
    client.get(reverse("find"), {"q": "Nutbrown"})
    client.get(f"/orders/?customer={customer.name}")
    client.get("/no-such-page/Nutbrown/")
    with transaction.atomic():
        jobs.ask("tests.break_down", {"mark": "Hazel Nutbrown"}, by=hazel)
    jobs.work(jobs.claim("somebody"))

    found = lines()
    statuses = [line["status"] for line in found if line["logger"] == "mill.request"]
    assert statuses == [*[200] * 7, 429, 429, 400, 403, 500, 404, 200, 401, 400, 200, 200, 404]
    ids = {line["request_id"] for line in found if line["logger"] == "mill.request"}
    assert len(ids) == len(statuses)
    assert {line["request_id"] for line in found if line["logger"].startswith("django")} <= ids
    (broken,) = [line for line in found if line["level"] == "ERROR" and line["logger"] == "django.request"]
    assert broken["message"] == "Internal Server Error: GET fault"
    assert broken["exception"]["type"] == "builtins.ValueError"
    assert broken["exception"]["came_of"]["type"] == "builtins.KeyError"
    assert re.fullmatch(r"tests/mill/test_logs\.py:\d+ fault", broken["exception"]["at"][-1])
    (job,) = [line for line in found if line["level"] == "ERROR" and line["logger"] == "mill.jobs"]
    assert job["exception"]["at"][-1].endswith("break_down")
    assert "the reed is bent" in Job.objects.get().error
    text = json.dumps(found).lower()
    for own in (*OWN.values(), "hazel", "nutbrown", "a guess", "reed", ADDRESS, secret, "feedkey", "next=", "q="):
        assert own.lower() not in text, own


def test_a_line_has_a_time_a_level_its_logger_its_words_and_its_request(db, lines):
    Client().get("/healthz", headers={"X-Request-ID": "0123456789abcdef"})
    (line,) = lines()
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}\+00:00", line.pop("time"))
    ms = line.pop("ms")
    assert ms >= 0
    assert line == {
        "level": "INFO",
        "logger": "mill.request",
        "message": f"GET healthz 200 in {ms} ms",
        "request_id": "0123456789abcdef",
        "method": "GET",
        "route": "healthz",
        "status": 200,
    }


@pytest.mark.parametrize("given", ["7f3c0ad2-1b53-4ad8-a3dd-2d7eec8d5f10", "0123456789ABCDEF0123456789abcdef"])
def test_the_proxys_id_is_kept(db, given):
    for address in ("/healthz", "/api/looms/", "/no-such-page/"):
        assert Client().get(address, headers={"X-Request-ID": given})["X-Request-ID"] == given


@pytest.mark.parametrize("given", ["", "hazel.nutbrown", "abc", "f" * 65, "0123456789abcdef\n", "0123456789--abcdef"])
def test_a_request_with_no_id_or_an_odd_one_is_given_one(db, given):
    ids = {Client().get("/healthz", headers={"X-Request-ID": given})["X-Request-ID"] for _ in range(2)}
    assert len(ids) == 2
    assert all(re.fullmatch("[0-9a-f]{32}", made) for made in ids)


def test_a_job_and_what_follows_from_it_carry_the_id_of_the_request(desk, lines):
    lot = make_lot()
    jobs.settle()
    before = set(Job.objects.values_list("pk", flat=True))
    asked = "7f3c0ad2-1b53-4ad8-a3dd-2d7eec8d5f10"
    said = {"key": "k", "grams": 100, "reason": "wet"}
    answer = desk.post(f"/api/lots/{lot.pk}/waste/", said, "application/json", headers={"X-Request-ID": asked})
    assert answer.status_code == 201, answer.content
    jobs.settle()
    worked = [line for line in lines() if line["logger"] == "mill.jobs" and line["job"] not in before]
    assert {line["job"] for line in worked} == {job.pk for job in Job.objects.all()} - before != set()
    assert {line["request_id"] for line in worked} == {asked}
    assert all(line["message"].endswith("is done") for line in worked)
    assert logs.request_id() == ""


@pytest.mark.parametrize(
    ("words", "left"),
    [
        ("Invalid request from ip=203.0.113.77: Invalid HTTP Version '/sign-in?hazel'", "Invalid request"),
        ("Error handling request GET /find/?q=hazel", "Error handling request"),
        ("Booting worker with pid: 12", "Booting worker with pid: 12"),
    ],
)
def test_the_web_servers_own_lines_tell_no_address(words, left):
    record = logging.LogRecord("gunicorn.error", logging.WARNING, __file__, 1, words, None, None)
    assert json.loads(logs.JsonLine().format(record))["message"] == left
