"""A mill at work while web and workers are killed fifty times: what was confirmed is there once, and all adds up."""

import json
import random
import sys
import time
from collections import Counter
from collections.abc import Iterable
from pathlib import Path
from statistics import median
from subprocess import Popen
from typing import Any

import pytest

from tests.slow import clerks
from tests.slow.clerks import MARK, Confirmed, MixedLoad
from tests.slow.conftest import Book, free_port, wait_until
from tests.slow.front import status_of
from tests.slow.grown import SAID_IN_ENV_FILE, Grown

pytestmark = pytest.mark.slow

N_KILLS = 50
# From the kill to the first good answer of /readyz.
RECOVERED_WITHIN_S = 10


class OnePc:
    """The processes that `start` keeps, each to be killed alone."""

    names = ("web", "worker", "quick worker")

    def __init__(self, book: Book) -> None:
        self.book, self.port = book, free_port()
        self.commands = {
            "web": ["serve", "--port", str(self.port)],
            "worker": ["jobworker"],
            "quick worker": ["jobworker", "--quick"],
        }

    def begin(self, name: str) -> Popen:
        return self.book.spawn(sys.executable, "manage.py", *self.commands[name])


class GrownMill(Grown):
    names = ("web", "worker", "relay")

    def __init__(self, book: Book) -> None:
        super().__init__(book)
        # What is signed for the clerks must be signed by the key that the services are given.
        book.env["SHEDBOOK_SECRET_KEY"] = SAID_IN_ENV_FILE["SHEDBOOK_SECRET_KEY"]


def kept_waiting_s(server: Popen) -> float:
    """How long a web server has stood ready to run while others had the processors; 0 where Linux doesn't count it."""

    def waited_s(pid: int) -> float:
        try:
            return int(Path(f"/proc/{pid}/schedstat").read_text().split()[1]) / 1e9
        except (OSError, IndexError):
            return 0.0

    def children(pid: int) -> list[int]:
        try:
            return [int(child) for child in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]
        except OSError:
            return []

    # One process after the other: the first reads the program, one of its copies answers.
    return waited_s(server.pid) + max((waited_s(child) for child in children(server.pid)), default=0.0)


class Watched:
    """Processes that are killed and begun again, and how long the book was away."""

    def __init__(self, services: Any) -> None:
        self.services, self.book = services, services.book
        self.running = {name: services.begin(name) for name in services.names}
        self.away_s: list[float] = []
        # The same on a machine that has nothing else to do.
        self.own_s: list[float] = []
        self.wait_until_ready(60)

    def is_ready(self) -> bool:
        return status_of(self.services.port, "/readyz") == 200

    def wait_until_ready(self, within_s: float) -> float:
        began = time.monotonic()
        wait_until(self.is_ready, within_s=within_s, what="the book is ready")
        return time.monotonic() - began

    def wait_for_work(self) -> None:
        """Until a worker is at something, or three seconds have brought nothing."""
        gives_up_at = time.monotonic() + 3
        while not rows(self.book, "SELECT 1 FROM mill_job WHERE state = 'running'") and time.monotonic() < gives_up_at:
            time.sleep(0.01)

    def kill(self, *names: str) -> None:
        """Without a word, and begun again at once; on PostgreSQL a killed web server is all its processes."""
        for name in names:
            self.book.kill(self.running[name])
        for name in names:
            self.running[name] = self.services.begin(name)
        if "web" in names:
            self.away_s.append(self.wait_until_ready(60))
            self.own_s.append(self.away_s[-1] - kept_waiting_s(self.running["web"]))


def rows(book: Book, sql: str) -> list[tuple]:
    return book.rows(sql)


def of_path(confirmed: Iterable[Confirmed], ends: str) -> list[Confirmed]:
    return [one for one in confirmed if one.path.endswith(ends)]


def balances(book: Book) -> dict[int, int]:
    """What the lines of each lot come to."""
    return dict(book.rows("SELECT lot_id, sum(change_g) FROM inventory_movement GROUP BY lot_id"))


def as_it_stands(book: Book) -> dict[str, Any]:
    return {
        "balances": balances(book),
        "last ticket": rows(book, "SELECT max(number) FROM planning_jobticket")[0][0],
    }


def holds_exactly(book: Book, confirmed: list[Confirmed], before: dict[str, Any]) -> None:
    """Each thing that was confirmed stands in the book, once; and nothing like it that nobody was told of."""
    placed = of_path(confirmed, "/api/orders/")
    assert Counter(
        rows(book, f"SELECT reference, number FROM planning_order WHERE reference LIKE '{MARK}%'")
    ) == Counter((one.sent["reference"], one.answer["number"]) for one in placed)
    lines = [(line["note"], one.answer["number"]) for one in placed for line in one.sent["lines"]]
    lines += [(one.sent["note"], one.answer["order"]) for one in of_path(confirmed, "/lines/")]
    in_book = "SELECT l.note, o.number FROM planning_orderline l JOIN planning_order o ON o.id = l.order_id"
    assert Counter(rows(book, f"{in_book} WHERE l.note LIKE '{MARK}%'")) == Counter(lines)

    revised = of_path(confirmed, "/revisions/")
    in_book = "SELECT s.note, c.code, s.revision FROM planning_clothspec s JOIN planning_cloth c ON c.id = s.cloth_id"
    assert Counter(rows(book, f"{in_book} WHERE s.note LIKE '{MARK}%'")) == Counter(
        (one.sent["note"], one.answer["cloth"], one.answer["revision"]) for one in revised
    )

    issued = {one.answer["number"]: one.answer["warp"] for one in of_path(confirmed, "/tickets/")}
    in_book = "SELECT t.number, w.number FROM planning_jobticket t JOIN planning_warp w ON w.id = t.warp_id"
    new = dict(rows(book, f"{in_book} WHERE t.number > {before['last ticket']}"))
    assert new == {number: warp for number, warp in issued.items() if number > before["last ticket"]}
    in_use = Counter(
        rows(book, "SELECT warp_id FROM planning_jobticket WHERE withdrawn_at IS NULL AND overtaken_at IS NULL")
    )
    assert set(in_use.values()) <= {1}

    taps = of_path(confirmed, "/taps/")
    assert all(tap["is_kept"] for one in taps for tap in one.answer)
    assert Counter(
        rows(book, f"SELECT key, kind, refused FROM planning_floorevent WHERE key LIKE '{MARK}%'")
    ) == Counter(
        (one.key, one.sent["events"][0]["kind"].partition(":")[0], tap["refused"]) for one in taps for tap in one.answer
    )

    keyed = rows(book, f"SELECT key FROM mill_keptanswer WHERE key LIKE '{MARK}%'")
    assert Counter(key for (key,) in keyed) == Counter(one.key for one in confirmed)


