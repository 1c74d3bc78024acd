"""A grown mill's two web servers replaced one after the other, as the README has it, while people are at work."""

import time

import pytest

from tests.slow.clerks import MixedLoad
from tests.slow.conftest import wait_until
from tests.slow.front import Front, status_of
from tests.slow.test_crash import GrownMill, as_it_stands, candlebeck, holds_exactly, ledger_adds_up

pytestmark = pytest.mark.slow

WEB = ("web", "web2")


def test_two_web_servers_replaced_one_after_the_other_lose_no_request(make_book):
    services = GrownMill(make_book("postgresql", redis=True, migrate=False))
    book = services.book
    assert services.begin("setup").wait(120) == 0
    mill = candlebeck(book)
    before = as_it_stands(book)
    running = {name: services.begin(name) for name in (*WEB, "worker", "relay")}
    with Front({name: services.ports[name] for name in WEB}) as front:
        for name in WEB:
            wait_until(lambda name=name: front.sends_to(name), within_s=90, what=f"{name} is ready")
        answered = []
        with MixedLoad(front.port, mill) as load:
            for name in WEB * 2:
                time.sleep(1)
                services.execute(name, "send_away")
                wait_until(lambda name=name: front.has_left(name), within_s=60, what=f"nobody is at {name}")
                # Whoever comes all the same is not turned away.
                assert [status_of(services.ports[name], path) for path in ("/readyz", "/healthz")] == [503, 200]
                running[name].terminate()
                assert running[name].wait(60) == 0
                running[name] = services.begin(name)
                wait_until(lambda name=name: front.sends_to(name), within_s=90, what=f"{name} is ready again")
                answered.append(front.answered.copy())
            time.sleep(1)
    told = load.tally
    print(f"\n{front.answered.total()} requests, {len(told.confirmed)} of them wrote; by server {dict(front.answered)}")
    assert load.wrong == []
    assert front.wrong == []
    assert (told.turned_away, told.cut_off, told.replayed) == (0, 0, 0)
    holds_exactly(book, told.confirmed, before)
    ledger_adds_up(book, told.confirmed, before)
    # While one was away the other answered, each time.
    for then, now, other in zip(answered, answered[1:], ("web", "web2", "web"), strict=False):
        assert now[other] > then[other]
