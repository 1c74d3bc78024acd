"""Real processes, killed in mid-task: nothing is lost and nothing is done twice."""

import json
import time
from collections import Counter

import pytest

from tests.slow.conftest import wait_until

pytestmark = pytest.mark.slow

N_JOBS = 8
N_KILLS = 5


def ask(book, task, payloads):
    book.python(f"""
import json
from django.db import transaction
from mill import jobs
for payload in json.loads({json.dumps(json.dumps(payloads))}):
    with transaction.atomic():
        jobs.ask({task!r}, payload)
""")


def states(book):
    return Counter(state for (state,) in book.rows("SELECT state FROM mill_job"))


def marks(book):
    """How often each task's mark was left and kept."""
    names = [name for (name,) in book.rows("SELECT name FROM auth_group") if "-" in name]
    return Counter(name.rsplit(" ", 1)[0] for name in names)


def at_work(book):
    """Who is at work, by the rows: the name of a worker that was killed stands until its row is put back."""
    return {worker for (worker,) in book.rows("SELECT worker FROM mill_job WHERE state = 'running'")}


def kill_in_mid_task(book, how):
    """Kill the worker five times while it is at a row, and leave the next at work."""
    worker = begin(book, how)
    killed, n = set(), 0
    while n < N_KILLS:
        wait_until(lambda: at_work(book) - killed, within_s=60, what=f"work goes on after {killed} were killed")
        time.sleep(0.2)
        book.kill(worker)
        # One that came to the end of its row meanwhile was not killed in the middle.
        n += bool(at_work(book) - killed)
        killed.update(at_work(book))
        worker = begin(book, how)


def all_done(book):
    return states(book) == {"done": N_JOBS}


def begin(book, how):
    """Start whoever works the rows; returns the one to be killed."""
    return book.jobworker() if how == "embedded" else book.celery()


@pytest.mark.parametrize("database", ["sqlite", "postgresql"])
@pytest.mark.parametrize("how", ["embedded", "celery"])
def test_a_worker_killed_five_times_in_mid_task_loses_and_doubles_nothing(make_book, how, database):
    book = make_book(database, redis=how == "celery")
    names = [f"mark{n}" for n in range(N_JOBS)]
    ask(book, "tests.leave_two_marks", [{"mark": name, "takes_s": 0.6} for name in names])
    if how == "celery":
        book.jobrelay()
    kill_in_mid_task(book, how)
    wait_until(lambda: all_done(book), within_s=120, what="all is done")
    assert marks(book) == dict.fromkeys(names, 2)
    deaths = book.rows("SELECT sum(deaths), max(attempts) FROM mill_job")
    # The first process of a Celery worker may have had two rows in hand when it was killed.
    assert N_KILLS <= deaths[0][0] <= 2 * N_KILLS
    assert deaths[0][1] == 0


@pytest.mark.parametrize("database", ["sqlite", "postgresql"])
def test_the_job_worker_and_celery_at_the_same_rows_work_each_of_them_once(make_book, database):
    book = make_book(database, redis=True)
    names = [f"mark{n}" for n in range(60)]
    ask(book, "tests.leave_mark", [{"mark": name} for name in names])
    book.jobrelay()
    book.celery()
    wait_until(lambda: states(book)["done"], within_s=60, what="Celery works")
    book.jobworker()
    more = [f"more{n}" for n in range(60)]
    ask(book, "tests.leave_mark", [{"mark": name} for name in more])
    wait_until(lambda: states(book) == {"done": 120}, within_s=120, what="all is done")
    assert marks(book) == dict.fromkeys(names + more, 1)


def test_a_relay_killed_again_and_again_loses_nothing(make_book):
    book = make_book("postgresql", redis=True)
    book.celery()
    relay = book.jobrelay()
    for n in range(N_JOBS):
        ask(book, "tests.leave_mark", [{"mark": f"mark{n}"}])
        book.kill(relay)
        relay = book.jobrelay()
    wait_until(lambda: all_done(book), within_s=60, what="all is done")
    assert marks(book) == {f"mark{n}": 1 for n in range(N_JOBS)}


def test_long_work_killed_in_the_middle_is_begun_again_and_shows_how_far_it_is(make_book):
    book = make_book("sqlite")
    ask(book, "tests.take_long", [{"mark": "plan", "steps": 20, "step_s": 0.1}])
    worker = book.jobworker()
    wait_until(
        lambda: book.rows("SELECT 1 FROM mill_job WHERE progress_pct >= 20"), within_s=60, what="a quarter is done"
    )
    book.kill(worker)
    assert marks(book) == {}
    book.jobworker()
    wait_until(lambda: states(book)["done"], within_s=60, what="all is done")
    assert marks(book) == {"plan": 1}
    assert book.rows("SELECT deaths, progress_pct, progress_note FROM mill_job") == [(1, 100, "step 20")]


N_WARPS = 150
WARPS_TO_WORK_OUT = f"""
from django.db import transaction
from planning.services import working_out
from tests.make import make_line, make_spec, make_warp
with transaction.atomic():
    spec = make_spec()
    warps = [make_warp(spec=spec, lines=[make_line(spec=spec)]) for _ in range({N_WARPS})]
    working_out.warps_changed([warp.pk for warp in warps])
"""


@pytest.mark.parametrize("database", ["sqlite", "postgresql"])
def test_warps_and_draw_downs_agree_after_five_deaths_while_they_were_worked_out(make_book, database):
    book = make_book(database)
    book.python(WARPS_TO_WORK_OUT)
    kill_in_mid_task(book, "embedded")
    wait_until(lambda: set(states(book)) == {"done"}, within_s=120, what="all is done")
    assert book.rows("SELECT count(*) FROM planning_warpfigures WHERE is_stale") == [(0,)]
    assert book.rows("SELECT count(DISTINCT source) FROM inventory_yarndemand") == [(N_WARPS,)]
    assert book.rows("SELECT sum(deaths) FROM mill_job")[0][0] == N_KILLS
    assert book.run("audit").stdout.startswith("Nothing differs: ")
