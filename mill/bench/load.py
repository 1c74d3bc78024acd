"""How long people wait for pages when a whole mill is at the book at once, each with time to think.

Traffic goes to this machine alone; so many people, so many seconds, and it is over.
"""

import http.client
import json
import os
import random
import re
import sys
import threading
import time
from argparse import ArgumentParser
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any
from uuid import uuid4

from django.conf import settings

from mill import roles
from mill.bench.floor import LOOPBACK, free_port, served
from mill.bench.scratch import in_the_book, scratch_book

PEOPLE_MAX, SECONDS_MAX = 200, 600
# As docker-compose.yml has it; tests/mill/test_compose.py holds the two together.
GROWN_WEB = (
    *("--workers=3", "--threads=4", "--preload", "--no-control-socket", "--timeout=60"),
    "--logger-class=mill.web_log.WebLog",
)
ORDERED, RECEIVED, TOLD = "an order is placed", "a lot comes in", "a loom is told of"
# What each does by turns, as the names of pages and what is written between; every one begins somewhere else in it.
WALKS: dict[str, tuple[str, ...]] = {
    roles.PLANNER: (
        *("today", "orders", "order", "order_new", ORDERED, "warps", "warp", "combine", "looms", "board"),
        *("loom", "cloths", "cloth", "yarn", "yarn_one", "lot_shares", "tickets", "ticket"),
    ),
    roles.STOCK_KEEPER: (
        *("today", "yarn", "yarn_one", "deliveries", "lot_receive", RECEIVED, "lots", "lot", "store", "store_due"),
    ),
    roles.WARPER: ("warps", "warp", "warp_yarn", "tickets", "ticket", "floor_looms"),
    roles.WEAVER: ("floor", TOLD, "floor", TOLD, "floor_looms"),
    roles.FINISHER: ("finishing", "pieces", "piece", "dispatches", "today"),
}
# Of twenty people of a mill; no source.
SHARES = {roles.PLANNER: 4, roles.STOCK_KEEPER: 3, roles.WARPER: 2, roles.WEAVER: 8, roles.FINISHER: 3}
# Seconds from one page to the next: reading it, and the work between. No source.
THINKS_S = (4.0, 12.0)
SAMPLES = 20


# In the book


def people_of(n: int) -> list[str]:
    """The roles of n people, mixed as SHARES says."""
    twenty = [role for role, share in SHARES.items() for _ in range(share)]
    random.Random(20).shuffle(twenty)  # noqa: S311
    return [twenty[k % len(twenty)] for k in range(n)]


def work_inside(people: int) -> str:
    """A signed-in session for each of them, and addresses of every page that they open."""
    from django.contrib.auth import get_user_model
    from django.test import Client

    from mill import people as verbs

    cookies = []
    for n, role in enumerate(people_of(people), start=1):
        sign_in = f"bench {n}"
        person = get_user_model().objects.filter(username=sign_in).first() or verbs.take_in(
            name=sign_in, sign_in=sign_in, password="", held=[role], by=None
        )
        client = Client(SERVER_NAME=LOOPBACK)
        client.force_login(person)
        cookies.append(client.cookies[settings.SESSION_COOKIE_NAME].value)
    return json.dumps({"cookies": cookies, "addresses": _addresses(), "facts": _facts()})


def _addresses() -> dict[str, list[str]]:
    from django.urls import reverse

    from inventory.models import YarnLot
    from mill.bench.floor import tickets_in_looms
    from planning.models import Cloth, JobTicket, Loom, Order, Piece, Warp

    lots = list(YarnLot.objects.select_related("yarn").order_by("-pk")[:SAMPLES])
    warps = list(Warp.objects.open().order_by("-pk").values_list("number", flat=True)[:SAMPLES])
    of: dict[str, list[Any]] = {
        "order": list(Order.objects.order_by("-pk").values_list("number", flat=True)[:SAMPLES]),
        "warp": warps,
        "warp_yarn": warps,
        "loom": list(Loom.objects.order_by("pk").values_list("code", flat=True)[:SAMPLES]),
        "cloth": list(Cloth.objects.order_by("pk").values_list("code", flat=True)[:SAMPLES]),
        "yarn_one": sorted({lot.yarn.code for lot in lots}),
        "lot": [lot.label for lot in lots],
        "ticket": list(JobTicket.objects.order_by("-pk").values_list("number", flat=True)[:SAMPLES]),
        "piece": list(Piece.objects.order_by("-pk").values_list("number", flat=True)[:SAMPLES]),
        "floor": tickets_in_looms(),
    }
    pages = {name for walk in WALKS.values() for name in walk} - {ORDERED, RECEIVED, TOLD}
    return {
        name: [reverse(name, args=[one]) for one in of[name]] if name in of else [reverse(name)]
        for name in sorted(pages)
    }


