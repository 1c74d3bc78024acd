import os
import sqlite3
import subprocess
import sys
import threading
import time
from datetime import timedelta

import pytest
from django.db import connection, transaction
from django.test import Client
from django.utils import timezone
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from mill import jobs, roles
from mill.models import Job
from mill.refusal import Refusal
from tests.make import make_person
from tests.tasks import left

FAULT = "A fault of the program stopped it: ValueError: the reed is bent"


def ask(task, payload, **options):
    with transaction.atomic():
        return jobs.ask(task, payload, **options)


@pytest.fixture(scope="module")
def dead_worker():
    """The name of a worker of this machine whose process is over."""
    process = subprocess.Popen([sys.executable, "-c", "import sys; sys.stdin.read()"], stdin=subprocess.PIPE)
    machine = jobs.worker_name().split()[0]
    name = f"{machine} {process.pid} {jobs._started(process.pid)}"
    assert jobs.lives(name)
    process.communicate()
    return name


def in_thread(do):
    """Run it in a thread with a database connection of its own, which is closed at its end."""

    def run():
        try:
            do()
        finally:
            connection.close()

    thread = threading.Thread(target=run)
    thread.start()
    return thread


# Asking


@pytest.mark.django_db(transaction=True)
def test_work_is_asked_for_inside_a_transaction_or_not_at_all():
    with pytest.raises(AssertionError, match="in the transaction"):
        jobs.ask("tests.leave_mark", {"mark": "a"})
    assert not Job.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_work_asked_for_is_gone_with_the_change_that_asked_for_it():
    with transaction.atomic():
        jobs.ask("tests.leave_mark", {"mark": "a"}, same_as="a")
        assert Job.objects.exists()
        transaction.set_rollback(True)
    assert not Job.objects.exists()


def test_a_burst_of_fifty_is_one_job(db):
    asked = {ask("tests.leave_mark", {"mark": "a"}, same_as="a").pk for _ in range(50)}
    assert len(asked) == 1
    assert jobs.settle() == 1
    assert left("a") == 1


def test_work_of_other_kinds_and_of_no_kind_is_not_joined(db):
    for same_as in ("a", "b", "", ""):
        ask("tests.leave_mark", {"mark": "a"}, same_as=same_as)
    assert jobs.settle() == 4


@pytest.mark.django_db(transaction=True)
def test_a_burst_from_ten_planners_at_once_is_one_job():
    asked = []
    at_once = threading.Barrier(10)

    def save():
        at_once.wait()
        asked.append(ask("tests.leave_mark", {"mark": "a"}, same_as="a").pk)

    threads = [in_thread(save) for _ in range(10)]
    for thread in threads:
        thread.join()
    assert len(asked) == 10
    assert len(set(asked)) == 1
    assert Job.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_waiting_work_is_not_begun_before_a_change_that_joined_it_is_kept():
    first = ask("tests.leave_mark", {"mark": "a"}, same_as="a")
    has_joined, kept_at, claimed = threading.Event(), [], []

    def change_something_else():
        with transaction.atomic():
            assert jobs.ask("tests.leave_mark", {"mark": "a"}, same_as="a") == first
            has_joined.set()
            time.sleep(0.5)
            kept_at.append(time.monotonic())

    thread = in_thread(change_something_else)
    assert has_joined.wait(10)
    while not claimed:
        claimed = [job for job in [jobs.claim("somebody")] if job]
    claimed_at = time.monotonic()
    thread.join()
    assert claimed == [first]
    assert claimed_at > kept_at[0]


def test_work_asked_for_while_its_like_is_at_work_waits_and_is_done_after_it(db):
    first = ask("tests.leave_mark", {"mark": "a"}, same_as="a")
    at_work = jobs.claim("somebody")
    second = ask("tests.leave_mark", {"mark": "a"}, same_as="a")
    assert at_work == first != second
    assert jobs.claim("somebody else") is None
    assert jobs.claim("somebody else", job_id=second.pk) is None
    jobs.work(at_work)
    assert jobs.claim("somebody else") == second


# Working


def test_a_job_that_is_done_holds_its_result(db):
    job = ask("tests.leave_mark", {"mark": "a"})
    jobs.work(jobs.claim("somebody"))
    job.refresh_from_db()
    assert (job.state, job.result, job.progress_pct) == (Job.DONE, {"left": "a"}, 100)
    assert job.started_at <= job.completed_at


