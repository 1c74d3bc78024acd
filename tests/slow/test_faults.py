"""What can befall a mill, on real servers: what people see, what is kept, and that it goes on by itself.

`mill/faults.md` has the table. Kills of workers are in test_jobs_crash.py, clocks in tests/mill/test_by_the_clock.py,
two people at one record in tests/mill/test_meanwhile.py.
"""

import json
import os
import re
import shutil
import signal
import socket
import sqlite3
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections import Counter
from html import unescape
from http.cookiejar import CookieJar
from pathlib import Path
from urllib.parse import urlencode

import psycopg
import pytest

from tests.slow.conftest import (
    Book,
    free_port,
    owned_by,
    programs_of_postgresql,
    refuse_without,
    wait_until,
)
from tests.slow.test_jobs_crash import ask, marks, states

pytestmark = pytest.mark.slow

GONE_S = 30


class Postgresql:
    """A server of its own that can be stopped as by a fault and started again."""

    def __init__(self, folder: Path) -> None:
        self.pg_ctl, self.folder, self.port = programs_of_postgresql() / "pg_ctl", folder, free_port()
        self.said = {"cwd": "/", "check": True, "stdout": subprocess.DEVNULL, **owned_by("postgres", folder)}
        initdb = [self.pg_ctl.with_name("initdb"), "-D", folder / "data", "-A", "trust", "-U", "postgres"]
        subprocess.run([*initdb, "-E", "UTF8"], **self.said)
        self.url = f"postgresql://postgres@127.0.0.1:{self.port}/postgres"

    def start(self) -> None:
        options = f"-p {self.port} -k {self.folder} -c listen_addresses=127.0.0.1"
        command = [self.pg_ctl, "-D", self.folder / "data", "-w", "-o", options, "-l", self.folder / "log", "start"]
        subprocess.run(command, **self.said)

    def break_down(self) -> None:
        """As if its machine lost its power: no farewell to those connected."""
        stop = [self.pg_ctl, "-D", self.folder / "data", "-w", "-m", "immediate", "stop"]
        subprocess.run(stop, **self.said)

    def is_running(self) -> bool:
        return (self.folder / "data" / "postmaster.pid").exists()


class Redis:
    def __init__(self, folder: Path) -> None:
        self.server = refuse_without(Path(shutil.which("redis-server") or "/none"), "redis-server")
        self.folder, self.port = folder, free_port()
        self.as_user = owned_by("redis", folder)
        self.url = f"redis://127.0.0.1:{self.port}/0"

    def answers(self) -> bool:
        with socket.socket() as probe:
            return probe.connect_ex(("127.0.0.1", self.port)) == 0

    def start(self) -> None:
        words = f"--port {self.port} --bind 127.0.0.1 --appendonly yes --dir {self.folder} --save".split()
        command = [self.server, *words, ""]
        self.process = subprocess.Popen(command, cwd="/", stdout=subprocess.DEVNULL, **self.as_user)
        wait_until(self.answers, within_s=20, what="Redis answers")

    def break_down(self) -> None:
        self.process.kill()
        self.process.wait(20)


@pytest.fixture
def postgresql(server_folder):
    folder = server_folder / f"pg{time.monotonic_ns()}"
    folder.mkdir()
    server = Postgresql(folder)
    server.start()
    yield server
    if server.is_running():
        server.break_down()


@pytest.fixture
def redis(server_folder):
    folder = server_folder / f"redis{time.monotonic_ns()}"
    folder.mkdir()
    server = Redis(folder)
    server.start()
    yield server
    server.break_down()


class Answer:
    def __init__(self, response) -> None:
        self.status, self.headers, self.text = response.status, response.headers, response.read().decode()


