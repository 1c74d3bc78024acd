"""People and programs at a book all at once, who send again under the same key whatever was not answered."""

import http.client
import json
import random
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any
from uuid import uuid4

LOOPBACK = "127.0.0.1"
# Under load, with the other processes killed and begun again beside it, an answer may take its time.
ANSWERED_WITHIN_S = 60
PAUSE_S = 0.05
MARK = "mixed"

# A cookie and a token for each; the mill's own numbers of what there is to be done.
SEED = """
import json
from django.contrib.auth import get_user_model
from django.test import Client
from inventory.models import Yarn, YarnLot
from mill import people, roles, tokens
from planning.models import Cloth, Colourway, Customer, JobTicket, Warp, Worker
from planning.services.standing import IN_LOOM
owner = get_user_model().objects.get(username="planner")
clerks = {}
for name, held in CLERKS.items():
    person = people.take_in(name=name, sign_in=name, password="only for tests " + name, held=[held], by=owner)
    desk = Client(SERVER_NAME="127.0.0.1")
    desk.force_login(person)
    token = tokens.make_token(name=name, may_write=True, by=person)[1]
    clerks[name] = {"token": token, "cookie": "sessionid=" + desk.cookies["sessionid"].value}
cloths = Cloth.objects.filter(is_in_use=True).order_by("code")
lots = YarnLot.objects.with_balance().filter(is_quarantined=False, available_g__gt=20_000).order_by("pk")
in_loom = Warp.objects.filter(state__in=IN_LOOM)
print(json.dumps({
    "clerks": clerks,
    "customers": [c.code for c in Customer.objects.order_by("pk")],
    "colourways": [[c.cloth.code, c.name] for c in Colourway.objects.filter(cloth__in=cloths).order_by("pk")],
    "cloths": [c.code for c in cloths],
    "yarns": [y.code for y in Yarn.objects.filter(is_in_use=True).order_by("pk")],
    "lots": [lot.pk for lot in lots[:6]],
    "weaver": Worker.objects.filter(is_in_use=True, trade="weaver").earliest("code").code,
    "warps": [w.number for w in Warp.objects.open().order_by("number")],
    "papers": list(JobTicket.objects.filter(
        warp__in=in_loom, overtaken_at=None, withdrawn_at=None).order_by("pk").values_list("token", flat=True)),
}))
"""
CLERKS = {
    "sella": "planner",
    "ridley": "planner",
    "tamsin": "stock keeper",
    "oswin": "stock keeper",
    "una": "weaver or tuner",
    "wilf": "reader",
}
PAGES = ("/", "/orders/", "/looms/", "/lots/", "/warps/", "/api/orders/?limit=20", "/api/lots/?limit=20", "/api/jobs/")


def new_key() -> str:
    """For a request, and for whatever of a record is to be found again."""
    return f"{MARK}-{uuid4().hex}"


@dataclass(frozen=True)
class Confirmed:
    """A request that wrote, and the book's word for it."""

    path: str
    key: str
    sent: dict[str, Any]
    answer: Any


@dataclass
class Tally:
    """What came of everything that one clerk did.

    turned_away  times that nobody was there to be asked
    cut_off      times that a request was taken and no answer came
    replayed     of those, how many had been written all the same: the second time the first answer came
    refused      sentences of the mill, by which nothing was written
    """

    confirmed: list[Confirmed] = field(default_factory=list)
    turned_away: int = 0
    cut_off: int = 0
    replayed: int = 0
    looked: int = 0
    refused: Counter[str] = field(default_factory=Counter)