def test_a_worker_that_lost_its_row_keeps_nothing_of_what_it_wrote(db):
    ask("tests.leave_mark", {"mark": "a"})
    slow = jobs.claim("the slow one")
    Job.objects.update(heartbeat_at=timezone.now() - jobs.LEASE - timedelta(seconds=1), worker="elsewhere/- 1 0")
    assert jobs.recover() == 1
    jobs.work(slow)
    assert left("a") == 0
    assert Job.objects.get().state == Job.QUEUED
    jobs.work(jobs.claim("the next one"))
    assert left("a") == 1


def test_what_fails_is_tried_three_times_and_then_given_up_with_its_reason(db):
    job = ask("tests.break_down", {"mark": "a"}, same_as="a")
    for attempt in (1, 2, 3):
        assert jobs.is_pending("a")
        jobs.work(jobs.claim("somebody"))
        job.refresh_from_db()
        assert job.attempts == attempt
    assert job.state == Job.FAILED
    assert job.error.splitlines()[0] == FAULT
    assert "in break_down" in job.error
    assert left("a") == 0
    assert jobs.claim("somebody") is None
    assert not jobs.is_pending("a")
    assert list(jobs.given_up("a")) == [job]


def test_what_was_given_up_is_told_in_one_sentence_wherever_it_is_shown(desk):
    ask("tests.break_down", {"mark": "a"})
    for _ in range(jobs.ATTEMPTS_MAX):
        jobs.work(jobs.claim("somebody"))
    for address in ("/mill/jobs/", "/mill/jobs/?csv=1", "/api/jobs/", "/"):
        told = desk.get(address).content.decode()
        assert FAULT in told, address
        assert "Traceback" not in told, address
    assert FAULT not in desk.get("/mill/jobs/?state=done").content.decode()
    assert FAULT in desk.get("/mill/jobs/?state=failed&task=").content.decode()


@pytest.mark.parametrize(
    ("cause", "why"), [(sqlite3.SQLITE_FULL, "The disk is full"), (sqlite3.SQLITE_BUSY, "The book is being written in")]
)
def test_work_that_the_database_stood_in_the_way_of_says_so(db, cause, why):
    wrong = sqlite3.OperationalError("said by the database")
    wrong.sqlite_errorcode = cause
    job = ask("tests.break_down", {"mark": "a"})
    at_work = jobs.claim("somebody")
    jobs._fail(at_work, wrong)
    job.refresh_from_db()
    assert job.why_given_up == why


def test_a_refusal_is_given_up_at_once_in_its_own_words(db):
    job = ask("tests.refuse", {"mark": "a"})
    jobs.work(jobs.claim("somebody"))
    job.refresh_from_db()
    assert (job.state, job.attempts) == (Job.FAILED, 1)
    assert job.error.splitlines()[0] == "Lot A12 has 9000 g free; this job needs 10080 g. Choose another lot."
    assert left("a") == 0


def test_what_was_given_up_and_then_done_is_no_longer_complained_of(db):
    ask("tests.refuse", {"mark": "a"}, same_as="a")
    jobs.work(jobs.claim("somebody"))
    assert jobs.given_up("a").count() == 1
    ask("tests.leave_mark", {"mark": "a"}, same_as="a")
    assert jobs.given_up("a").count() == 1
    jobs.settle()
    assert not jobs.given_up("a").exists()


def test_what_was_done_since_or_stopped_by_somebody_is_nothing_to_be_looked_at(db, planner):
    ask("tests.refuse", {"mark": "a"}, same_as="a")
    alone = ask("tests.refuse", {"mark": "b"})
    stopped = ask("tests.refuse", {"mark": "c"}, same_as="c")
    jobs.stop(stopped, by=planner)
    for _ in range(2):
        jobs.work(jobs.claim("somebody"))
    assert jobs.to_be_looked_at().count() == 2
    ask("tests.leave_mark", {"mark": "a"}, same_as="a")
    jobs.settle()
    assert list(jobs.to_be_looked_at()) == [alone]
    assert Job.objects.filter(state=Job.FAILED).count() == 3