class Desk:
    """A browser without a script at an open book, and a program with a token beside it."""

    def __init__(self, book: Book) -> None:
        self.book, self.port = book, free_port()
        self.book.env |= {"SHEDBOOK_OPEN_BOOK": "yes"}
        self.token = book.python("""
from django.contrib.auth import get_user_model
from mill import tokens
from mill.models import Mill
Mill.the_one().save()
owner = get_user_model().objects.create_user("owner", is_superuser=True, is_staff=True)
print(tokens.make_token(name="program", may_write=True, ends_on=None, by=owner)[1])
""").strip()
        book.run("collectstatic", "--noinput", "--verbosity", "0")
        straight = urllib.request.ProxyHandler({})
        self.browser = urllib.request.build_opener(straight, urllib.request.HTTPCookieProcessor(CookieJar()))
        self.program = urllib.request.build_opener(straight)
        self.web = book.spawn(sys.executable, "manage.py", "serve", "--port", str(self.port))
        wait_until(lambda: self.get("/readyz").status == 200, within_s=60, what="the book is open")

    def _opened(self, opener, request) -> Answer:
        try:
            with opener.open(request, timeout=60) as response:
                return Answer(response)
        except urllib.error.HTTPError as said:
            with said:
                return Answer(said)
        except OSError:
            return type("Nothing", (), {"status": 0, "headers": {}, "text": ""})()

    def get(self, address: str) -> Answer:
        return self._opened(self.browser, f"http://127.0.0.1:{self.port}{address}")

    def post(self, address: str, sent: dict[str, str]) -> Answer:
        request = urllib.request.Request(f"http://127.0.0.1:{self.port}{address}", urlencode(sent).encode())
        return self._opened(self.browser, request)

    def written_form(self, address: str, **typed: str) -> dict[str, str]:
        """What a form's page would send, with this typed into it."""
        return hidden_in(self.get(address).text) | typed

    def send(self, address: str, said: dict, *, key: str) -> Answer:
        headers = {
            "Authorization": f"Bearer {self.token}",
            "Content-Type": "application/json",
            "Idempotency-Key": key,
        }
        request = urllib.request.Request(
            f"http://127.0.0.1:{self.port}{address}", json.dumps(said).encode(), headers=headers
        )
        return self._opened(self.program, request)

    def customer(self, code: str, **said: str) -> Answer:
        return self.send("/api/customers/", {"code": code, "name": f"Customer {code}", **said}, key=code)


def hidden_in(html: str) -> dict[str, str]:
    found = re.findall(r'type="hidden" name="([^"]*)" value="([^"]*)"', html[html.index("<main") :])
    return {unescape(name): unescape(value) for name, value in found}


def customers(book: Book) -> Counter:
    return Counter(code for (code,) in book.rows("SELECT code FROM planning_customer"))


def audited(book: Book) -> bool:
    return book.run("audit").stdout.startswith("Nothing differs: ")


def test_the_database_then_redis_are_gone_and_the_mill_goes_on_by_itself(tmp_path, postgresql, redis):
    book = Book(tmp_path, postgresql.url, redis.url)
    try:
        book.run("migrate", "--verbosity", "0")
        desk = Desk(book)
        relay, celery, worker = book.jobrelay(), book.celery(), book.jobworker()
        confirmed = {f"C{n}" for n in range(20) if desk.customer(f"C{n}").status == 201}
        assert len(confirmed) == 20
        typed = desk.written_form("/customers/new/", code="TYPED", name="Typed & kept", notes="Two\nlines")
        ask(book, "tests.leave_mark", [{"mark": "before"}])
        wait_until(lambda: states(book) == {"done": 1}, within_s=60, what="the job before is done")

        postgresql.break_down()
        gone_until = time.monotonic() + GONE_S
        page = desk.get("/orders/")
        assert (page.status, page.headers["Retry-After"]) == (503, "15")
        assert "The book can’t be reached" in page.text
        assert desk.get("/healthz").status == 200
        kept = desk.post("/customers/new/", typed)
        assert kept.status == 503
        assert "Send it again" in kept.text
        problem = desk.customer("LOST")
        assert problem.status == 503
        assert problem.headers["Content-Type"] == "application/problem+json"
        assert json.loads(problem.text)["detail"].startswith("The book can't be reached at the moment.")
        assert problem.headers["Retry-After"] == "15"
        while time.monotonic() < gone_until:
            assert desk.get("/readyz").status == 503
            time.sleep(1)

        postgresql.start()
        wait_until(lambda: desk.get("/readyz").status == 200, within_s=60, what="pages are there again")
        assert customers(book) == dict.fromkeys(confirmed, 1), "nothing confirmed is lost, nothing unconfirmed written"
        again = hidden_in(kept.text)
        assert again["notes"].replace("\r\n", "\n") == "Two\nlines"
        assert desk.post("/customers/new/", again).status == 200
        assert desk.customer("LOST").status == 201
        assert customers(book) == dict.fromkeys(confirmed | {"TYPED", "LOST"}, 1)
        ask(book, "tests.leave_mark", [{"mark": "after"}])
        wait_until(lambda: states(book) == {"done": 2}, within_s=120, what="work goes on by itself")
        # What was at nothing waits up to half a minute before it asks again: it has to be alive, and is asked below.
        assert [process.poll() for process in (relay, celery, worker)] == [None] * 3
        book.kill(worker)

        redis.break_down()
        assert desk.get("/orders/").status == 200
        assert desk.customer("NO-REDIS").status == 201
        ask(book, "tests.leave_mark", [{"mark": "without Redis"}])
        time.sleep(3)
        assert states(book) == {"done": 2, "queued": 1}, "it stays in the table"
        redis.start()
        wait_until(lambda: states(book) == {"done": 3}, within_s=120, what="relay and Celery go on by themselves")
        assert [process.poll() for process in (relay, celery)] == [None] * 2
        assert marks(book) == {"before": 1, "after": 1, "without Redis": 1}
        assert audited(book)
    finally:
        book.close()


