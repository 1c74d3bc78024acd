"""Two web processes on one book count together through a real Redis, and each by itself while that is gone."""

import sys
import time
import urllib.error
import urllib.request

import pytest

from tests.slow.conftest import free_port, wait_until

pytestmark = pytest.mark.slow
MAKES_TOKENS = """
from django.contrib.auth import get_user_model
from mill import tokens
owner = get_user_model().objects.create_superuser("owner")
for n in range(5):
    print(tokens.make_token(name=f"Sheet {n}", may_write=False, by=owner)[1])
"""


def ask(port: int, secret: str) -> tuple[int, str]:
    """The status, and how long to wait, as a program on the mill's network is told."""
    request = urllib.request.Request(
        f"http://127.0.0.1:{port}/api/looms/", headers={"Authorization": f"Bearer {secret}"}
    )
    try:
        with urllib.request.urlopen(request, timeout=60) as answer:
            return answer.status, ""
    except urllib.error.HTTPError as refused:
        return refused.code, refused.headers.get("Retry-After", "")


def answers(port: int) -> bool:
    try:
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/healthz", timeout=60) as answer:
            return answer.status == 200
    except OSError:
        return False


@pytest.mark.parametrize("is_redis_there", [True, False], ids=["Redis", "Redis gone"])
def test_processes_count_one_token_together_while_redis_is_there(make_book, is_redis_there):
    book = make_book("sqlite", redis=is_redis_there)
    if not is_redis_there:
        book.env["SHEDBOOK_REDIS"] = f"redis://127.0.0.1:{free_port()}/0"
    book.env["SHEDBOOK_API_LIMIT"] = "10"
    secrets = book.python(MAKES_TOKENS).split()
    ports = [free_port(), free_port()]
    for port in ports:
        book.spawn(sys.executable, "manage.py", "serve", "--port", str(port))
    for port in ports:
        wait_until(lambda port=port: answers(port), within_s=120, what="the server answers")
    for secret in secrets:
        begins = time.time() // 60
        said = [ask(ports[n % 2], secret) for n in range(21)]
        # Counted by the minute of the clock: when one ended meanwhile, another token begins another.
        if time.time() // 60 == begins:
            break
    statuses = [status for status, _ in said]
    # Alone, each process lets ten through; the odd one is the eleventh of the first.
    assert statuses == ([200] * 10 + [429] * 11 if is_redis_there else [200] * 20 + [429])
    assert all(1 <= int(wait) <= 60 for status, wait in said if status == 429)
