"""How long the book takes to open, with the machine to itself."""

import time
import urllib.request

import pytest

from tests.started import Started, free_port

pytestmark = [pytest.mark.slow, pytest.mark.alone]

# The set-up of .venv comes before the first of these, and is given the rest of its two minutes.
FIRST_S = 120
LATER_S = 15


@pytest.fixture
def open_book(tmp_path):
    opened = []

    def begin():
        began = time.monotonic()
        opened.append(Started(tmp_path / "book", free_port()))
        opened[-1].line()
        return opened[-1], time.monotonic() - began

    yield begin
    for one in opened:
        one.process.kill()
        one.process.communicate()


def test_the_example_mill_is_open_within_minutes_and_later_within_seconds(open_book):
    book, took_s = open_book()
    assert took_s < FIRST_S
    with urllib.request.urlopen(f"http://127.0.0.1:{book.port}/orders/", timeout=20) as page:
        assert b"Candlebeck" in page.read()
    later_s = []
    for _ in range(3):
        book.process.terminate()
        assert book.process.wait(15) == 0
        book, took_s = open_book()
        later_s.append(took_s)
    # The best of three is the book's own time; the others may be the machine's.
    assert min(later_s) < LATER_S