class Clerk:
    """One person at the book, with a token for what is written and a cookie for the pages."""

    def __init__(self, name: str, port: int, mill: dict[str, Any]) -> None:
        self.name, self.port, self.mill = name, port, mill
        self.dice = random.Random(name)
        self.tally = Tally()
        self.headers = {
            "Authorization": f"Bearer {mill['clerks'][name]['token']}",
            "Content-Type": "application/json",
            "Connection": "close",
        }

    def _ask(self, method: str, path: str, body: str | None, headers: dict[str, str]) -> tuple[int, bool, bytes]:
        with closing(http.client.HTTPConnection(LOOPBACK, self.port, timeout=ANSWERED_WITHIN_S)) as connection:
            connection.request(method, path, body, headers)
            answer = connection.getresponse()
            return answer.status, answer.getheader("Idempotency-Replayed") == "true", answer.read()

    def _until_answered(self, method: str, path: str, body: str | None, headers: dict[str, str]) -> Any:
        """Sent until it is answered; what is read is asked for in the same way."""
        first = True
        while True:
            try:
                status, is_replayed, text = self._ask(method, path, body, headers)
            except (OSError, http.client.HTTPException) as why:
                if isinstance(why, ConnectionRefusedError):
                    self.tally.turned_away += 1
                else:
                    self.tally.cut_off += 1
                    first = False
                time.sleep(PAUSE_S)
                continue
            assert not (first and is_replayed), f"{method} {path}: a new key has been answered before"
            self.tally.replayed += is_replayed
            return status, text

    def look(self, path: str) -> bytes:
        of_a_program = path.startswith("/api/")
        headers = self.headers if of_a_program else {"Cookie": self.mill["clerks"][self.name]["cookie"]}
        status, text = self._until_answered("GET", path, None, headers)
        assert status == 200, f"GET {path}: {status} {text[:500]!r}"
        self.tally.looked += 1
        return bytes(text)

    def write(self, path: str, said: dict[str, Any], *, key: str = "") -> Any:
        """What the book answered; None when it refused."""
        key = key or new_key()
        status, text = self._until_answered("POST", path, json.dumps(said), {**self.headers, "Idempotency-Key": key})
        answer = json.loads(text)
        if status == 400:
            self.tally.refused[answer["detail"]] += 1
            return None
        assert status in (200, 201), f"POST {path}: {status} {text[:500]!r}"
        self.tally.confirmed.append(Confirmed(path, key, said, answer))
        return answer

    # What they do all day

    def place_orders(self) -> Iterator[None]:
        """An order of two lines, and a third that nothing but the key of its request keeps from being written twice."""
        today = date.today()
        while True:
            lines = [
                {
                    "cloth": cloth,
                    "colourway": colourway,
                    "pieces": self.dice.randint(1, 4),
                    "length_m": str(self.dice.randint(30, 70)),
                    "due_on": (today + timedelta(days=self.dice.randint(30, 120))).isoformat(),
                    "note": new_key(),
                }
                for cloth, colourway in self.dice.sample(self.mill["colourways"], 3)
            ]
            order = self.write(
                "/api/orders/",
                {
                    "customer": self.dice.choice(self.mill["customers"]),
                    "reference": new_key(),
                    "placed_on": today.isoformat(),
                    "lines": lines[:2],
                },
            )
            yield
            self.write(f"/api/orders/{order['number']}/lines/", lines[2])
            yield

    def revise_and_issue(self) -> Iterator[None]:
        """A cloth one pick up, then one down again; tickets of three warps; and so on."""
        up = True
        warps = list(self.mill["warps"])
        while True:
            code = self.dice.choice(self.mill["cloths"][:4])
            [latest, *_] = json.loads(self.look(f"/api/cloths/{code}/revisions/"))
            draft = {name: latest[name] for name in latest if name not in ("cloth", "revision", "made_at", "by")}
            picks = float(latest["loom_picks_per_cm"])
            draft |= {"loom_picks_per_cm": f"{picks + (0.1 if up else -0.1):.3f}", "note": new_key()}
            self.write(f"/api/cloths/{code}/revisions/", {**draft, "based_on": latest["revision"]})
            up = not up
            yield
            for warp in self.dice.sample(warps, 3):
                self.write("/api/tickets/", {"warp": warp})
                yield

    def keep_the_store(self) -> Iterator[None]:
        """A lot comes in; two keepers draw from the same few lots, and give some back."""
        while True:
            key = new_key()
            received = {"yarn": self.dice.choice(self.mill["yarns"]), "grams": 25_000, "label": key[-20:]}
            self._move("receive", key, **received, dye_lot=key[-6:], packages=25)
            yield
            for _ in range(3):
                lot, grams = self.dice.choice(self.mill["lots"]), self.dice.randint(1, 90)
                self._move(f"{lot}/draw", new_key(), grams=grams, for_what="a sample")
                yield
            lot, grams = self.dice.choice(self.mill["lots"]), self.dice.randint(1, 60)
            self._move(f"{lot}/return", new_key(), grams=grams, reason="a sample is back")
            yield

    def _move(self, what: str, key: str, **said: Any) -> None:
        """The ledger keeps a key of its own with each line; the same serves for both."""
        self.write(f"/api/lots/{what}/", {"key": key, **said}, key=key)

    def tell_of_the_floor(self) -> Iterator[None]:
        """Each loom stops and runs again, by turns."""
        turn = 0
        while True:
            for paper in self.mill["papers"]:
                key, kind = new_key(), ("stopped:weft break", "running")[turn % 2]
                tap = {"key": key, "token": paper, "worker": self.mill["weaver"], "kind": kind}
                self.write("/api/floor/taps/", {"events": [tap]}, key=key)
                yield
            turn += 1

    def read(self) -> Iterator[None]:
        while True:
            for path in PAGES:
                self.look(path)
                yield

    def work(self) -> Callable[[], Iterator[None]]:
        return {
            "sella": self.place_orders,
            "ridley": self.revise_and_issue,
            "tamsin": self.keep_the_store,
            "oswin": self.keep_the_store,
            "una": self.tell_of_the_floor,
            "wilf": self.read,
        }[self.name]


class MixedLoad:
    """All clerks at once, each in a thread of its own, until they are told that the day is over."""

    def __init__(self, port: int, mill: dict[str, Any]) -> None:
        self.clerks = [Clerk(name, port, mill) for name in CLERKS]
        self.is_over = threading.Event()
        self.wrong: list[BaseException] = []
        self.threads = [threading.Thread(target=self._work, args=(clerk,)) for clerk in self.clerks]

    def _work(self, clerk: Clerk) -> None:
        try:
            for _ in clerk.work()():
                if self.is_over.is_set():
                    return
                time.sleep(PAUSE_S)
        except BaseException as error:  # a thread's failure is the test's
            self.wrong.append(error)
            self.is_over.set()

    def __enter__(self) -> "MixedLoad":
        for thread in self.threads:
            thread.start()
        return self

    def __exit__(self, *exc: object) -> None:
        """Each sends what it has in hand until it is answered, and goes home."""
        self.is_over.set()
        for thread in self.threads:
            thread.join(2 * ANSWERED_WITHIN_S)

    @property
    def tally(self) -> Tally:
        """Of all clerks together."""
        own = [clerk.tally for clerk in self.clerks]
        return Tally(
            confirmed=[one for tally in own for one in tally.confirmed],
            turned_away=sum(tally.turned_away for tally in own),
            cut_off=sum(tally.cut_off for tally in own),
            replayed=sum(tally.replayed for tally in own),
            looked=sum(tally.looked for tally in own),
            refused=sum((tally.refused for tally in own), Counter()),
        )