def _facts() -> dict[str, Any]:
    """What can be written: who orders what, which yarn comes, who tells."""
    from inventory.models import Yarn
    from planning.models import Colourway, Customer, Worker

    colourways = Colourway.objects.filter(cloth__is_in_use=True).select_related("cloth").order_by("pk")
    return {
        "customers": list(Customer.objects.order_by("pk").values_list("code", flat=True)),
        "colourways": [(one.cloth.code, one.name) for one in colourways],
        "yarns": list(Yarn.objects.filter(is_in_use=True).order_by("pk").values_list("code", flat=True)),
        "worker": Worker.objects.filter(is_in_use=True, trade="weaver").earliest("code").code,
    }


# At the book


@dataclass
class Waits:
    """Seconds by what was waited for, and what went wrong."""

    by_what: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    wrong: list[str] = field(default_factory=list)


class Person:
    """Somebody at a desk, a phone or a tablet, with a connection kept open as browsers do."""

    def __init__(self, role: str, cookie: str, port: int, there: dict[str, Any], dice: random.Random) -> None:
        self.role, self.port, self.there, self.dice = role, port, there, dice
        self.cookies = {settings.SESSION_COOKIE_NAME: cookie}
        self.csrf = ""
        self.waits = Waits()
        self.connection = http.client.HTTPConnection(LOOPBACK, port, timeout=60)
        self.paper = dice.choice(there["addresses"]["floor"])
        self.runs = True

    def _ask(self, what: str, method: str, path: str, said: dict[str, Any] | None = None, **headers: str) -> None:
        headers["Cookie"] = "; ".join(f"{name}={value}" for name, value in self.cookies.items())
        body = json.dumps(said) if said is not None else None
        began = time.perf_counter()
        try:
            answer, text = self._answered(method, path, body, headers)
        except (OSError, http.client.HTTPException) as why:
            self.connection.close()
            self.waits.wrong.append(f"{method} {path}: {type(why).__name__} {why}")
            return
        self.waits.by_what[what].append(time.perf_counter() - began)
        if answer.status not in (200, 201):
            self.waits.wrong.append(f"{method} {path}: {answer.status} {text[:300]}")
        for name, value in answer.getheaders():
            if name == "Set-Cookie":
                key, _, rest = value.partition("=")
                self.cookies[key] = rest.split(";")[0]
        if found := re.search(r'name="csrfmiddlewaretoken" value="(\w+)"', text):
            self.csrf = found[1]

    def _answered(
        self, method: str, path: str, body: str | None, headers: dict[str, str]
    ) -> tuple[http.client.HTTPResponse, str]:
        """A connection that the server has closed meanwhile is opened again, as a browser does unseen."""
        try:
            self.connection.request(method, path, body, headers)
            answer = self.connection.getresponse()
        except (http.client.RemoteDisconnected, ConnectionResetError, BrokenPipeError):
            self.connection.close()
            self.connection.request(method, path, body, headers)
            answer = self.connection.getresponse()
        return answer, answer.read().decode()

    def _write(self, what: str, path: str, said: dict[str, Any]) -> None:
        headers = {"X-CSRFToken": self.csrf, "Content-Type": "application/json", "Idempotency-Key": uuid4().hex}
        self._ask(what, "POST", path, said, **headers)

    def work(self, *, until: float) -> None:
        walk = self._steps()
        low_s, high_s = THINKS_S
        time.sleep(self.dice.uniform(0, high_s))
        while time.monotonic() < until:
            next(walk)()
            time.sleep(max(0.0, min(self.dice.uniform(low_s, high_s), until - time.monotonic())))
        self.connection.close()

    def _steps(self) -> Iterator[Callable[[], None]]:
        walk = WALKS[self.role]
        at = self.dice.randrange(len(walk))
        writes = {ORDERED: self._order, RECEIVED: self._receive, TOLD: self._tell}
        while True:
            name = walk[at % len(walk)]
            at += 1
            if name not in writes:
                yield lambda name=name: self._look(name)  # type: ignore[misc]
            elif self.csrf:
                yield writes[name]

    def _look(self, name: str) -> None:
        path = self.paper if name == "floor" else self.dice.choice(self.there["addresses"][name])
        self._ask(name, "GET", path)

    def _order(self) -> None:
        facts = self.there["facts"]
        cloth, colourway = self.dice.choice(facts["colourways"])
        due_on = (date.today() + timedelta(days=self.dice.randint(40, 120))).isoformat()  # noqa: DTZ011
        line = {"cloth": cloth, "colourway": colourway, "pieces": 2, "length_m": "50", "due_on": due_on}
        placed_on = date.today().isoformat()  # noqa: DTZ011
        # A number of its own, since another planner may be given the next one at the same moment.
        said = {"number": f"B{uuid4().hex[:12]}", "customer": self.dice.choice(facts["customers"])}
        self._write(ORDERED, "/api/orders/", {**said, "placed_on": placed_on, "lines": [line]})

    def _receive(self) -> None:
        key = uuid4().hex
        said = {"key": key, "yarn": self.dice.choice(self.there["facts"]["yarns"]), "grams": 20_000}
        self._write(RECEIVED, "/api/lots/receive/", {**said, "label": f"B{key[:12]}", "dye_lot": key[:6]})

    def _tell(self) -> None:
        """Its loom stands, and runs again the next time."""
        self.runs = not self.runs
        token = self.paper.rstrip("/").rpartition("/")[2]
        kind = "running" if self.runs else "stopped:weft break"
        tap = {"key": uuid4().hex, "token": token, "worker": self.there["facts"]["worker"], "kind": kind}
        self._write(TOLD, "/api/floor/taps/", {"events": [tap]})


