"""The two commands, run as anybody runs them."""

import http.client
import os
import re
import shutil
import signal
import socket
import sqlite3
import subprocess
import sys
import sysconfig
from contextlib import closing
from urllib.parse import urlencode

import pytest

from mill.latch import Held, Latch
from tests.books import Book
from tests.started import CLEAN_ENV, ROOT, Started, free_port, is_gone, wait_until

OUTSIDE = getattr(sys, "_base_executable", sys.executable)


# The set-up


@pytest.fixture
def copy(tmp_path):
    """manage.py in a folder of its own, with a lock that holds nothing: set up in seconds, with no network."""
    copy = tmp_path / "copy"
    (copy / "mill" / "requirements").mkdir(parents=True)
    for name in ("manage.py", "mill/__init__.py", "mill/latch.py"):
        shutil.copy(ROOT / name, copy / name)
    for name in ("run.txt", "dev.txt"):
        (copy / "mill" / "requirements" / name).write_text(f"# {name}: nothing\n")
    return copy


def manage(copy, *command, python=OUTSIDE, **options):
    # What the empty lock doesn't install is lent by the environment the tests run in.
    env = {**CLEAN_ENV, "PYTHONPATH": sysconfig.get_path("purelib")}
    return subprocess.run(
        [python, str(copy / "manage.py"), *command], env=env, capture_output=True, text=True, **options
    )


@pytest.mark.slow
def test_the_first_command_sets_up_an_environment_and_goes_on_in_it(copy):
    said = manage(copy, "--version")
    assert said.returncode == 0
    assert said.stdout.startswith("5.2")
    assert "Setting up .venv from mill/requirements/run.txt" in said.stderr
    assert (copy / ".venv" / "installed").read_text().startswith(f"Python 3.{sys.version_info[1]} ")

    again = manage(copy, "--version")
    assert (again.returncode, again.stdout, again.stderr) == (0, said.stdout, "")

    (copy / "mill" / "requirements" / "run.txt").write_text("# changed\n")
    assert "Setting up" in manage(copy, "--version").stderr

    # As after a power cut in the middle of it.
    (copy / ".venv" / "installed").unlink()
    assert "Setting up" in manage(copy, "--version").stderr


@pytest.mark.slow
def test_a_set_up_that_fails_says_so_and_is_done_again(copy):
    lock = copy / "mill" / "requirements" / "run.txt"
    lock.write_text("there-is-no-such-file.whl --hash=sha256:00\n")
    said = manage(copy, "--version")
    assert said.returncode == 1
    assert "Give the same command again" in said.stderr
    assert not (copy / ".venv" / "installed").exists()
    lock.write_text("# mended\n")
    assert manage(copy, "--version").returncode == 0


@pytest.mark.slow
def test_two_first_commands_at_once_set_up_once(copy):
    command = [OUTSIDE, str(copy / "manage.py"), "--version"]
    env = {**CLEAN_ENV, "PYTHONPATH": sysconfig.get_path("purelib")}
    both = [
        subprocess.Popen(command, env=env, text=True, stdout=subprocess.PIPE, stderr=subprocess.PIPE) for _ in range(2)
    ]
    said = [process.communicate(timeout=120) for process in both]
    assert [process.returncode for process in both] == [0, 0]
    assert sum(stderr.count("Setting up") for _, stderr in said) == 1


def test_inside_an_environment_nothing_is_set_up(copy):
    if sys.prefix == sys.base_prefix:
        pytest.skip("the tests themselves run outside any environment")
    said = manage(copy, "--version", python=sys.executable)
    assert (said.returncode, said.stderr) == (0, "")
    assert not (copy / ".venv").exists()


def pretending(copy, pretence):
    """Run manage.py in a Python that is told something about itself first."""
    script = f"import runpy, sys; {pretence}; sys.argv = ['manage.py', 'start']; "
    script += f"runpy.run_path({str(copy / 'manage.py')!r}, run_name='__main__')"
    return subprocess.run([OUTSIDE, "-c", script], env=CLEAN_ENV, cwd=copy, capture_output=True, text=True)


def test_an_older_python_is_refused_with_a_sentence(copy):
    said = pretending(copy, "sys.version_info = (3, 9, 2, 'final', 0)")
    assert said.returncode == 1
    assert said.stderr == "Shedbook needs Python 3.11 or newer; this is 3.9.\n"


def test_a_machine_without_venv_is_told_which_package_to_install(copy):
    said = pretending(copy, "sys.path.insert(0, ''); sys.modules['ensurepip'] = None")
    assert said.returncode == 1
    assert "sudo apt-get install python3-venv" in said.stderr
    assert "Traceback" not in said.stderr


