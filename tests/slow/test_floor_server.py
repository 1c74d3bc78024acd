"""The floor's page under a mill's phones, and through a server that is killed: nothing lost or doubled."""

import http.client
import sys
import threading
import time
from contextlib import closing

import pytest

from mill.bench.floor import Phone, tell_all
from tests.slow.conftest import Book, free_port, wait_until

pytestmark = pytest.mark.slow

PHONES = 40
SEED = """
from django.contrib.auth import get_user_model
from planning.models import Loom, ShiftPattern, Warp
from tests.make import make_loom, make_spec, make_line, make_ticket
from tests.planning.floor_walk import make_worker, weaving_warp
by = get_user_model().objects.create_superuser("planner")
make_worker(code="UNA", name="Una Bell")
spec = make_spec()
for n in range({n}):
    warp = weaving_warp(by, spec=spec, lines=[make_line(spec=spec)], loom=make_loom())
    print(make_ticket(warp, loom=warp.loom).token)
"""


def seeded(make_book, n: int, *, kind: str = "sqlite") -> tuple[Book, int, list[str]]:
    book = make_book(kind)
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


def test_forty_phones_at_once_are_all_heard(make_book):
    """How long they wait is measured by `bench floor`."""
    book, port, tokens = seeded(make_book, PHONES)
    serve(book, port)
    phones = [Phone(port, token) for token in tokens]
    tell_all(phones, turns=4)
    assert all(phone.kept == [] for phone in phones)
    assert book.rows("SELECT count(*) FROM planning_floorevent WHERE refused = ''") == [(4 * PHONES,)]


@pytest.mark.parametrize("kind", ["sqlite", "postgresql"])
def test_no_tap_is_lost_or_doubled_when_the_server_is_killed_five_times(make_book, kind):
    book, port, tokens = seeded(make_book, 4, kind=kind)
    server = serve(book, port)
    phones = [Phone(port, token) for token in tokens]
    for phone in phones:
        phone.look()
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