def test_what_was_given_up_is_tried_again_with_all_its_tries(db, planner):
    job = ask("tests.break_down", {"mark": "a"})
    for _ in range(jobs.ATTEMPTS_MAX):
        jobs.work(jobs.claim("somebody"))
    assert list(jobs.to_be_looked_at()) == [job]
    # What was in its way is mended meanwhile.
    Job.objects.update(task="tests.leave_mark")
    assert jobs.try_again(job, by=planner) == job
    job.refresh_from_db()
    assert (job.state, job.attempts, job.error, job.asked_by) == (Job.QUEUED, 0, "", planner)
    assert not jobs.to_be_looked_at().exists()
    assert jobs.settle() == 1
    assert left("a") == 1
    with pytest.raises(Refusal, match=f"^Job {job.pk} was not given up: it is done\\.$"):
        jobs.try_again(job, by=planner)


def test_what_is_tried_again_while_its_like_waits_is_done_by_that_one(db, planner):
    job = ask("tests.refuse", {"mark": "a"}, same_as="a")
    jobs.work(jobs.claim("somebody"))
    waits = ask("tests.leave_mark", {"mark": "a"}, same_as="a")
    assert jobs.try_again(job, by=planner) == waits
    assert jobs.settle() == 1
    assert not jobs.given_up("a").exists()


def test_it_is_tried_again_from_the_desk_and_a_reader_has_no_button_for_it(desk):
    job = ask("tests.refuse", {"mark": "a"})
    jobs.work(jobs.claim("somebody"))
    reader = Client()
    reader.force_login(make_person("reads", roles.READER))
    button = f'<button form="again" formaction="/mill/jobs/{job.pk}/again/" aria-label="Try again: Job {job.pk}">'
    assert button in desk.get("/mill/jobs/").content.decode()
    assert "/again/" not in reader.get("/mill/jobs/").content.decode()
    assert reader.post(f"/mill/jobs/{job.pk}/again/").status_code == 403
    told = desk.post(f"/mill/jobs/{job.pk}/again/", follow=True).content.decode()
    assert f"Job {job.pk} waits to be worked." in told
    assert button not in told
    # A press too many.
    told = desk.post(f"/mill/jobs/{job.pk}/again/", follow=True).content.decode()
    assert f"Job {job.pk} was not given up: it is waiting." in told
    assert desk.post(f"/api/jobs/{job.pk}/try-again/").json()["detail"].startswith(f"Job {job.pk} was not given up")


def test_a_task_nobody_knows_is_given_up_with_a_sentence(db):
    job = ask("tests.fly", {})
    jobs.work(jobs.claim("somebody"))
    job.refresh_from_db()
    assert job.state == Job.FAILED
    assert job.error.startswith("No task is called “tests.fly”")


def test_what_fails_while_its_like_waits_leaves_the_work_to_that_one(db):
    first = ask("tests.break_down", {"mark": "a"}, same_as="a")
    at_work = jobs.claim("somebody")
    second = ask("tests.leave_mark", {"mark": "a"}, same_as="a")
    jobs.work(at_work)
    first.refresh_from_db()
    assert (first.state, first.result) == (Job.DONE, {"worked_by_job": second.pk})
    assert jobs.settle() == 1
    assert left("a") == 1


def test_a_worker_that_is_closed_puts_its_job_back(db):
    job = ask("tests.be_closed", {"mark": "a"})
    with pytest.raises(SystemExit):
        jobs.work(jobs.claim("somebody"))
    job.refresh_from_db()
    assert (job.state, job.worker, job.attempts, job.deaths) == (Job.QUEUED, "", 0, 0)
    assert left("a") == 0


def test_a_failure_under_a_lost_row_says_nothing_about_it(db):
    ask("tests.refuse", {"mark": "a"})
    slow = jobs.claim("the slow one")
    Job.objects.update(worker="the next one")
    jobs.work(slow)
    row = Job.objects.get()
    assert (row.state, row.worker, row.attempts, row.error) == (Job.RUNNING, "the next one", 0, "")


@pytest.mark.django_db(transaction=True)
def test_eight_workers_at_once_claim_each_row_once():
    for n in range(24):
        ask("tests.leave_mark", {"mark": f"{n}"})
    at_once, claimed = threading.Barrier(8), []

    def take():
        at_once.wait()
        for _ in range(3):
            claimed.append(jobs.claim("somebody").pk)

    threads = [in_thread(take) for _ in range(8)]
    for thread in threads:
        thread.join()
    assert len(claimed) == len(set(claimed)) == 24