@pytest.fixture
def small_disk(tmp_path):
    """A disk of 24 MB, of memory."""
    folder = tmp_path / "disk"
    folder.mkdir()
    done = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=24m", "tmpfs", folder], capture_output=True, text=True, check=False
    )
    if done.returncode:
        pytest.skip(f"No disk can be made here: {done.stderr.strip()}")
    yield folder
    subprocess.run(["umount", "--lazy", folder], check=True)


def fill(folder: Path) -> Path:
    path = folder / "in-the-way"
    with path.open("wb", buffering=0) as file:
        try:
            while file.write(b"\0" * 65536):
                pass
        except OSError:
            pass
    assert shutil.disk_usage(folder).free < 65536
    return path


def test_the_disk_is_full_and_what_was_confirmed_is_kept(tmp_path, small_disk):
    book = Book(tmp_path, f"sqlite:{small_disk / 'shedbook.sqlite3'}")
    try:
        book.run("migrate", "--verbosity", "0")
        desk = Desk(book)
        worker = book.jobworker()
        assert desk.customer("FIRST").status == 201
        filler = fill(small_disk)
        confirmed, refused = {"FIRST"}, None
        # The write-ahead log has room of its own for a while; what fits into it is confirmed, and must be there.
        for n in range(400):
            answer = desk.customer(f"C{n}", notes="x" * 100_000)
            if answer.status != 201:
                refused = answer
                break
            confirmed.add(f"C{n}")
        assert refused is not None, "the disk is not full"
        assert refused.status == 507
        assert json.loads(refused.text)["detail"].startswith("The disk of the machine that keeps the book is full.")
        assert desk.get("/customers/").status == 200, "what is there can be read"
        typed = desk.written_form("/customers/new/", code="TYPED", name="Typed", notes="y" * 100_000)
        kept = desk.post("/customers/new/", typed)
        assert kept.status == 507
        assert "Make room there" in kept.text
        assert "y" * 100_000 in kept.text

        backup = book.run("backup", str(small_disk / "book.zip"), check=False)
        assert backup.returncode == 1
        assert f"could not be written: the disk of {small_disk} is full" in backup.stderr
        assert not [path.name for path in small_disk.iterdir() if ".zip" in path.name], "no half file"

        filler.unlink()
        assert customers(book) == dict.fromkeys(confirmed, 1)
        assert desk.post("/customers/new/", hidden_in(kept.text)).status == 200
        assert desk.customer(f"C{len(confirmed) - 1}", notes="x" * 100_000).status == 201, "by the same key, now"
        assert book.rows("PRAGMA integrity_check") == [("ok",)]
        assert audited(book)
        ask(book, "tests.leave_mark", [{"mark": "after"}])
        wait_until(lambda: states(book) == {"done": 1}, within_s=90, what="the worker goes on by itself")
        assert worker.poll() is None
        assert "MB: " in book.run("backup", str(small_disk / "book.zip")).stdout
    finally:
        book.close()