def ledger_adds_up(book: Book, confirmed: list[Confirmed], before: dict[str, Any]) -> None:
    """Each lot has what it had, and what was confirmed of it since."""
    lines = [one for one in confirmed if one.path.startswith("/api/lots/")]
    changes = rows(book, f"SELECT key, change_g FROM inventory_movement WHERE key LIKE '{MARK}%' AND change_g <> 0")
    assert Counter(changes) == Counter((one.key, one.answer["change_g"]) for one in lines)
    then = Counter(before["balances"])
    labels = dict(rows(book, "SELECT label, id FROM inventory_yarnlot"))
    for one in lines:
        then[labels[one.answer["lot"]]] += one.answer["change_g"]
    assert balances(book) == dict(then)
    last = "SELECT max(id) FROM inventory_movement GROUP BY lot_id"
    assert dict(rows(book, f"SELECT lot_id, on_hand_after_g FROM inventory_movement WHERE id IN ({last})")) == dict(
        then
    )


def nothing_waits(book: Book) -> bool:
    return not rows(book, "SELECT 1 FROM mill_job WHERE state IN ('queued', 'running')")


def candlebeck(book: Book) -> dict[str, Any]:
    """The example mill, with six clerks."""
    book.run("example_mill")
    return json.loads(book.python(f"CLERKS = {clerks.CLERKS!r}\n{clerks.SEED}"))


def killed_fifty_times(services: Any, mill: dict[str, Any]) -> None:
    book: Book = services.book
    before = as_it_stands(book)
    dice = random.Random(50)
    watched = Watched(services)
    others = services.names[1:]
    began = time.monotonic()
    with MixedLoad(services.port, mill) as load:
        for n in range(N_KILLS):
            time.sleep(dice.uniform(0.2, 1.0))
            if n % 10 == 9:
                # The power fails: all of them at once.
                watched.wait_for_work()
                watched.kill(*services.names)
            elif n % 2:
                watched.wait_for_work()
                watched.kill(others[n // 2 % len(others)])
            else:
                watched.kill("web")
            if load.is_over.is_set():
                break
        time.sleep(1)
    took_s = time.monotonic() - began
    assert load.wrong == []
    wait_until(lambda: nothing_waits(book), within_s=120, what="all work is done")
    book.close()

    told = load.tally
    assert rows(book, "SELECT task, error FROM mill_job WHERE state <> 'done'") == []
    holds_exactly(book, told.confirmed, before)
    ledger_adds_up(book, told.confirmed, before)
    assert book.run("audit").stdout.startswith("Nothing differs: ")

    n_deaths, of_one = rows(book, "SELECT sum(deaths), max(deaths) FROM mill_job")[0]
    kinds = Counter(one.path.strip("/").split("/")[-1] for one in told.confirmed)
    print(
        f"\n{N_KILLS} kills in {took_s:.0f} s. Ready again after {median(watched.away_s):.1f} s in the middle,"
        f" {max(watched.away_s):.1f} s at the longest; less what others had of the processors"
        f" {median(watched.own_s):.1f} and {max(watched.own_s):.1f} s."
        f"\n{len(told.confirmed)} requests confirmed, {dict(kinds)}, {told.refused.total()} refused;"
        f" {told.cut_off} cut off, of which {told.replayed} had been written; {told.looked} pages read."
        f"\n{n_deaths} jobs died with their worker, none more than {of_one} times."
    )
    # Each kind of work went on, and the kills met it.
    assert {"orders", "lines", "revisions", "tickets", "receive", "draw", "return", "taps"} <= set(kinds)
    assert told.cut_off > 0
    assert n_deaths > 0
    assert max(watched.own_s) < RECOVERED_WITHIN_S


def test_fifty_kills_on_one_pc_lose_and_double_nothing(make_book):
    book = make_book("sqlite")
    book.env["SHEDBOOK_OPEN_BOOK"] = "yes"
    book.run("collectstatic", "--no-input", "--verbosity", "0")
    killed_fifty_times(OnePc(book), candlebeck(book))


def test_fifty_kills_of_a_grown_mill_lose_and_double_nothing(make_book):
    services = GrownMill(make_book("postgresql", redis=True, migrate=False))
    assert services.begin("setup").wait(120) == 0
    killed_fifty_times(services, candlebeck(services.book))