def test_in_somebody_else_s_environment_the_way_out_is_said(copy):
    said = pretending(copy, "sys.prefix = '/elsewhere'; sys.modules['django'] = None")
    assert said.returncode == 1
    assert "Leave it (deactivate)" in said.stderr
    assert "Traceback" not in said.stderr


def test_a_latch_is_held_by_one_and_let_go_however_it_ends(tmp_path):
    path = tmp_path / "folder" / "latch"
    with Latch(path, note="the first"), pytest.raises(Held, match="the first"), Latch(path, wait=False):
        pass
    code = f"import os; from pathlib import Path; from mill.latch import Latch; Latch(Path({str(path)!r})).__enter__(); os._exit(1)"
    subprocess.run([sys.executable, "-c", code], cwd=ROOT)
    with Latch(path, wait=False):
        pass


# The tests


def collected(*arguments):
    command = [sys.executable, "manage.py", "test", "-n", "0", "--collect-only", "-q", *arguments]
    return subprocess.run(command, cwd=ROOT, env=CLEAN_ENV, capture_output=True, text=True)


@pytest.mark.slow
def test_the_long_proofs_run_only_when_asked_for():
    fast = collected("tests/slow/test_jobs_crash.py", "tests/mill/test_compose.py")
    assert "test_compose.py" in fast.stdout
    assert "test_jobs_crash" not in fast.stdout
    slow = collected("--slow", "tests/slow/test_jobs_crash.py", "tests/mill/test_compose.py")
    assert "test_jobs_crash.py" in slow.stdout
    assert "test_compose" not in slow.stdout
    assert (fast.stderr, slow.stderr) == ("", "")


# The book


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("books") / "book"


@pytest.fixture
def start(folder):
    started = []

    def begin(*more, port=None):
        started.append(Started(folder, port or free_port(), "--empty", *more))
        return started[-1]

    yield begin
    for one in started:
        one.process.kill()
        one.process.communicate()


@pytest.mark.slow
def test_the_book_opens_says_one_line_and_closes(start):
    book = start()
    assert book.line() == f"Shedbook is open at http://127.0.0.1:{book.port}/ - Ctrl-C closes it.\n"
    assert book.is_answering()
    children = book.children()
    assert set(children) == {f"serve --port {book.port} --listen 127.0.0.1", "jobworker", "jobworker --quick"}

    second = start()
    _, complaint = second.process.communicate(timeout=30)
    assert second.process.returncode == 1
    assert f"is open already, at http://127.0.0.1:{book.port}/" in complaint

    book.process.send_signal(signal.SIGINT)
    rest, complaint = book.process.communicate(timeout=15)
    assert (book.process.returncode, rest, complaint) == (0, "", "")
    assert all(is_gone(pid) for pid in children.values())
    assert not book.is_answering()

    again = start()
    again.line()
    again.process.terminate()
    assert again.process.wait(15) == 0


@pytest.mark.slow
def test_a_book_opened_to_the_network_is_open_at_this_machine_and_signed_in_to_elsewhere(start):
    port = free_port()
    book = start("--address", f"http://127.0.0.2:{port}", port=port)
    book.line()
    assert book.is_answering()

    def ask(source, path, said=None, **headers):
        asks = http.client.HTTPConnection("127.0.0.2", port, source_address=(source, 0))
        body = urlencode(said) if said else None
        if body:
            headers |= {"Content-Type": "application/x-www-form-urlencoded"}
        asks.request("POST" if body else "GET", path, body, headers)
        answer = asks.getresponse()
        found = (answer.status, answer.headers["Location"], answer.headers["Set-Cookie"] or "", answer.read().decode())
        asks.close()
        return found

    at_the_desk, a_phone = "127.0.0.1", "127.0.0.3"
    # While it is nobody's, it asks whose it is at its machine alone.
    assert ask(at_the_desk, "/sign-in/")[:2] == (302, "/whose-book/")
    assert ask(a_phone, "/sign-in/")[0] == 200
    assert ask(a_phone, "/whose-book/")[0] == 403
    _, _, cookie, page = ask(at_the_desk, "/whose-book/")
    token = re.search(r'name="csrfmiddlewaretoken" value="(\w+)"', page)[1]
    words = "four cones of fell wool"
    said = {"name": "Ada", "sign_in": "ada", "password": words, "again": words, "lies_open": "on"}
    made = ask(
        at_the_desk,
        "/whose-book/",
        said | {"csrfmiddlewaretoken": token},
        Cookie=cookie.partition(";")[0],
    )
    assert made[:2] == (302, "/")
    assert [ask(who, "/")[:2] for who in (at_the_desk, a_phone)] == [(200, None), (302, "/sign-in/?next=/")]
    # A proxy on this machine asks for somebody elsewhere, and says so.
    for header in ("X-Forwarded-For", "Forwarded"):
        assert ask(at_the_desk, "/", **{header: "192.0.2.7"})[:2] == (302, "/sign-in/?next=/")
    # More than any form or file holds is refused before it is taken in.
    with socket.create_connection(("127.0.0.2", port)) as too_much:
        too_much.sendall(b"POST /sign-in/ HTTP/1.1\r\nHost: 127.0.0.2\r\nContent-Length: 22000000\r\n\r\n")
        assert too_much.makefile("rb").readline().split()[1] == b"413"