def test_fresh_work_goes_before_work_that_failed(db):
    ask("tests.break_down", {"mark": "a"})
    jobs.work(jobs.claim("somebody"))
    fresh = ask("tests.leave_mark", {"mark": "b"})
    assert jobs.claim("somebody") == fresh


# Long work


def test_long_work_says_how_far_it_is_and_is_done_with_its_outcome(db):
    job = ask("tests.take_long", {"mark": "a", "steps": 4})
    jobs.work(jobs.claim("somebody"))
    job.refresh_from_db()
    assert (job.state, job.result, job.progress_note) == (Job.DONE, {"steps": 4}, "step 4")
    assert left("a") == 1


def test_long_work_that_is_asked_to_stop_ends_with_what_it_has(db):
    ask("tests.take_long", {"mark": "a", "steps": 4})
    job = jobs.claim("somebody")
    jobs.stop(job, by=None)
    jobs.work(job)
    job.refresh_from_db()
    assert (job.state, job.result) == (Job.DONE, {"steps": 0})


def test_work_stopped_before_it_was_begun_is_not_begun(db):
    job = ask("tests.leave_mark", {"mark": "a"}, same_as="a")
    jobs.stop(job, by=None)
    assert jobs.claim("somebody") is None
    job.refresh_from_db()
    assert job.error == "Stopped before it was begun."
    assert not jobs.is_pending("a")


def test_long_work_that_lost_its_row_ends_and_leaves_nothing(db):
    ask("tests.take_long", {"mark": "a", "steps": 4})
    job = jobs.claim("somebody")
    Job.objects.update(worker="somebody else")
    jobs.work(job)
    assert left("a") == 0
    assert Job.objects.get().state == Job.RUNNING


def test_a_quick_worker_leaves_long_work_to_another(db):
    long_one = ask("tests.take_long", {"mark": "a", "steps": 1})
    short_one = ask("tests.leave_mark", {"mark": "b"})
    long_tasks = jobs.long_tasks()
    assert "tests.take_long" in long_tasks
    assert "tests.leave_mark" not in long_tasks
    assert jobs.claim("the quick one", but_not=long_tasks) == short_one
    assert jobs.claim("the quick one", but_not=long_tasks) is None
    assert jobs.claim("the other one") == long_one


def test_a_task_run_outside_any_job_is_told_so():
    with pytest.raises(LookupError):
        jobs.current()


# The death of workers


def test_the_job_of_a_dead_worker_is_put_back_at_once_and_that_of_a_living_one_is_not(db, dead_worker):
    ask("tests.leave_mark", {"mark": "dead"})
    of_the_dead = jobs.claim(dead_worker)
    ask("tests.leave_mark", {"mark": "living"})
    of_the_living = jobs.claim(jobs.worker_name())
    assert jobs.recover() == 1
    of_the_dead.refresh_from_db()
    of_the_living.refresh_from_db()
    assert (of_the_dead.state, of_the_dead.deaths, of_the_dead.attempts) == (Job.QUEUED, 1, 0)
    assert of_the_living.state == Job.RUNNING


def test_a_process_number_used_again_does_not_pass_for_the_dead_worker():
    machine, pid, started = jobs.worker_name().split()
    assert jobs.lives(f"{machine} {pid} {started}")
    assert not jobs.lives(f"{machine} {pid} {int(started) - 1}")


def test_a_process_that_ended_lives_no_more_even_if_nobody_has_asked_how_it_ended():
    process = subprocess.Popen([sys.executable, "-c", ""])
    name = f"{jobs.worker_name().split()[0]} {process.pid} {jobs._started(process.pid)}"
    os.waitid(os.P_PID, process.pid, os.WEXITED | os.WNOWAIT)
    assert jobs.lives(name) is False
    process.wait()


def test_of_a_worker_on_another_machine_nothing_is_known_until_its_lease_runs_out(db):
    ask("tests.leave_mark", {"mark": "a"})
    job = jobs.claim("elsewhere/- 1 1")
    assert jobs.lives(job.worker) is None
    assert jobs.recover() == 0
    Job.objects.update(heartbeat_at=timezone.now() - jobs.LEASE - timedelta(seconds=1))
    assert jobs.recover() == 1


