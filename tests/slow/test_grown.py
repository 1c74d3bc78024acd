"""The grown mill's services as docker-compose.yml has them: its commands, settings and health checks, on real servers."""

import subprocess
import sys

import pytest

from tests.slow.conftest import wait_until
from tests.slow.grown import SERVICES, WithServers
from tests.slow.test_jobs_crash import ask, marks, states

pytestmark = pytest.mark.slow


@pytest.fixture
def grown(tmp_path, server_folder):
    services = WithServers(tmp_path, server_folder)
    yield services
    services.close()


def open_up(grown):
    """The two servers, then the tables, in the order that the file gives."""
    for name in ("postgres", "redis"):
        assert not grown.is_well(name)
        grown.begin(name)
        wait_until(lambda name=name: grown.is_well(name), within_s=60, what=f"{name} is well")
    assert grown.begin("setup").wait(180) == 0


def test_the_services_of_the_grown_mill_do_their_work_and_say_whether_they_are_well(grown):
    open_up(grown)
    assert not grown.is_well("web")
    assert not grown.is_well("worker")
    assert grown.is_well("relay"), "with nothing to hand on"

    # Whatever else the file has, now or later; the relay has its own turn below.
    others = [name for name in SERVICES if name not in ("postgres", "redis", "setup", "relay")]
    assert {"web", "web2", "worker"} <= set(others)
    for name in others:
        grown.begin(name)
    for name in others:
        wait_until(lambda name=name: grown.is_well(name), within_s=90, what=f"{name} is well")

    ask(grown.book, "tests.leave_mark", [{"mark": "a"}])
    grown.book.python("""
from datetime import timedelta
from django.utils import timezone
from mill.models import Job
Job.objects.update(asked_at=timezone.now() - timedelta(minutes=2))
""")
    unwell = grown.health("relay")
    assert unwell.returncode == 1
    assert "1 jobs have waited over a minute for a relay" in unwell.stderr
    grown.begin("relay")
    wait_until(lambda: states(grown.book) == {"done": 1}, within_s=60, what="the job is done")
    assert marks(grown.book) == {"a": 1}
    assert grown.is_well("relay")


def test_beat_has_the_nights_work_asked_for_once_and_says_whether_it_is_well(grown):
    open_up(grown)
    assert not grown.is_well("beat")
    grown.book.python("""
from datetime import timedelta
from django.utils import timezone
from mill.models import Change
Change.objects.create(at=timezone.now() - timedelta(days=2), kind="mill.mill", row_pk=1, what="~", history_id=1)
""")
    for name in ("relay", "worker", "worker", "beat"):
        grown.begin(name)
    wait_until(lambda: grown.is_well("beat"), within_s=90, what="beat is well")
    nights = {"inventory.new_day": "done", "mill.back_up": "done", "mill.forget": "done"}
    asked = "SELECT task, state FROM mill_job ORDER BY task"
    # It looks at the clock once a minute.
    wait_until(lambda: grown.book.rows(asked) == [*nights.items()], within_s=180, what="the night's work is done")
    assert len(list((grown.book.folder / "backups").glob("shedbook-*.zip"))) == 1


def test_the_grown_mill_s_book_is_not_open_to_whoever_comes_by(grown):
    open_up(grown)
    grown.begin("web")
    wait_until(lambda: grown.is_well("web"), within_s=90, what="the web server is well")
    code = f"""
import urllib.request
with urllib.request.urlopen("http://127.0.0.1:{grown.port}/") as page:
    print(page.url)
"""
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
    assert said.stdout == f"http://127.0.0.1:{grown.port}/sign-in/?next=/\n"
