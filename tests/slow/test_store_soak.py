"""Many hands in one store: they hold, draw, bring back and correct at random, and tap twice; then the books are done.

What every client was told is kept, and compared with the ledger afterwards: each thing said once stands once, at the
grams said; nothing else stands there.
"""

import json
import random
import sys
import threading
import time
from collections import Counter
from contextlib import closing
from http.client import HTTPConnection, HTTPException

import pytest

from inventory.ledger import Line, check_invariants, held_by, replay
from tests.slow.conftest import Book, free_port, wait_until

pytestmark = pytest.mark.slow

LOTS, KILLS = 25, 10
# The same word in the cookie and beside it: what a browser sends that has seen one of the book's pages.
CSRF = "a" * 32
HEADERS = {"Content-Type": "application/json", "Cookie": f"csrftoken={CSRF}", "X-CSRFToken": CSRF}
SEED = """
from django.contrib.auth import get_user_model
from tests.make import make_lot, make_place, make_yarn
get_user_model().objects.create_superuser("planner")
yarns = [make_yarn() for _ in range(5)]
place = make_place()
for n in range({lots}):
    print(make_lot(yarn=yarns[n % 5], grams=40_000, place=place).pk)
"""
LINES = """
SELECT m.lot_id, m.seq, m.kind, m.change_g, m.on_hand_after_g, m.held_after_g, m.held_change_g, m.reservation_id,
       m.key, r.key
FROM inventory_movement m LEFT JOIN inventory_movement r ON r.id = m.reverses_id ORDER BY m.lot_id, m.seq
"""


class Hand:
    """One client: takes a share of the work, sends it again until it is answered, and some of it twice."""

    def __init__(self, n: int, port: int, lots: list[int], operations: int) -> None:
        self.n, self.port, self.lots, self.operations = n, port, lots, operations
        self.dice = random.Random(n)
        self.connection: HTTPConnection | None = None
        # What the book said that it has written, by key.
        self.written: dict[str, dict] = {}
        self.refused: Counter[str] = Counter()
        self.holds: list[dict] = []
        self.drawn: list[dict] = []
        self.repeats = 0

    def work(self) -> None:
        try:
            for n in range(self.operations):
                self.one(f"{self.n}-{n}")
        finally:
            self.hang_up()

    def hang_up(self) -> None:
        if self.connection:
            self.connection.close()
        self.connection = None

    def one(self, key: str) -> None:
        dice, lot = self.dice, self.dice.choice(self.lots)
        act = dice.choice(["hold", "hold", "draw", "draw", "return", "correct", "let-go", "waste"])
        said: dict = {"key": key, "grams": dice.randrange(1, 9_000)}
        if act in {"draw", "let-go"} and self.holds:
            hold = self.holds[dice.randrange(len(self.holds))]
            lot, said["reservation"] = hold["lot_id"], hold["reservation"]
        elif act == "return" and self.drawn:
            line = self.drawn[dice.randrange(len(self.drawn))]
            lot, said["reservation"] = line["lot_id"], line["reservation"]
            said["grams"] = dice.randrange(1, -line["change_g"] + 1)
        elif act == "correct":
            said = {"key": key, "to_g": dice.randrange(20_000, 60_000), "reason": "weighed again"}
        elif act != "waste":
            act = "hold"
        if act == "hold":
            said["for_what"] = f"Warp {dice.randrange(100)}"
        if act == "let-go":
            said.pop("grams")
        if act == "waste":
            said.update(reason="oil", grams=dice.randrange(1, 500))
        answer = self.told(f"/api/lots/{lot}/{act}/", said)
        if dice.random() < 0.2:
            # A tap too many, or an answer that never arrived.
            self.repeats += 1
            again = self.told(f"/api/lots/{lot}/{act}/", said)
            if "id" in answer:
                assert again["id"] == answer["id"], f"{act} {said} was written twice"
            elif "id" in again:
                # Refused at first; others have brought yarn back meanwhile.
                answer = again
        if "id" not in answer:
            assert answer.get("detail", "").endswith("."), f"{act} {said} was refused without a sentence: {answer}"
            self.refused[act] += 1
            return
        answer["lot_id"] = lot
        self.written[key] = answer
        if act == "hold":
            self.holds.append(answer)
        elif act == "draw":
            self.drawn.append(answer)

    def told(self, path: str, said: dict) -> dict:
        """The answer to this, asked for until there is one."""
        gives_up_at = time.monotonic() + 120
        while True:
            try:
                if self.connection is None:
                    self.connection = HTTPConnection("127.0.0.1", self.port, timeout=60)
                self.connection.request("POST", path, json.dumps(said), HEADERS)
                answer = self.connection.getresponse()
                text = answer.read().decode()
            except (OSError, HTTPException):
                self.hang_up()
                assert time.monotonic() < gives_up_at, "no server for two minutes"
                time.sleep(0.1)
                continue
            assert answer.status in {201, 400}, f"{path} {said} answers {answer.status}: {text[:300]}"
            return json.loads(text)