def test_a_job_begun_elsewhere_by_a_clock_that_was_set_back_since_is_put_back(db):
    ask("tests.leave_mark", {"mark": "a"})
    jobs.claim("elsewhere/- 1 1")
    Job.objects.update(heartbeat_at=timezone.now() + timedelta(days=1))
    assert jobs.recover() == 1


def test_an_idle_worker_that_bears_a_row_s_name_puts_it_back(db):
    ask("tests.leave_mark", {"mark": "a"})
    jobs.claim(jobs.worker_name())
    assert jobs.recover() == 0
    assert jobs.recover(idle=jobs.worker_name()) == 1


def test_work_that_kills_every_worker_is_given_up_in_the_end(db, dead_worker):
    job = ask("tests.leave_mark", {"mark": "a"})
    for _ in range(jobs.DEATHS_MAX):
        assert jobs.claim(dead_worker) == job
        jobs.recover()
    job.refresh_from_db()
    assert (job.state, job.error) == (Job.FAILED, "Given up: the process that worked it died 10 times.")


def test_a_dead_worker_s_job_is_left_to_its_like_that_waits(db, dead_worker):
    first = ask("tests.leave_mark", {"mark": "a"}, same_as="a")
    jobs.claim(dead_worker)
    second = ask("tests.leave_mark", {"mark": "a"}, same_as="a")
    assert jobs.recover() == 1
    first.refresh_from_db()
    assert first.result == {"worked_by_job": second.pk}
    assert jobs.settle() == 1


# Handing on


def test_a_row_is_handed_on_once_and_again_only_when_its_message_seems_lost(db):
    job = ask("tests.leave_mark", {"mark": "a"})
    sent = []
    assert jobs.hand_on(sent.append, relay=jobs.worker_name()) == 1
    assert jobs.hand_on(sent.append, relay=jobs.worker_name()) == 0
    Job.objects.update(heartbeat_at=timezone.now() - jobs.HANDED_ON - timedelta(seconds=1))
    assert jobs.hand_on(sent.append, relay=jobs.worker_name()) == 1
    assert sent == [job.pk, job.pk]


def test_a_row_marked_by_a_clock_that_was_set_back_since_is_handed_on_again(db):
    job = ask("tests.leave_mark", {"mark": "a"})
    sent = []
    jobs.hand_on(sent.append, relay=jobs.worker_name())
    Job.objects.update(heartbeat_at=timezone.now() + timedelta(hours=1))
    assert jobs.hand_on(sent.append, relay=jobs.worker_name()) == 1
    assert jobs.hand_on(sent.append, relay=jobs.worker_name()) == 0
    assert sent == [job.pk, job.pk]


def test_no_more_is_handed_on_than_can_soon_be_begun(db):
    for n in range(jobs.IN_HAND_MAX + 5):
        ask("tests.leave_mark", {"mark": f"{n}"})
    sent = []
    jobs.hand_on(sent.append, relay=jobs.worker_name())
    assert len(sent) == jobs.IN_HAND_MAX
    assert jobs.settle() == jobs.IN_HAND_MAX + 5


def test_what_a_relay_marked_before_it_died_is_handed_on_by_the_next_one(db, dead_worker):
    job = ask("tests.leave_mark", {"mark": "a"})
    jobs.hand_on(lambda job_id: None, relay=dead_worker)
    sent = []
    jobs.hand_on(sent.append, relay=jobs.worker_name())
    assert sent == [job.pk]


def test_a_row_that_could_not_be_sent_is_sent_the_next_time(db):
    ask("tests.leave_mark", {"mark": "a"})

    def no_broker(job_id):
        raise ConnectionError

    with pytest.raises(ConnectionError):
        jobs.hand_on(no_broker, relay=jobs.worker_name())
    assert jobs.hand_on(lambda job_id: None, relay=jobs.worker_name()) == 1


def test_a_message_that_comes_twice_works_the_row_once(db):
    from mill.tasks import work_job

    job = ask("tests.leave_mark", {"mark": "a"})
    for _ in range(2):
        work_job(job.pk)
    assert left("a") == 1


