"""How long the floor's page keeps a phone waiting when forty are at it at once, on a real server with its workers.

Traffic goes to this machine alone; so many phones, so many turns, and it is over.
"""

import http.client
import json
import re
import socket
import subprocess
import sys
import threading
import time
from argparse import ArgumentParser
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from statistics import median
from typing import Any
from uuid import uuid4

from mill.bench.scratch import MANAGE, in_the_book, scratch_book

# Thirty looms: some hang in the hands of two phones.
SIZE = 4
PHONES_MAX, TURNS_MAX = 200, 100
# A changeover: everybody has something to tell every few seconds.
EVERY_S = 2.5
LOOPBACK = "127.0.0.1"


class Phone:
    """A phone: keeps its taps until the book says that it has them, and sends the rest again.

    looks_s, tells_s    how long it waited for each page, and for each answer to what it told
    """

    def __init__(self, port: int, token: str, *, worker: str = "UNA") -> None:
        self.port, self.token, self.worker = port, token, worker
        self.cookie = self.csrf = ""
        self.looks_s: list[float] = []
        self.tells_s: list[float] = []
        self.kept: list[dict[str, Any]] = []

    def _ask(self, method: str, path: str, body: str | None = None) -> tuple[int, str]:
        headers = {"Cookie": self.cookie, "X-CSRFToken": self.csrf, "Content-Type": "application/json"}
        with closing(http.client.HTTPConnection(LOOPBACK, self.port, timeout=20)) as connection:
            connection.request(method, path, body, headers)
            answer = connection.getresponse()
            text = answer.read().decode()
            said = [value.split(";")[0] for name, value in answer.getheaders() if name == "Set-Cookie"]
        if said:
            self.cookie = "; ".join(said)
        return answer.status, text

    def look(self) -> None:
        began = time.perf_counter()
        status, text = self._ask("GET", f"/floor/{self.token}/")
        self.looks_s.append(time.perf_counter() - began)
        assert status == 200, text[:500]
        found = re.search(r'name="csrfmiddlewaretoken" value="(\w+)"', text)
        assert found, "the page has no form"
        self.csrf = found[1]

    def tap(self, kind: str, **facts: str) -> None:
        self.kept.append({"key": uuid4().hex, "token": self.token, "worker": self.worker, "kind": kind, **facts})

    def send(self) -> None:
        """Everything kept, oldest first; raises OSError or HTTPException while there is no server."""
        while self.kept:
            began = time.perf_counter()
            status, text = self._ask("POST", "/api/floor/taps/", json.dumps({"events": self.kept[:20]}))
            self.tells_s.append(time.perf_counter() - began)
            assert status == 200, text[:500]
            told = {one["key"]: one for one in json.loads(text)}
            assert all(one["is_kept"] for one in told.values()), text
            self.kept = [tap for tap in self.kept if tap["key"] not in told]


def tickets_in_looms() -> list[str]:
    """Tokens of the tickets of every warp in a loom; those that have none are given one."""
    from planning.models import Warp
    from planning.services import tickets
    from planning.services.standing import IN_LOOM

    warps = Warp.objects.filter(state__in=IN_LOOM).order_by("number")
    return [tickets.issue_ticket(warp, by=None).token for warp in warps]


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind((LOOPBACK, 0))
        return int(probe.getsockname()[1])


@contextmanager
def served(env: dict[str, str], port: int, *, web: list[str] | None = None) -> Iterator[None]:
    """The server and the two workers that `start` runs, on the scratch book; all of them end with the bench.

    web    the command of another web server
    """
    own = [sys.executable, str(MANAGE)]
    commands = (web or [*own, "serve", "--port", str(port)], [*own, "jobworker"], [*own, "jobworker", "--quick"])
    processes = [subprocess.Popen(command, env=env, cwd=MANAGE.parent) for command in commands]
    try:
        gives_up_at = time.monotonic() + 60
        while True:
            with socket.socket() as probe:
                if probe.connect_ex((LOOPBACK, port)) == 0:
                    break
            assert time.monotonic() < gives_up_at, "the server did not answer within a minute"
            time.sleep(0.1)
        yield
    finally:
        for process in processes:
            process.terminate()
        for process in processes:
            process.wait(30)


def tell_all(phones: list[Phone], *, turns: int) -> None:
    """Each phone tells something every few seconds and looks at its page again; raises what a phone ran into."""
    wrong: list[BaseException] = []

    def weave(n: int, phone: Phone) -> None:
        try:
            time.sleep(EVERY_S * n / len(phones))
            phone.look()
            for turn in range(turns):
                time.sleep(EVERY_S)
                match turn % 4:
                    case 0:
                        phone.tap("stopped:no weft")
                    case 2:
                        # Moves the plan: it is timed again behind all this.
                        phone.tap("picks", picks=str(1000 + 10 * turn + n))
                    case _:
                        phone.tap("running")
                phone.send()
                phone.look()
        except BaseException as error:  # a thread's failure is the bench's
            wrong.append(error)

    threads = [threading.Thread(target=weave, args=(n, phone)) for n, phone in enumerate(phones)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    if wrong:
        raise wrong[0]


def arguments(parser: ArgumentParser) -> None:
    parser.add_argument("--inside", action="store_true", help="give the tickets of the book that is open, bare")
    parser.add_argument("--phones", type=int, default=40)
    parser.add_argument("--turns", type=int, default=8, help="times that each tells something and looks again")


def run(write: Callable[[str], Any], *, inside: bool, phones: int, turns: int) -> None:
    """One phone alone, then all at once, beside each other."""
    if inside:
        write(json.dumps(tickets_in_looms()))
        return
    assert 1 <= phones <= PHONES_MAX
    assert 1 <= turns <= TURNS_MAX
    with scratch_book(size=SIZE) as env:
        env = {**env, "SHEDBOOK_OPEN_BOOK": "yes", "SHEDBOOK_LOG": "ERROR"}
        tokens = json.loads(in_the_book(env, "floor"))
        port = free_port()
        with served(env, port):
            alone = [Phone(port, tokens[0])]
            tell_all(alone, turns=min(turns, 4))
            many = [Phone(port, tokens[n % len(tokens)]) for n in range(phones)]
            began = time.monotonic()
            tell_all(many, turns=turns)
            took_s = time.monotonic() - began
    write(f"{phones} phones on {len(tokens)} looms, {turns} turns each in {took_s:.0f} s; milliseconds")
    write(f"{'':12} {'median':>8} {'95 %':>8} {'alone':>8} {'ratio':>6}")
    for name, key in (("the page", "looks_s"), ("a tap", "tells_s"), ("both", "")):
        waits = _of(many, key)
        one = median(_of(alone, key)) * 1000
        middle, most = median(waits) * 1000, sorted(waits)[len(waits) * 95 // 100] * 1000
        write(f"{name:12} {middle:8.0f} {most:8.0f} {one:8.0f} {middle / one:6.2f}")


def _of(phones: list[Phone], key: str) -> list[float]:
    keys = [key] if key else ["looks_s", "tells_s"]
    return [wait for phone in phones for name in keys for wait in getattr(phone, name)]
