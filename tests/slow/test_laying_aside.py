"""The example mill laid aside from its page: an empty book with the same people, and the example kept beside."""

import http.cookiejar
import re
import sqlite3
import urllib.parse
import urllib.request

import pytest

from tests.started import Started, free_port, wait_until

pytestmark = pytest.mark.slow


def test_the_example_makes_room_for_an_empty_book_and_is_not_written_again(tmp_path):
    folder = tmp_path / "book"
    started = Started(folder, free_port())
    try:
        started.line()
        at = f"http://127.0.0.1:{started.port}"
        who = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(http.cookiejar.CookieJar()))
        page = who.open(f"{at}/mill/beginning/", timeout=30).read().decode()
        assert "Lay the example aside" in page
        token = re.search(r'name="csrfmiddlewaretoken" value="(\w+)"', page)[1]
        sent = urllib.parse.urlencode({"csrfmiddlewaretoken": token}).encode()
        answer = who.open(urllib.request.Request(f"{at}/mill/beginning/lay-aside/", sent, {"Referer": at}), timeout=30)
        assert "kept in a file beside" in answer.read().decode()

        def is_begun_anew():
            try:
                return "being begun" in urllib.request.urlopen(at, timeout=10).read().decode()
            except OSError:
                return False

        wait_until(is_begun_anew, within_s=120)
        assert "Our mill" in urllib.request.urlopen(at, timeout=10).read().decode()
        (kept,) = folder.glob("shedbook-before-*.sqlite3")
        with sqlite3.connect(kept) as old, sqlite3.connect(folder / "shedbook.sqlite3") as new:
            people = "SELECT username, password, is_active FROM auth_user ORDER BY username"
            assert old.execute(people).fetchall() == new.execute(people).fetchall()
            assert old.execute("SELECT count(*) FROM planning_loom").fetchone() == (12,)
            assert new.execute("SELECT count(*) FROM planning_loom").fetchone() == (0,)
            groups = "SELECT count(*) FROM auth_user_groups"
            assert old.execute(groups).fetchall() == new.execute(groups).fetchall()
        started.process.terminate()
        started.process.communicate(timeout=15)
        assert started.process.returncode == 0
        # Opened again, it is still the mill's own.
        started = Started(folder, free_port())
        started.line()
        with sqlite3.connect(folder / "shedbook.sqlite3") as new:
            assert new.execute("SELECT count(*) FROM planning_loom").fetchone() == (0,)
    finally:
        started.process.kill()
        started.process.communicate()