def test_work_handed_on_joins_with_its_like_until_it_is_begun(db):
    job = ask("tests.leave_mark", {"mark": "a"}, same_as="a")
    jobs.hand_on(lambda job_id: None, relay=jobs.worker_name())
    assert ask("tests.leave_mark", {"mark": "a"}, same_as="a") == job


# The rest


def test_pages_ask_by_the_beginning_of_the_name(db):
    ask("tests.leave_mark", {"mark": "a"}, same_as="drawdown:7")
    assert jobs.is_pending("drawdown:")
    assert jobs.is_pending("warps:", "drawdown:7")
    assert not jobs.is_pending("warps:")
    assert jobs.is_pending()


def test_settling_works_off_what_the_work_itself_asks_for(db):
    ask("tests.ask_again", {"times": 4})
    assert jobs.settle() == 5
    assert not jobs.is_pending()


def test_settling_raises_what_went_wrong(db):
    ask("tests.break_down", {"mark": "a"})
    with pytest.raises(ValueError, match="the reed is bent"):
        jobs.settle()


def test_what_was_done_long_ago_is_dropped_and_what_was_given_up_is_kept(db):
    ask("tests.leave_mark", {"mark": "a"})
    ask("tests.refuse", {"mark": "a"})
    for _ in range(2):
        jobs.work(jobs.claim("somebody"))
    assert jobs.forget() == 0
    Job.objects.update(completed_at=timezone.now() - jobs.KEPT - timedelta(days=1))
    assert jobs.forget() == 1
    assert Job.objects.get().state == Job.FAILED


@pytest.mark.django_db(transaction=True)
def test_the_bell_rings_for_what_was_asked_after_listening():
    bell = jobs.Bell()
    bell.listen()
    in_thread(lambda: ask("tests.leave_mark", {"mark": "a"})).join()
    began = time.monotonic()
    bell.wait(at_most_s=10)
    assert time.monotonic() - began < 8


@pytest.mark.django_db(transaction=True)
def test_the_bell_is_silent_when_nothing_was_asked():
    bell = jobs.Bell()
    bell.listen()
    began = time.monotonic()
    bell.wait(at_most_s=0.6)
    assert time.monotonic() - began > 0.5


KINDS = st.sampled_from("abc")
EVENTS = st.lists(
    st.tuples(st.sampled_from(["ask", "claim", "work", "die", "recover", "expire"]), KINDS), min_size=1, max_size=25
)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=60)
@example([("ask", "a"), ("claim", "a"), ("ask", "a"), ("die", "a"), ("recover", "a")])
@given(events=EVENTS)
def test_whatever_happens_each_change_is_worked_after_it_was_made(db, dead_worker, events):
    """Changes, deaths and lost leases in any order: at the end nothing is stale, and nothing was kept twice."""
    last_asked, at_work = {}, []
    with transaction.atomic():
        for event, kind in events:
            if event == "ask":
                last_asked[kind] = jobs.ask("tests.leave_mark", {"mark": kind}, same_as=kind)
                assert last_asked[kind].state == Job.QUEUED
            elif event == "claim":
                at_work += [job for job in [jobs.claim(jobs.worker_name())] if job]
            elif event == "work" and at_work:
                jobs.work(at_work.pop(0))
            elif event == "die" and at_work:
                Job.objects.filter(pk=at_work.pop().pk, state=Job.RUNNING).update(worker=dead_worker)
            elif event == "expire":
                # Their leases run out though they live: both they and their successors will go on.
                Job.objects.filter(state=Job.RUNNING).update(worker="elsewhere/- 1 1", heartbeat_at=None)
            elif event == "recover":
                jobs.recover()
            running = list(Job.objects.filter(state=Job.RUNNING).values_list("same_as", flat=True))
            assert len(running) == len(set(running))
        for job in at_work:
            jobs.work(job)
        Job.objects.filter(state=Job.RUNNING).update(worker=dead_worker)
        jobs.recover()
        jobs.settle()
        for kind, job in last_asked.items():
            job.refresh_from_db()
            while "worked_by_job" in job.result:
                job = Job.objects.get(pk=job.result["worked_by_job"])
            assert job.result == {"left": kind}
            assert left(kind) == Job.objects.filter(same_as=kind, result={"left": kind}).count()
        assert not jobs.is_pending()
        transaction.set_rollback(True)