def all_at_once(people: list[Person], *, seconds: float) -> None:
    until = time.monotonic() + seconds
    threads = [threading.Thread(target=person.work, kwargs={"until": until}) for person in people]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()


def share(waits: list[float], pct: int) -> float:
    """So many per cent waited no longer.

    >>> share([0.3, 0.1, 0.2, 0.4], 50), share([0.3, 0.1], 95), share([0.1], 95)
    (0.2, 0.3, 0.1)
    """
    return sorted(waits)[max(0, -(-len(waits) * pct // 100) - 1)]


# The bench


def arguments(parser: ArgumentParser) -> None:
    parser.add_argument("--inside", action="store_true", help="sign the people in and print where they go, bare")
    parser.add_argument("--people", type=int, help="at once (10 on one PC, 40 grown)")
    parser.add_argument("--seconds", type=int, default=60)
    parser.add_argument("--size", type=int, help="of the example mill (1 on one PC, 10 grown)")
    parser.add_argument(
        "--grown", metavar="ADDRESS", help="an empty PostgreSQL database, postgresql://…: gunicorn serves it"
    )
    parser.add_argument("--built", action="store_true", help="an example mill stands in that database already")


def run(
    write: Callable[[str], Any],
    *,
    inside: bool,
    people: int | None,
    seconds: int,
    size: int | None,
    grown: str | None,
    built: bool,
) -> None:
    """The people of a mill at once; milliseconds by what was waited for."""
    n = people or (40 if grown else 10)
    assert 1 <= n <= PEOPLE_MAX
    assert 1 <= seconds <= SECONDS_MAX
    if inside:
        write(work_inside(n))
        return
    with scratch_book(size=0 if built else size or (10 if grown else 1), database=grown) as env:
        env = {**env, "SHEDBOOK_LOG": "ERROR", "SHEDBOOK_OPEN_BOOK": "no" if grown else "yes"}
        there = json.loads(in_the_book(env, "load", "--people", str(n)))
        port = free_port()
        web = [sys.executable, "-m", "gunicorn", "mill.wsgi", f"--bind={LOOPBACK}:{port}", *GROWN_WEB]
        crowd = [
            Person(role, cookie, port, there, random.Random(k))  # noqa: S311
            for k, (role, cookie) in enumerate(zip(people_of(n), there["cookies"], strict=True))
        ]
        before = os.times()
        with served(env, port, web=web if grown else None):
            _warm(port)
            began = time.monotonic()
            all_at_once(crowd, seconds=seconds)
            took_s = time.monotonic() - began
        after = os.times()
    processor_s = after.children_user + after.children_system - before.children_user - before.children_system
    _tell_of(write, crowd, took_s=took_s, processor_s=processor_s)


def _warm(port: int) -> None:
    """Until the book is ready, and a page of it has been asked of each process, most likely."""
    for _ in range(12):
        with closing(http.client.HTTPConnection(LOOPBACK, port, timeout=60)) as connection:
            connection.request("GET", "/readyz")
            assert connection.getresponse().status == 200, "the book is not ready"


def _tell_of(write: Callable[[str], Any], crowd: list[Person], *, took_s: float, processor_s: float) -> None:
    found: dict[str, list[float]] = defaultdict(list)
    for person in crowd:
        for what, waits in person.waits.by_what.items():
            found[what] += waits
    together = [wait for waits in found.values() for wait in waits]
    wrong = [sentence for person in crowd for sentence in person.waits.wrong]
    write(f"{len(crowd)} people, {len(together)} requests in {took_s:.0f} s; milliseconds")
    write(f"{'':22} {'n':>5} {'median':>7} {'95 %':>7} {'most':>7}")
    for what, waits in sorted(found.items(), key=lambda pair: -share(pair[1], 95)):
        write(_row(what, waits))
    write(_row("all together", together))
    write(f"{processor_s:.0f} s of processor in web server and workers, their start included; {len(wrong)} went wrong")
    for sentence in wrong[:10]:
        write(sentence)


def _row(what: str, waits: list[float]) -> str:
    middle, most_of, most = (1000 * wait for wait in (share(waits, 50), share(waits, 95), max(waits)))
    return f"{what:22} {len(waits):5} {middle:7.0f} {most_of:7.0f} {most:7.0f}"
