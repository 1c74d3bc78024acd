"""The floor's page under a mill's phones, and through a server that is killed: fast enough, nothing lost or doubled."""

import http.client
import json
import re
import statistics
import sys
import threading
import time
from contextlib import closing
from uuid import uuid4

import pytest

from tests.slow.conftest import Book, free_port, wait_until

pytestmark = pytest.mark.slow

PHONES = 40
SEED = """
from django.contrib.auth import get_user_model
from planning.models import Loom, ShiftPattern, Warp
from tests.make import make_loom, make_spec, make_line, make_ticket
from tests.planning.floor_walk import make_worker, weaving_warp
by = get_user_model().objects.create_user("planner")
make_worker(code="UNA", name="Una Bell")
spec = make_spec()
for n in range({n}):
    warp = weaving_warp(by, spec=spec, lines=[make_line(spec=spec)], loom=make_loom())
    print(make_ticket(warp, loom=warp.loom).token)
"""


class Phone:
    """A phone: keeps its taps until the book says that it has them, and sends the rest again."""

    def __init__(self, port: int, token: str) -> None:
        self.port, self.token = port, token
        self.cookie = self.csrf = ""
        self.waits_s: list[float] = []
        self.kept: list[dict] = []

    def ask(self, method: str, path: str, body: str | None = None) -> tuple[int, str]:
        began = time.perf_counter()
        headers = {"Cookie": self.cookie, "X-CSRFToken": self.csrf, "Content-Type": "application/json"}
        with closing(http.client.HTTPConnection("127.0.0.1", self.port, timeout=20)) as connection:
            connection.request(method, path, body, headers)
            answer = connection.getresponse()
            text = answer.read().decode()
            said = [value.split(";")[0] for name, value in answer.getheaders() if name == "Set-Cookie"]
        self.waits_s.append(time.perf_counter() - began)
        if said:
            self.cookie = "; ".join(said)
        return answer.status, text

    def open(self) -> None:
        status, text = self.ask("GET", f"/floor/{self.token}/")
        assert status == 200, text[:500]
        self.csrf = re.search(r'name="csrfmiddlewaretoken" value="(\w+)"', text)[1]

    def tap(self, kind: str, **facts: str) -> None:
        self.kept.append({"key": uuid4().hex, "token": self.token, "worker": "UNA", "kind": kind, **facts})

    def send(self) -> None:
        """Everything kept, oldest first; raises OSError or HTTPException while there is no server."""
        while self.kept:
            status, text = self.ask("POST", "/api/floor/taps/", json.dumps({"events": self.kept[:20]}))
            assert status == 200, text[:500]
            told = {one["key"]: one for one in json.loads(text)}
            assert all(one["is_kept"] for one in told.values()), text
            self.kept = [tap for tap in self.kept if tap["key"] not in told]


def seeded(make_book, n: int) -> tuple[Book, int, list[str]]:
    book = make_book("sqlite")
    book.env["SHEDBOOK_OPEN_BOOK"] = "yes"
    book.run("collectstatic", "--no-input", "--verbosity", "0")
    tokens = book.python(SEED.format(n=n)).split()
    assert len(tokens) == n
    return book, free_port(), tokens


def serve(book: Book, port: int):
    server = book.spawn(sys.executable, "manage.py", "serve", "--port", str(port))

    def answers() -> bool:
        try:
            with closing(http.client.HTTPConnection("127.0.0.1", port, timeout=5)) as connection:
                connection.request("GET", "/floor/")
                return connection.getresponse().status == 200
        except OSError:
            return False

    wait_until(answers, within_s=60, what="the server answers")
    return server


def test_forty_phones_at_once_wait_less_than_a_fifth_of_a_second(make_book):
    """Each phone tells something every two to three seconds and looks at its page again: a busy mill's changeover."""
    book, port, tokens = seeded(make_book, PHONES)
    serve(book, port)
    phones = [Phone(port, token) for token in tokens]
    wrong: list[BaseException] = []

    def weave(n: int, phone: Phone) -> None:
        try:
            time.sleep(2.5 * n / PHONES)
            phone.open()
            for turn in range(8):
                time.sleep(2.5)
                if turn % 2:
                    phone.tap("running")
                else:
                    phone.tap("stopped:weft break")
                phone.send()
                phone.open()
        except BaseException as error:  # a thread's failure is the test's
            wrong.append(error)

    threads = [threading.Thread(target=weave, args=(n, phone)) for n, phone in enumerate(phones)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(180)
    assert wrong == []
    waits_ms = sorted(1000 * wait for phone in phones for wait in phone.waits_s)
    print(
        f"\n{len(waits_ms)} requests: median {statistics.median(waits_ms):.0f} ms, 95 % {waits_ms[len(waits_ms) * 95 // 100]:.0f} ms"
    )
    # Far above what it takes: a busy machine is no failure, a queue that grows is.
    assert statistics.median(waits_ms) < 2000
    assert book.rows("SELECT count(*) FROM planning_floorevent WHERE refused = ''") == [(8 * PHONES,)]


def test_no_tap_is_lost_or_doubled_when_the_server_is_killed_five_times(make_book):
    book, port, tokens = seeded(make_book, 4)
    server = serve(book, port)
    phones = [Phone(port, token) for token in tokens]
    for phone in phones:
        phone.open()
    told = [0] * len(phones)
    is_over = threading.Event()
    wrong: list[BaseException] = []

    def weave(n: int, phone: Phone) -> None:
        try:
            while not is_over.is_set() or phone.kept:
                if not is_over.is_set():
                    phone.tap(("stopped:weft break", "running")[told[n] % 2])
                    told[n] += 1
                try:
                    phone.send()
                except (OSError, http.client.HTTPException):
                    time.sleep(0.1)
        except BaseException as error:  # a thread's failure is the test's
            wrong.append(error)

    threads = [threading.Thread(target=weave, args=(n, phone)) for n, phone in enumerate(phones)]
    for thread in threads:
        thread.start()
    for _ in range(5):
        time.sleep(1.5)
        book.kill(server)
        time.sleep(0.3)
        server = serve(book, port)
    is_over.set()
    for thread in threads:
        thread.join(120)
    assert wrong == []
    assert sum(told) > 50
    assert book.rows("SELECT count(*), count(DISTINCT key) FROM planning_floorevent WHERE refused = ''") == [
        (sum(told), sum(told))
    ]
    (stops,) = book.rows("SELECT count(*) FROM planning_stop")
    assert stops == (sum((n + 1) // 2 for n in told),)