def serve(book: Book, port: int):
    server = book.spawn(sys.executable, "manage.py", "serve", "--port", str(port))

    def answers() -> bool:
        try:
            with closing(HTTPConnection("127.0.0.1", port, timeout=5)) as connection:
                connection.request("GET", "/api/lots/?page_size=1")
                return connection.getresponse().status == 200
        except OSError:
            return False

    wait_until(answers, within_s=90, what="the server answers")
    return server


def done_by(hands: list[Hand]) -> tuple[list[threading.Thread], list[BaseException]]:
    wrong: list[BaseException] = []

    def work(hand: Hand) -> None:
        try:
            hand.work()
        except BaseException as error:  # a thread's failure is the test's
            wrong.append(error)

    threads = [threading.Thread(target=work, args=(hand,)) for hand in hands]
    for thread in threads:
        thread.start()
    return threads, wrong


@pytest.mark.parametrize(("operations", "kills"), [(2_000, 0), (10_000, KILLS)], ids=["undisturbed", "killed"])
@pytest.mark.parametrize(("kind", "clients"), [("sqlite", 16), ("postgresql", 40)])
def test_many_hands_leave_a_ledger_that_adds_up(make_book, kind, clients, operations, kills):
    book = make_book(kind)
    book.env |= {"SHEDBOOK_OPEN_BOOK": "yes", "SHEDBOOK_LOG": "ERROR"}
    lots = [int(word) for word in book.python(SEED.format(lots=LOTS)).split()]
    port = free_port()
    server = serve(book, port)
    hands = [Hand(n, port, lots, operations // clients) for n in range(clients)]
    began = time.monotonic()
    threads, wrong = done_by(hands)
    for n in range(1, kills + 1):
        # Each after its share of the work, so that the last one still finds hands at it.
        share = n * operations // (kills + 1)

        def is_due(share: int = share) -> bool:
            done = sum(len(hand.written) + hand.refused.total() for hand in hands)
            return bool(wrong) or done >= share or not any(thread.is_alive() for thread in threads)

        wait_until(is_due, within_s=900, what=f"kill {n}")
        assert not wrong, wrong
        assert any(thread.is_alive() for thread in threads), "the work was over before the server was killed"
        book.kill(server)
        server = serve(book, port)
    for thread in threads:
        thread.join(1_800)
    assert wrong == []

    lines = [Line(*row) for row in book.rows(LINES)]
    check_invariants(lines)
    written = {line.key: line for line in lines}
    assert len(written) == len(lines)
    said = {key: answer for hand in hands for key, answer in hand.written.items()}
    for key, answer in said.items():
        line = written[key]
        assert (line.lot, line.change_g, line.held_change_g) == (
            answer["lot_id"],
            answer["change_g"],
            answer["held_change_g"],
        )
    # Beside what the hands were told there stands only what each lot came with.
    assert len(lines) == len(said) + LOTS
    assert all(0 <= balance.held_g <= balance.on_hand_g for balance in replay(lines).values())
    assert all(grams >= 0 for grams in held_by(lines).values())
    refused = sum((hand.refused for hand in hands), Counter())
    assert refused, "nothing was ever refused: the lots were too large to be fought over"
    book.python("from mill import jobs; jobs.settle()")
    print(
        f"\n{kind}, {clients} clients, {kills} kills: {len(said)} written, {refused.total()} refused, "
        f"{sum(hand.repeats for hand in hands)} sent twice, in {time.monotonic() - began:.0f} s"
    )
    assert "Nothing differs" in book.run("audit").stdout