def test_an_address_no_phone_could_open_is_refused(start):
    book = start("--address", "192.168.1.20")
    _, complaint = book.process.communicate(timeout=30)
    assert book.process.returncode == 1
    assert "--address is “192.168.1.20”; write it as a phone would" in complaint


def test_a_setting_that_cant_be_read_is_one_sentence():
    command = [sys.executable, "manage.py", "check"]
    for setting, said in [
        ({"SHEDBOOK_HTTPS": "perhaps"}, "SHEDBOOK_HTTPS is “perhaps”; write yes or no.\n"),
        ({"SHEDBOOK_DATA": "/dev/null/book"}, "The folder of the book, /dev/null/book, can't be used"),
    ]:
        done = subprocess.run(command, cwd=ROOT, env={**CLEAN_ENV, **setting}, capture_output=True, text=True)
        assert done.returncode == 1
        assert done.stderr.startswith(said)


@pytest.mark.slow
def test_a_book_that_is_damaged_or_of_a_later_program_is_not_opened(tmp_path):
    Book(tmp_path).run("migrate", "-v0")
    with closing(sqlite3.connect(tmp_path / "shedbook.sqlite3")) as book:
        book.execute(
            "INSERT INTO django_migrations (app, name, applied) VALUES ('planning', '9999_later', '2026-01-01')"
        )
        book.commit()
    later = Book(tmp_path).run("start", "--no-browser", "--port", str(free_port()), must=1)
    assert "is of a later Shedbook: this one doesn't know the change “9999_later” of planning." in later
    (tmp_path / "shedbook.sqlite3").write_bytes(b"no book at all" * 1000)
    damaged = Book(tmp_path).run("start", "--no-browser", "--port", str(free_port()), must=1)
    assert "can't be opened: file is not a database" in damaged
    assert "Traceback" not in later + damaged


def test_a_taken_port_is_refused_with_the_way_out(start):
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        book = start(port=port)
        said, complaint = book.process.communicate(timeout=30)
    assert (book.process.returncode, said) == (1, "")
    assert f"Port {port} can't be had" in complaint
    assert f"python3 manage.py start --port {port + 1}" in complaint
    assert "Traceback" not in complaint


@pytest.mark.slow
def test_a_killed_worker_is_begun_again_and_a_killed_book_leaves_nobody_behind(start):
    book = start()
    book.line()
    first = book.children()
    os.kill(first["jobworker"], signal.SIGKILL)
    wait_until(lambda: book.children().get("jobworker", first["jobworker"]) != first["jobworker"])
    assert book.is_answering()
    children = book.children()
    book.process.kill()
    wait_until(lambda: all(is_gone(pid) for pid in children.values()), within_s=5)


@pytest.mark.slow
def test_a_book_whose_web_server_dies_says_so_and_closes(start):
    book = start()
    book.line()
    children = book.children()
    os.kill(children.pop(f"serve --port {book.port} --listen 127.0.0.1"), signal.SIGKILL)
    _, complaint = book.process.communicate(timeout=20)
    assert book.process.returncode == 1
    assert "The web server has stopped" in complaint
    assert all(is_gone(pid) for pid in children.values())


def test_a_child_elsewhere_than_on_linux_ends_with_the_pipe_from_its_parent():
    code = "import time; from mill.tether import by_pipe; by_pipe(); print('tied', flush=True); time.sleep(60)"
    child = subprocess.Popen(
        [sys.executable, "-c", code], cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    assert child.stdout.readline() == "tied\n"
    assert child.poll() is None
    child.stdin.close()
    assert child.wait(5) == 1
    child.stdout.close()