def test_a_browser_gone_in_mid_form_leaves_nothing_half_written(make_book):
    book = make_book("sqlite")
    desk = Desk(book)
    typed = desk.written_form("/customers/new/", code="HALF", name="Half", notes="z" * 50_000)
    body = urlencode(typed).encode()
    cookies = "; ".join(
        f"{cookie.name}={cookie.value}"
        for handler in desk.browser.handlers
        if isinstance(handler, urllib.request.HTTPCookieProcessor)
        for cookie in handler.cookiejar
    )
    head = (
        f"POST /customers/new/ HTTP/1.1\r\nHost: 127.0.0.1:{desk.port}\r\nCookie: {cookies}\r\n"
        f"Content-Type: application/x-www-form-urlencoded\r\nContent-Length: {len(body)}\r\n\r\n"
    ).encode()

    def leave_after(sent: bytes) -> None:
        with socket.create_connection(("127.0.0.1", desk.port), timeout=20) as connection:
            connection.sendall(sent)

    for part in (head, head + body[:100], head + body[: len(body) // 2], head + body[:-1]):
        leave_after(part)
    assert desk.get("/customers/").status == 200
    assert customers(book) == {}
    # All of it sent, and gone before the answer: it is written, whole, and the same form sent again is told so.
    leave_after(head + body)
    wait_until(lambda: customers(book) == {"HALF": 1}, within_s=30, what="what was sent whole is written")
    assert book.rows("SELECT length(notes) FROM planning_customer") == [(50_000,)]
    again = desk.post("/customers/new/", typed)
    assert "already exists" in again.text
    assert "z" * 50_000 in again.text, "what was typed stands in the form"
    assert customers(book) == {"HALF": 1}


SCHEMA = {
    "sqlite": "SELECT type, name, tbl_name, sql FROM sqlite_master WHERE name NOT LIKE 'sqlite_%' ORDER BY 1, 2",
    "postgresql": """
        SELECT table_name, column_name, data_type, is_nullable, coalesce(column_default, '')
        FROM information_schema.columns WHERE table_schema = 'public'
        UNION ALL SELECT relname, conname, pg_get_constraintdef(c.oid), '', ''
        FROM pg_constraint c JOIN pg_class ON pg_class.oid = conrelid
        WHERE connamespace = 'public'::regnamespace
        UNION ALL SELECT tablename, indexname, indexdef, '', '' FROM pg_indexes WHERE schemaname = 'public'
        UNION ALL SELECT relname, tgname, pg_get_triggerdef(t.oid), '', ''
        FROM pg_trigger t JOIN pg_class ON pg_class.oid = tgrelid WHERE NOT tgisinternal
        ORDER BY 1, 2, 3""",
}
APPLIED = "SELECT count(*) FROM django_migrations"
N_KILLS = 4


def applied(book: Book) -> int:
    try:
        return book.rows(APPLIED)[0][0]
    except (sqlite3.OperationalError, psycopg.errors.UndefinedTable) as missing:
        # Before the first migration there is no table that counts them.
        if "django_migrations" not in str(missing):
            raise
        return 0


@pytest.mark.parametrize("kind", ["sqlite", "postgresql"])
def test_a_migration_killed_in_the_middle_is_run_again_and_the_book_is_whole(make_book, kind):
    whole, book = make_book(kind), make_book(kind, migrate=False)
    n_all = applied(whole)
    stood = []
    for n in range(1, N_KILLS + 1):
        # Each time a few migrations further, and once in the work that follows the last.
        until = n * n_all // N_KILLS
        migrate = book.spawn(sys.executable, "manage.py", "migrate", "--noinput", "--verbosity", "0")
        wait_until(
            lambda until=until, migrate=migrate: applied(book) >= until or migrate.poll() is not None,
            within_s=120,
            what=f"{until} of {n_all} migrations are applied",
        )
        if migrate.poll() is None:
            os.killpg(migrate.pid, signal.SIGKILL)
            migrate.wait(20)
        stood.append(applied(book))
    assert stood[0] < n_all, "none was killed in the middle"
    assert stood == sorted(stood)
    book.run("migrate", "--noinput", "--verbosity", "0")
    assert applied(book) == n_all
    assert book.run("migrate", "--check").returncode == 0
    assert book.rows(SCHEMA[kind]) == whole.rows(SCHEMA[kind])
    rows = "SELECT name FROM auth_group ORDER BY name"
    assert book.rows(rows) == whole.rows(rows)
    assert book.python("from mill import changes; print(changes.missing())") == "[]\n"
    assert audited(book)
