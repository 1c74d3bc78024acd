"""When the book can't be reached or its disk is full, page and API say so. Real errors of real databases.

What becomes of a whole mill then is in tests/slow/test_faults.py.
"""

import re
import sqlite3
from html import unescape
from pathlib import Path
from urllib.parse import urlencode

import psycopg
import pytest
from django.db import OperationalError, connection
from django.test import Client

from mill import trouble
from planning.models import Customer


def came_of(cause: BaseException) -> OperationalError:
    error = OperationalError(str(cause))
    error.__cause__ = cause
    return error


@pytest.fixture
def full(db):
    """A book that may not grow by a page: SQLite itself says that there is no room."""
    if connection.vendor != "sqlite":
        pytest.skip("PostgreSQL can't be told so; its own words are read below")
    with connection.cursor() as cursor:
        before = cursor.execute("PRAGMA max_page_count").fetchone()[0]
        pages = cursor.execute("PRAGMA page_count").fetchone()[0]
        cursor.execute(f"PRAGMA max_page_count = {pages}")
        yield
        cursor.execute(f"PRAGMA max_page_count = {before}")


LONG = "x" * 1_000_000


@pytest.fixture
def outside(desk):
    """The desk as a browser sees it: a fault is a page, not an exception."""
    desk.raise_request_exception = False
    return desk


def kept_on(html):
    hidden = re.findall(r'type="hidden" name="([^"]*)" value="([^"]*)"', html)
    return {unescape(name): unescape(value) for name, value in hidden}


def test_a_form_to_a_full_disk_is_refused_in_a_sentence_and_kept_on_the_page(outside, full):
    sent = {"code": "HOL1", "name": 'Holm "& Sons"', "notes": LONG, "csrfmiddlewaretoken": "x"}
    page = outside.post("/customers/new/", urlencode(sent), content_type="application/x-www-form-urlencoded")
    assert page.status_code == 507
    html = page.content.decode()
    assert "The disk is full" in html
    assert "Make room there" in html
    assert kept_on(html) == sent
    assert not Customer.objects.exists()


def send(client, form, **headers):
    return client.post("/customers/new/", urlencode(form), "application/x-www-form-urlencoded", headers=headers)


def test_a_form_of_before_a_sign_in_is_kept_and_sent_again(planner):
    client = Client(enforce_csrf_checks=True)
    client.force_login(planner)
    mark = kept_on(client.get("/customers/new/").content.decode())["csrfmiddlewaretoken"]
    typed = {"code": "HOL1", "name": 'Holm "& Sons"', "csrfmiddlewaretoken": mark}
    # As it is after somebody signed in on another page.
    client.cookies["csrftoken"] = "a" * 32
    for elsewhere in ({}, {"Origin": "https://elsewhere.example"}):
        assert b"Holm" not in send(client, typed, **elsewhere).content, "a form of another's making"
    page = send(client, typed, Origin="http://testserver")
    assert page.status_code == 403
    assert "This page is from before" in page.content.decode()
    kept = kept_on(page.content.decode())
    assert kept == typed | {"csrfmiddlewaretoken": kept["csrfmiddlewaretoken"]}
    assert send(client, kept, Origin="http://testserver").status_code == 302
    assert Customer.objects.get().name == typed["name"]


def test_a_form_sent_after_a_sign_in_ran_out_is_kept(db):
    page = send(Client(), {"code": "HOL1", "name": "Holm", "csrfmiddlewaretoken": "x"})
    assert page.status_code == 403
    assert "You are signed out" in page.content.decode()
    assert kept_on(page.content.decode())["name"] == "Holm"
    assert send(Client(), {"csrfmiddlewaretoken": "x"})["Location"] == "/sign-in/?next=/customers/new/"


def test_the_api_on_a_full_disk_answers_with_problem_details(outside, full):
    said = {"code": "HOL1", "name": "Holm", "notes": LONG}
    answer = outside.post("/api/customers/", said, content_type="application/json")
    assert answer.status_code == 507
    assert answer["Content-Type"] == "application/problem+json"
    assert answer.json()["detail"].startswith("The disk of the machine that keeps the book is full.")
    assert not Customer.objects.exists()


def test_pages_are_read_on_a_full_disk(outside, full):
    assert outside.get("/customers/").status_code == 200


def test_a_password_is_never_sent_back(rf):
    request = rf.post("/password/", "new_password1=secret", content_type="application/x-www-form-urlencoded")
    assert b"secret" not in trouble.answer(request).content


def test_a_fault_of_ours_is_said_as_one_and_nothing_is_claimed_of_what_was_sent(rf):
    try:
        raise ZeroDivisionError
    except ZeroDivisionError:
        page = trouble.answer(rf.get("/orders/"))
    assert page.status_code == 500
    assert "Something went wrong here" in page.content.decode()
    assert "is written. " not in page.content.decode()
    assert "Retry-After" not in page


def test_what_postgresql_says_of_itself_is_understood():
    """By SQLSTATE, https://www.postgresql.org/docs/current/errcodes-appendix.html: 53100 disk_full, 57P01
    admin_shutdown, 57P03 cannot_connect_now, 08006 connection_failure, 53300 too_many_connections; 40P01
    deadlock_detected is none of these."""
    with pytest.raises(psycopg.OperationalError) as refused:
        psycopg.connect("postgresql://nobody@127.0.0.1:1/none", connect_timeout=5)
    assert trouble.of(came_of(refused.value)) is trouble.GONE
    for state, kind in [
        ("53100", trouble.FULL),
        ("57P01", trouble.GONE),
        ("57P03", trouble.GONE),
        ("08006", trouble.GONE),
        ("53300", trouble.GONE),
        ("40P01", trouble.OURS),
    ]:
        assert trouble.of(came_of(psycopg.errors.lookup(state)("said by the server"))) is kind


def test_what_sqlite_says_of_itself_is_understood(tmp_path):
    with pytest.raises(sqlite3.OperationalError) as missing:
        sqlite3.connect(tmp_path / "nowhere" / "book")
    assert trouble.of(came_of(missing.value)) is trouble.GONE
    path = tmp_path / "book"
    first, second = sqlite3.connect(path, timeout=0), sqlite3.connect(path, timeout=0)
    try:
        first.execute("BEGIN IMMEDIATE")
        with pytest.raises(sqlite3.OperationalError) as locked:
            second.execute("BEGIN IMMEDIATE")
    finally:
        first.close()
        second.close()
    assert trouble.of(came_of(locked.value)) is trouble.BUSY
    assert trouble.of(ValueError("the reed is bent")) is trouble.OURS


def test_a_full_disk_under_an_uploaded_file_is_the_same_trouble():
    with pytest.raises(OSError, match="No space left on device") as full:
        Path("/dev/full").write_bytes(b"x")
    assert trouble.of(full.value) is trouble.FULL


def test_every_fault_that_is_told_of_has_its_test():
    """Read off the sources, so that the table of mill/faults.md names no test that is gone."""
    root = Path(__file__).parents[2]
    rows = [
        line.split("|") for line in (root / "mill" / "faults.md").read_text().splitlines() if line.startswith("| **")
    ]
    sources = "".join(path.read_text() for path in (root / "tests").rglob("*.py"))
    assert len(rows) >= 10
    for _, fault, *_, named, _ in rows:
        tests = re.findall(r"`([^`]+)`", named)
        assert tests, fault
        for test in tests:
            assert (root / test).exists() if "/" in test else f"def {test}(" in sources, f"{fault}: {test} is gone"
